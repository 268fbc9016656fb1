"""`layflat frame`: the sheets for templates by photograph."""

import json
from pathlib import Path

import pytest

from layflat.cli import main


def test_it_writes_the_sheets_and_says_how_to_print_them(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    output, report = tmp_path / "frame.pdf", tmp_path / "frame.json"
    command = ["frame", "--sheets", "3", "--paper", "letter"]
    assert main([*command, "-o", str(output), "--report", str(report)]) == 0
    assert output.read_bytes().startswith(b"%PDF")
    said = capsys.readouterr().out
    assert "3 sheets" in said
    assert "100 %" in said
    told = json.loads(report.read_text(encoding="utf-8"))
    assert (told["kind"], told["sheets"], told["paper"]) == ("frame", 3, "us-letter")
    assert told["defaults"] == {"workshop": ""}


@pytest.mark.parametrize("arguments", [["--sheets", "13"], ["--paper", "a5"], ["-o", "frame.dxf"]])
def test_what_it_cannot_do_is_one_sentence(
    arguments: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["frame", "-o", "frame.pdf", *arguments]) == 2
    assert capsys.readouterr().err.count("\n") == 1
