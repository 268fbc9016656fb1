"""A drawing with small faults as the file has it, and as it is understood."""

import tempfile
from pathlib import Path

import ezdxf
import numpy as np

from figures.svg import CHALK, GROUND, INK, PAPER, PENCIL, VERMILLION, Picture
from layflat.base import FloatArray
from layflat.pattern import Reading, inspect_drawing, sample

_WIDTH, _HEIGHT = 240.0, 96.0
_SCALE = 0.215
"""Paper mm per mm."""
_GAP_MM = 0.4
_CORNERS = ((0.0, 0.0), (470.0, 30.0), (440.0, 250.0), (150.0, 290.0), (20.0, 180.0))


def mended_picture() -> str:
    """Left the lines of the file with what is wrong, right the piece."""
    found = _reading()
    picture = Picture(_WIDTH, _HEIGHT)
    left, right = np.array([8.0, 78.0]), np.array([128.0, 78.0])
    picture.words(8.0, 7.5, "the lines of the file", colour=INK)
    picture.words(128.0, 7.5, "the piece, as it is understood", colour=INK)
    picture.lines([_paper(line, left) for line in found.lines_mm()], pen=INK, width=0.35)
    for number, item in enumerate(found.mended, 1):
        if item.place_mm is not None:
            x, y = _paper(np.array([item.place_mm]), left)[0]
            picture.dot(x, y, 2.6, fill=PAPER, pen=VERMILLION)
            picture.words(x, y + 1.3, str(number), size=3.6, anchor="middle", bold=True)
    if found.drawing is not None:
        for pattern in found.drawing.patterns:
            loops = [sample(c, deviation_mm=0.1) for c in (pattern.outline, *pattern.cut_outs)]
            picture.shape(
                [_paper(loop, right) for loop in loops], fill=GROUND, pen=CHALK, width=0.6
            )
    kinds = {"gap": "a gap closed", "doubled": "a line drawn twice", "dust": "a stray line"}
    words = ", ".join(
        f"{n} {kinds.get(item.kind, item.kind)}" for n, item in enumerate(found.mended, 1)
    )
    picture.words(8.0, _HEIGHT - 4.5, words, size=3.9, colour=PENCIL)
    return picture.svg()


def _reading() -> Reading:
    document = ezdxf.new("R2010", units=4)
    space = document.modelspace()
    on = {"layer": "OUTLINE"}
    rim = np.array(_CORNERS)
    for i, (start, end) in enumerate(zip(rim, np.roll(rim, -1, axis=0), strict=True)):
        way = (end - start) / np.hypot(*(end - start))
        space.add_line(start, end - (_GAP_MM * way if i == 0 else 0.0), dxfattribs=on)
    space.add_line(rim[2], rim[3], dxfattribs=on)
    space.add_line((250.0, 200.0), (250.3, 200.2), dxfattribs=on)
    space.add_circle((330.0, 130.0), 38.0, dxfattribs={"layer": "CUTOUT"})
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "panel.dxf"
        document.saveas(path)
        return inspect_drawing(path)


def _paper(points: FloatArray, at: FloatArray) -> FloatArray:
    placed: FloatArray = at + _SCALE * np.asarray(points) * [1.0, -1.0]
    return placed
