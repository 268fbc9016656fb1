"""`layflat photo`: a photographed template becomes a drawing at true size."""

import json
from pathlib import Path

import numpy as np
import pytest
import shapely
from PIL import Image

from layflat.cli import main
from layflat.pattern import curve_length_mm, read_drawing
from photo.framed import around, sheet_paints
from photo.rendered import BLUE_PEN, DARK_FILM, WHITE, Paint, Scene, camera, render


def template() -> Scene:
    """A rounded rectangle, 260 mm × 140 mm with corners of 40 mm, drawn with a pen of 1 mm."""
    line = shapely.box(-90, -30, 90, 30).buffer(40, quad_segs=64).exterior.buffer(0.5)
    paper = Paint(shapely.box(-190, -110, 190, 110), WHITE)
    return Scene(paints=(paper, Paint(line, BLUE_PEN), *sheet_paints(around(620.0, 330.0))))


def test_a_white_pen_on_dark_film_is_followed_when_that_is_said(tmp_path: Path) -> None:
    film, line, *sheets = template().paints
    pen = Paint(line.shape, (0.7, 0.7, 0.7))
    dark = Scene(paints=(Paint(film.shape, DARK_FILM), pen, *sheets))
    seen_by = camera((1200, 900), over_mm=(860.0, 560.0), tilt_deg=10.0)
    picture, output = tmp_path / "film.jpg", tmp_path / "film.dxf"
    Image.fromarray(render(dark, seen_by, jpeg=None)).save(picture, quality=92)
    command = ["photo", str(picture), "--ruler", "1=200.0", "--follow", "line", "--light-ink"]
    assert main([*command, "-o", str(output)]) == 0
    (piece,) = read_drawing(output).patterns
    length = 2 * (180 + 60) + 2 * np.pi * 40
    assert curve_length_mm(piece.outline) == pytest.approx(length, rel=0.002)


def test_a_picture_becomes_a_drawing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    seen_by = camera((1500, 1125), over_mm=(860.0, 560.0), tilt_deg=15.0, lens="main")
    picture, output = tmp_path / "one.jpg", tmp_path / "piece.dxf"
    Image.fromarray(render(template(), seen_by, jpeg=None)).save(picture, quality=90)
    report = tmp_path / "piece.json"
    command = ["photo", str(picture), "--ruler", "1=200.0", "--ruler", "2=80.0a"]
    assert main([*command, "-o", str(output), "--report", str(report)]) == 0
    said = capsys.readouterr().out
    assert "lines to within" in said
    told = json.loads(report.read_text(encoding="utf-8"))
    (piece,) = read_drawing(output).patterns
    length = 2 * (180 + 60) + 2 * np.pi * 40
    # The reading leaves 0.15 mm on 200; two deviations, and 0.3 mm for the line itself.
    assert curve_length_mm(piece.outline) == pytest.approx(length, abs=0.3 + 2 * length * 7.5e-4)
    assert told["curves"] == ["outline"]
    assert told["widest_interval_mm"] < 1.0
    assert told["reprojection_px"] < 0.1


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--ruler", "200"], "write as 3=200.1"),
        (["--ruler", "1=2.0.0"], "no length"),
        (["--tape", "1=1382"], "write as 1,5=1382"),
        ([], "does not exist"),
    ],
)
def test_what_cannot_be_read_is_one_sentence(
    arguments: list[str], words: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    command = ["photo", str(tmp_path / "none.jpg"), "-o", str(tmp_path / "x.dxf")]
    assert main([*command, *arguments]) == 2
    said = capsys.readouterr().err
    assert words in said
    assert said.count("\n") == 1
