"""`layflat revise`: from a drawing and notes to a new drawing, and on from there."""

import json
from pathlib import Path

import pytest

from layflat.cli import main
from layflat.pattern import Drawing, dxf_text, read_drawing
from revise.panel import panel

NOTES = """\
car = "K-0412"
[[note]]
kind = "short"
mm = 2.0
edge = "left"
[[note]]
kind = "fits"
at = [600.0, 120.0]
car = "K-0415"
[[note]]
kind = "shift"
cut_out = 1
mm = [0.5, -0.5]
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "panel.dxf").write_text(dxf_text(Drawing((panel(),))), encoding="utf-8")
    (tmp_path / "notes.toml").write_text(NOTES, encoding="utf-8")
    return tmp_path


def test_a_drawing_is_revised_and_the_revisions_go_on(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    paths = {name: str(folder / name) for name in ("one.dxf", "all.json", "p.pdf", "p.svg")}
    wanted = ["-o", paths["one.dxf"], "--revisions", paths["all.json"], "--paper", paths["p.pdf"]]
    wanted += ["--picture", paths["p.svg"]]
    drawing, notes = str(folder / "panel.dxf"), str(folder / "notes.toml")
    assert main(["revise", drawing, notes, *wanted]) == 0
    said = capsys.readouterr().out
    assert "revision 1 of “panel” on 3 notes" in said
    assert "note: 3 notes have the usual doubt of 0.5 mm." in said
    (after,) = read_drawing(folder / "one.dxf").patterns
    assert len(after.cut_outs) == 2
    assert (folder / "p.pdf").read_bytes().startswith(b"%PDF")
    assert ">3<" in (folder / "p.svg").read_text(encoding="utf-8")

    (folder / "more.toml").write_text(
        'revision = 1\n[[note]]\nkind = "over"\nmm = 0.5\nedge = "low"\n', encoding="utf-8"
    )
    more = [paths["all.json"], str(folder / "more.toml"), "-o", str(folder / "two.svg"), "--json"]
    assert main(["revise", *more]) == 0
    report = json.loads(capsys.readouterr().out)
    assert (report["revision"], report["parent"], len(report["notes"])) == (2, 1, 4)
    assert report["defaults"]["doubt_mm"] == 0.5
    assert main(["revise", *more, "--take-back", "1"]) == 0
    report = json.loads(capsys.readouterr().out)
    assert (report["revision"], report["parent"], len(report["notes"])) == (2, 0, 1)


@pytest.mark.parametrize(
    ("notes", "says"),
    [
        ("reach_mm = 300\n", "holds no fit notes"),
        ('[[note]]\nkind = "short"\nedge = "left"\n', "“mm” is missing"),
        ('[[note]]\nkind = "short"\nmm = 1\n', "“edge” is missing"),
        ('[[note]]\nkind = "loose"\nedge = "left"\n', "must be one of short, over"),
        ('[[note]]\nkind = "fits"\nat = [1.0]\n', "must be two numbers"),
        ('[[note]]\nkind = "fits"\nedge = "left"\nsharp = 1\n', "“sharp” is not a value"),
        ('[[note]]\nkind = "short"\nmm = 100\nedge = "left"\n', "not bent by more than 50 mm"),
        ('[[note]]\nkind = "short"\nmm = nan\nedge = "left"\n', "must lie between"),
        ('[[note]]\nkind = "short"\nmm = 1\nedge = "roof"\n', "names the edge “roof”"),
        ("[[note]\n", "is not a TOML file"),
    ],
)
def test_notes_that_cannot_be_are_one_sentence(
    folder: Path, capsys: pytest.CaptureFixture[str], notes: str, says: str
) -> None:
    (folder / "notes.toml").write_text(notes, encoding="utf-8")
    output = folder / "one.dxf"
    asked = [str(folder / "panel.dxf"), str(folder / "notes.toml"), "-o", str(output)]
    assert main(["revise", *asked]) == 2
    assert says in capsys.readouterr().err
    assert not output.exists()


def test_a_piece_is_named_where_there_are_several(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from layflat.pattern import place

    both = Drawing((panel(), place(panel("other"), x_mm=1000.0)))
    (folder / "panel.dxf").write_text(dxf_text(both), encoding="utf-8")
    asked = [str(folder / "panel.dxf"), str(folder / "notes.toml"), "-o", str(folder / "o.dxf")]
    assert main(["revise", *asked]) == 2
    assert "holds the pieces “panel”, “other”; say which" in capsys.readouterr().err
    assert main(["revise", *asked, "--piece", "panel"]) == 0
    (folder / "bad.json").write_text("{", encoding="utf-8")
    assert main(["revise", str(folder / "bad.json"), *asked[1:]]) == 2
    assert "is not a JSON file" in capsys.readouterr().err
