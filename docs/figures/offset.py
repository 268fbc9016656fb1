"""What a test cut shows: a square's corner with the right knife offset and with wrong ones."""

import numpy as np
import shapely

from figures.svg import GROUND, INK, PENCIL, VERMILLION, Picture
from layflat.base import FloatArray
from layflat.cut import generic_machine, program, read_hpgl, simulate
from layflat.pattern import Curve, Drawing, Pattern

_WIDTH, _HEIGHT, _PANEL = 240.0, 92.0, 80.0
_SCALE = 62.0
"""Paper mm per mm."""
_CORNER = np.array([30.0, 10.0])
_SIGHT = (29.28, 9.85, 30.3, 10.82)
"""What each of the three shows, in mm: x and y from, x and y to."""
_OFF_MM = 0.1


def offset_picture() -> str:
    """One program, cut by three blades."""
    square = _CORNER + np.array([[-20.0, 0.0], [0.0, 0.0], [0.0, 20.0], [-20.0, 20.0]])
    section = np.array([[0.0, 0.0], [60.0, 0.0], [60.0, 40.0], [0.0, 40.0]])
    drawing = Drawing(
        patterns=(Pattern("square", Curve(square, np.zeros(4))),),
        stock=(Curve(section, np.zeros(4)),),
    )
    machine = generic_machine()
    strokes = read_hpgl(program(drawing, machine).hpgl)
    picture = Picture(_WIDTH, _HEIGHT)
    for i, (off, above, below) in enumerate(
        (
            (0.0, "true: the offset is right", "leave it"),
            (-_OFF_MM, "an ear: the file’s offset is too great", f"lower it, here by {_OFF_MM:g}"),
            (_OFF_MM, "cut off: the file’s offset is too small", f"raise it, here by {_OFF_MM:g}"),
        )
    ):
        blade = machine.knife_offset_mm + off
        cuts = simulate(strokes, knife_offset_mm=blade, step_mm=0.005).cuts
        tip = max(cuts, key=len)
        at = np.array([_PANEL * i + 52.0, 66.0])
        sight = shapely.box(*_SIGHT)
        film = shapely.Polygon(square) & sight
        picture.shape([_paper(shapely.get_coordinates(film), at)], fill=GROUND)
        _draw(picture, np.vstack([square, square[:1]]), sight, at, pen=PENCIL, width=0.3)
        _draw(picture, tip, sight, at, pen=VERMILLION, width=1.1)
        middle = _PANEL * (i + 0.5)
        picture.words(middle, 7.5, above, size=3.9, anchor="middle", colour=INK)
        picture.words(middle, _HEIGHT - 4.0, below, size=3.9, anchor="middle", colour=PENCIL)
    return picture.svg()


def _paper(points: FloatArray, at: FloatArray) -> FloatArray:
    placed: FloatArray = at + _SCALE * (np.asarray(points) - _CORNER) * [1.0, -1.0]
    return placed


def _draw(
    picture: Picture,
    path: FloatArray,
    sight: shapely.Polygon,
    at: FloatArray,
    *,
    pen: str,
    width: float,
) -> None:
    parts = shapely.get_parts(shapely.LineString(path) & sight)
    lines = [_paper(shapely.get_coordinates(part), at) for part in parts if part.length > 0]
    picture.lines(lines, pen=pen, width=width)
