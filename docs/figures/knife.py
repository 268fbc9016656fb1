"""The knife at a corner: pattern, pivot and tip, from a real cut program read back."""

import numpy as np
import shapely

from figures.svg import CHALK, GROUND, INK, LINE, PAPER, PENCIL, VERMILLION, Picture
from layflat.base import FloatArray
from layflat.cut import AWAY_MM, CORNER_MM, Stroke, generic_machine, program, read_hpgl, simulate
from layflat.pattern import Curve, Drawing, Pattern

_SCALE = 60.0
"""Paper mm per mm."""
_WIDTH, _HEIGHT = 240.0, 132.0
_CORNER = np.array([30.0, 10.0])
_AT = np.array([196.0, 104.0])
"""Where the corner comes to lie on paper."""
_DASHES, _DOTS = (3.2, 2.0), (1.2, 1.2)
_TURN_RAD = np.radians(120.0)


def knife_picture() -> str:
    """What tip and pivot do at a corner, with and without compensation."""
    after = np.array([np.cos(_TURN_RAD), np.sin(_TURN_RAD)])
    corners = np.array([_CORNER - [24.0, 0.0], _CORNER, _CORNER + 20 * after])
    machine = generic_machine()
    offset = machine.knife_offset_mm
    pattern = Pattern("corner", Curve(corners, np.zeros(3)))
    section = Curve(np.array([[0.0, 0.0], [60.0, 0.0], [60.0, 40.0], [0.0, 40.0]]), np.zeros(4))
    made = program(Drawing(patterns=(pattern,), stock=(section,)), machine)
    strokes = read_hpgl(made.hpgl)
    tips = simulate(strokes, knife_offset_mm=offset, step_mm=0.005).cuts
    pivots = [stroke.points_mm for stroke in strokes if stroke.down]
    cut = int(np.argmax([len(tip) for tip in tips]))
    plain = Stroke(down=True, points_mm=corners)
    rounded = simulate([plain], knife_offset_mm=offset, step_mm=0.005).cuts[0]

    picture = Picture(_WIDTH, _HEIGHT)
    film = shapely.Polygon(corners)
    band = film.exterior.buffer(AWAY_MM).union(shapely.Point(_CORNER).buffer(CORNER_MM))
    for shape, fill in ((film, GROUND), (band, LINE)):
        part = shape & _sight()
        loops = [shapely.get_coordinates(ring) for ring in (part.exterior, *part.interiors)]
        picture.shape([_paper(loop[:-1]) for loop in loops], fill=fill, opacity=0.6)
    for path, pen, width, dashes in (
        (np.vstack([corners, corners[:1]]), PAPER, 2.2, ()),
        (rounded, PENCIL, 0.6, _DOTS),
        (tips[cut], VERMILLION, 1.5, ()),
        (pivots[cut], CHALK, 0.7, _DASHES),
    ):
        shown = shapely.get_parts(shapely.LineString(path) & _sight())
        lines = [_paper(shapely.get_coordinates(part)) for part in shown if part.length > 0]
        picture.lines(lines, pen=pen, width=width, dashes=dashes)
    _draw_blades(picture, after, offset)
    _draw_words(picture, offset)
    return picture.svg()


def _paper(points: FloatArray) -> FloatArray:
    """Where points in mm come to lie on paper."""
    placed: FloatArray = _AT + _SCALE * (np.asarray(points) - _CORNER) * [1.0, -1.0]
    return placed


def _sight() -> shapely.Polygon:
    """What the paper shows, in mm."""
    x0, y1 = _CORNER - _AT / _SCALE * [1.0, -1.0]
    return shapely.box(x0, y1 - _HEIGHT / _SCALE, x0 + _WIDTH / _SCALE, y1)


def _draw_blades(picture: Picture, after: FloatArray, offset: float) -> None:
    """The blade at some moments: from its tip to its pivot."""
    ahead = np.array([1.0, 0.0])
    moments = [(_CORNER - away * ahead, ahead) for away in (2.0, 1.2)]
    turns = np.linspace(0.0, _TURN_RAD, 4)
    moments += [(_CORNER, np.array([np.cos(turn), np.sin(turn)])) for turn in turns]
    moments.append((_CORNER + 0.8 * after, after))
    for tip, heading in moments:
        blade = _paper(np.stack([tip, tip + offset * heading]))
        picture.lines([blade], pen=INK, width=0.9)
        picture.dot(*blade[1], 1.3, fill=PAPER, pen=INK)


def _draw_words(picture: Picture, offset: float) -> None:
    rows = (
        ("blade, from its tip to its pivot", INK, 0.9, ()),
        (
            f"pivot: runs on by the knife offset ({offset:g} mm), turns, goes on",
            CHALK,
            0.7,
            _DASHES,
        ),
        ("tip: what is cut", VERMILLION, 1.5, ()),
        ("what would be cut if the pivot ran along the pattern", PENCIL, 0.6, _DOTS),
    )
    for i, (text, colour, width, dashes) in enumerate(rows):
        y = 10.0 + 7.5 * i
        if i == 0:
            picture.lines([[(6, y), (14, y)]], pen=colour, width=width)
            picture.dot(15.3, y, 1.3, fill=PAPER, pen=INK)
        else:
            picture.lines([[(6, y), (18, y)]], pen=colour, width=width, dashes=dashes)
        picture.words(22, y + 1.5, text, size=4.6)
    y = 10.0 + 7.5 * len(rows)
    key = [(6, y - 1.8), (18, y - 1.8), (18, y + 1.8), (6, y + 1.8)]
    picture.shape([key], fill=LINE, opacity=0.9)
    text = f"tolerance: {AWAY_MM:g} mm, at corners {CORNER_MM:g} mm"
    picture.words(22, y + 1.5, text, size=4.6)
    picture.words(70, 88, "film", size=5.2, colour=PENCIL)
    picture.words(196, 52, "waste", size=5.2, colour=PENCIL)
    picture.lines([[(6, 124), (6, 127), (66, 127), (66, 124)]], pen=INK, width=0.3)
    picture.words(36, 125, "1 mm", size=4.2, anchor="middle")
