"""`layflat calibrate` on files of its own."""

import json
from pathlib import Path

import pytest

import pages
from layflat.base import file_sha256
from layflat.cli import main
from layflat.cut import read_hpgl, read_machine


@pytest.fixture
def readings(tmp_path: Path) -> Path:
    for name in ("readings.toml", "plotter.toml"):
        (tmp_path / name).write_text(pages.files(pages.GUIDE)[name], encoding="utf-8")
    return tmp_path / "readings.toml"


def test_a_sheet_comes_with_its_paper_and_its_form(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sheet, paper, form = (tmp_path / name for name in ("sheet.plt", "sheet.pdf", "form.toml"))
    options = ["--paper", str(paper), "--form", str(form), "--workshop", "Lampwick Yard"]
    assert main(["calibrate", "-o", str(sheet), *options, "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["kind"] == "calibration sheet"
    assert document["defaults"]["width_mm"] == 610
    assert "workshop" not in document["defaults"]
    assert any("Hands off the moving head" in note for note in document["warnings"])
    strokes = read_hpgl(sheet.read_text(encoding="utf-8"))
    assert sum(stroke.down for stroke in strokes) == document["strokes"]
    assert paper.read_bytes().startswith(b"%PDF")
    assert "# ab_mm" in form.read_text(encoding="utf-8")


def test_readings_become_a_machine_file(readings: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = readings.with_name("calibrated.toml")
    before = read_machine(readings.with_name("plotter.toml"))
    command = ["calibrate", "--machine", str(readings.with_name("plotter.toml"))]
    command += ["--read", str(readings), "-o", str(out), "--json"]
    assert main(command) == 0
    document = json.loads(capsys.readouterr().out)
    machine = read_machine(out)
    assert document["inputs"]["readings.toml"] == file_sha256(readings)
    # The guide's readings were taken off a simulated sheet of this machine.
    for name, true in {"scale_x": 1.0022, "scale_y": 0.9993, "skew": 0.0011}.items():
        assert abs(getattr(machine, name) - true) <= document["measured"][name]["error_95"]
        assert getattr(before, name) != getattr(machine, name)
        assert "2026-05-31" in machine.sources[name]
    assert machine.knife_offset_mm == pytest.approx(0.31, abs=0.02)
    assert machine.max_section_mm == before.max_section_mm


def test_a_contradiction_is_said_and_not_taken(
    readings: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = readings.read_text(encoding="utf-8")
    assert "ac_mm = 566.4" in text
    readings.write_text(text.replace("ac_mm = 566.4", "ac_mm = 569.4"), encoding="utf-8")
    out = readings.with_name("calibrated.toml")
    assert main(["calibrate", "--read", str(readings), "-o", str(out)]) == 0
    said = capsys.readouterr().out
    assert "“ac_mm” (A to C, a diagonal: 569.4 mm) is" in said
    assert read_machine(out).scale_x == 1.0


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--form", "form.toml"], "leave them out with --read"),
        (["-o", "machine.plt"], "would have to be a .toml file"),
        (["-o", "readings.toml"], "readings.toml"),
    ],
)
def test_what_does_not_go_together_is_refused(
    readings: Path,
    options: list[str],
    words: str,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.chdir(readings.parent)
    before = readings.read_bytes()
    assert main(["calibrate", "--read", "readings.toml", "-o", "m.toml", *options]) == 2
    assert words in capsys.readouterr().err
    assert readings.read_bytes() == before
    assert not readings.with_name("m.toml").exists()
