"""`layflat propose`: the nearest piece of another car laid on a template."""

import json
from pathlib import Path

import numpy as np
import pytest

from layflat.cli import main
from layflat.pattern import Drawing, dxf_text, place, read_drawing
from layflat.revise import Known, pairs_of, propose
from revise.panel import panel


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    template = place(panel("new", size=1.01), turn_deg=30.0, x_mm=80.0)
    for name, pattern in (
        ("template", template),
        ("near", panel("near")),
        ("far", panel("far", size=0.8)),
    ):
        (tmp_path / f"{name}.dxf").write_text(dxf_text(Drawing((pattern,))), encoding="utf-8")
    return tmp_path


def test_the_nearest_is_laid_and_carried_over(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    files = [str(folder / f"{name}.dxf") for name in ("template", "far", "near")]
    out = folder / "start.dxf"
    assert main(["propose", *files, "-o", str(out), "--json"]) == 0
    report = json.loads(capsys.readouterr().out)
    assert [each["known"] for each in report["proposals"]] == ["near: near", "far: far"]
    assert report["proposals"][0]["turn_deg"] == pytest.approx(30.0, abs=1.0)
    # Three corners and two cut-outs of each: carried over they lie where the template has them.
    assert len(report["pairs"]) == 5
    (started,) = read_drawing(out).patterns
    (wanted,) = read_drawing(folder / "template.dxf").patterns
    assert started.name == "new"
    corners = wanted.outline.points_mm[wanted.outline_corners]
    for corner in corners:
        assert np.hypot(*(started.outline.points_mm - corner).T).min() < 0.01
    assert main(["propose", *files, "-o", str(out), "--only-lay"]) == 0
    said = capsys.readouterr().out
    assert "misses by" in said
    assert "0 landmarks in common" in said


def test_only_points_that_are_each_others_nearest_are_taken_as_the_same() -> None:
    template = panel(size=1.01)
    (proposal,) = propose(template, [Known("near", panel())])
    pairs = pairs_of(proposal, template)
    assert [pair.name for pair in pairs if pair.name.startswith("corner")] != []
    assert len({pair.template_mm for pair in pairs}) == len(pairs)
    # Without its holes the template has nothing that they could be.
    bare = panel(size=1.01)
    object.__setattr__(bare, "cut_outs", ())
    assert not any(pair.name.startswith("cut-out") for pair in pairs_of(proposal, bare))


def test_a_drawing_with_several_pieces_needs_a_word(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    two = Drawing((panel("a"), place(panel("b"), x_mm=2000.0)))
    (folder / "two.dxf").write_text(dxf_text(two), encoding="utf-8")
    asked = ["propose", str(folder / "two.dxf"), str(folder / "near.dxf"), "-o"]
    assert main([*asked, str(folder / "out.svg")]) == 2
    assert "say which with --piece" in capsys.readouterr().err
    assert not (folder / "out.svg").exists()
    assert main([*asked, str(folder / "out.svg"), "--piece", "b", "--mirror"]) == 0
