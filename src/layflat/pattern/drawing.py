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
from shapely import get_point, maximum_inscribed_circle

from layflat.base import FloatArray, frozen
from layflat.pattern.piece import Curve, Mark, Pattern
from layflat.pattern.shape import coarse_polygon


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
    """The piece's name at the roomiest place inside it, no taller than the place allows."""
    shape = coarse_polygon(pattern, deviation_mm=0.5)
    circle = maximum_inscribed_circle(shape, tolerance=0.5)
    centre = get_point(circle, 0)
    room = 2.0 * circle.length / max(1, len(pattern.name))
    return Text(
        point_mm=np.round([centre.x, centre.y], 3),
        text=pattern.name,
        height_mm=round(min(12.0, max(1.5, room)), 3),
    )
