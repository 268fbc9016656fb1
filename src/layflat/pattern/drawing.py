"""A drawing: patterns with the stock they lie on, as it goes to and comes from a file.

The layers, in DXF as in SVG:

    OUTLINE  one closed loop per piece
    CUTOUT   the holes of the pieces
    MARK     alignment marks (lines) and the places of piece numbers (points)
    STOCK    the edges of the stock, one closed rectangle per section of a layout
    TEXT     names of pieces, numbers, notes

Lengths are millimetres; x runs along the roll, y across it.
"""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from shapely import MultiLineString, MultiPolygon, Polygon, get_point, maximum_inscribed_circle

from layflat.base import FloatArray, frozen
from layflat.pattern.piece import Curve, Mark, Pattern
from layflat.pattern.shape import coarse_polygon

_WIDE = 0.65
"""Width of a letter over the height of its text, as sans-serif typefaces mostly have it."""
_CLEAR_MM = 3.0


class Layer(StrEnum):
    """What a line of a drawing means."""

    OUTLINE = "OUTLINE"
    CUTOUT = "CUTOUT"
    MARK = "MARK"
    STOCK = "STOCK"
    TEXT = "TEXT"


@dataclass(frozen=True, eq=False)
class Text:
    """A word on a drawing.

    Attributes:
        point_mm: (2,) float64, the middle of the text.
        text: one line.
        height_mm: of a capital letter.
    """

    point_mm: FloatArray
    text: str
    height_mm: float = 5.0

    def __post_init__(self) -> None:
        object.__setattr__(self, "point_mm", frozen(self.point_mm).reshape(2))


@dataclass(frozen=True, eq=False)
class Drawing:
    """Pieces, the stock they lie on, and what stands beside them.

    Attributes:
        patterns: the pieces with their own marks; names unique.
        stock: edges of the stock, one closed rectangle per section.
        marks: marks that belong to no piece.
        texts: words beside the names of the pieces.
        notes: sentences on what was guessed, joined or left out when a file was read.
    """

    patterns: tuple[Pattern, ...]
    stock: tuple[Curve, ...] = ()
    marks: tuple[Mark, ...] = ()
    texts: tuple[Text, ...] = ()
    notes: tuple[str, ...] = ()


def name_label(pattern: Pattern) -> Text:
    """The piece's name at the roomiest place inside it, no taller than the place allows.

    Marks are not written over: where one would be, the place is sought beside the marks.
    """
    shape = coarse_polygon(pattern, deviation_mm=0.5)
    marks = MultiLineString([mark.points_mm for mark in pattern.marks if len(mark.points_mm) > 1])
    label = _label_in(shape, pattern.name)
    if _written(label).intersects(marks):
        beside = shape.difference(marks.buffer(_CLEAR_MM))
        # Where marks leave no room they are written over: a piece needs its name.
        if isinstance(beside, Polygon | MultiPolygon) and not beside.is_empty:
            return _label_in(beside, pattern.name)
    return label


def _label_in(shape: Polygon | MultiPolygon, name: str) -> Text:
    circle = maximum_inscribed_circle(shape, tolerance=0.5)
    centre = get_point(circle, 0)
    room = 2.0 * circle.length / max(1, len(name))
    return Text(
        point_mm=np.round([centre.x, centre.y], 3),
        text=name,
        height_mm=round(min(12.0, max(1.5, room)), 3),
    )


def _written(label: Text) -> Polygon:
    """The rectangle that a text covers, about."""
    x, y = label.point_mm
    across, up = 0.5 * _WIDE * label.height_mm * len(label.text), 0.5 * label.height_mm
    return Polygon(
        [
            (x - across, y - up),
            (x + across, y - up),
            (x + across, y + up),
            (x - across, y + up),
        ]
    )
