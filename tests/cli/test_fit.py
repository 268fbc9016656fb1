"""`layflat fit` on a small job: what it says, writes and refuses."""

import json
from pathlib import Path

import pytest

from job_workshop import write_workshop
from layflat.cli import main


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_workshop(tmp_path_factory.mktemp("shop"))


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("results") / "kept"


def test_it_says_how_each_panel_fits(
    job: Path, kept: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["fit", str(job), "--processes", "1", "--kept", str(kept)]) == 0
    said = capsys.readouterr().out
    assert "  left: The film is stretched by up to " in said
    assert "no relief is needed" in said
    assert "“left” and “right”" in said


def test_sheets_and_a_report_are_written(
    job: Path, kept: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "out"
    command = ["fit", str(job), "--panel", "left", "--kept", str(kept), "-o", str(out), "--json"]
    assert main(command) == 0
    assert {"fit-left.pdf", "report.json"} <= {path.name for path in out.iterdir()}
    document = json.loads((out / "report.json").read_text(encoding="utf-8"))
    assert json.loads(capsys.readouterr().out) == document
    assert document["kind"] == "fit"
    assert set(document["inputs"]) == {"job.toml", "panels.json", "body.ply"}
    (panel,) = document["panels"].values()
    assert panel["judged"]["within_limits"] is True
    assert panel["reliefs"]["proposals"] == panel["fingers"] == []
    assert panel["blank"]["sentence"]
    again = main([*command[:-1]])
    assert again == 0
    assert json.loads((out / "report.json").read_text())["steps_made"] == {}


@pytest.mark.parametrize(
    ("more", "sentence"),
    [
        (["--panel", "roof"], "does not cover a panel “roof”; it covers left, right"),
        (["--kept", "letters"], "did not write"),
        (["-o", "letters"], "did not write"),
        (["--processes", "0"], "--processes"),
    ],
)
def test_what_cannot_be_is_one_sentence(
    job: Path,
    more: list[str],
    sentence: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    (tmp_path / "letters").mkdir()
    (tmp_path / "letters" / "letter.txt").write_text("mine")
    monkeypatch.chdir(tmp_path)
    assert main(["fit", str(job), *more]) == 2
    error = capsys.readouterr().err
    assert sentence in error
    assert "Traceback" not in error
    assert [path.name for path in (tmp_path / "letters").iterdir()] == ["letter.txt"]
