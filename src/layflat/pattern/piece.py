"""Patterns: flat outlines made of lines and arcs, with their cut-outs and marks."""

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np

from layflat.base import FloatArray, IntArray, frozen
from layflat.surface import EdgeKind

STRAIN_UNKNOWN: Final = (
    "The piece comes from a flat template and knows no surface: how far the film stretches when it "
    "is laid is unknown."
)
"""What is said of a pattern that was not computed, wherever strain would stand."""


@dataclass(frozen=True, eq=False)
class Curve:
    """A closed curve of lines and arcs, in mm.

    Attributes:
        points_mm: (k, 2) float64, k >= 2, the joints in order; the last is joined to the first,
            which is not repeated.
        bulges: (k,) float64, tan(included angle / 4) of the arc from joint i to joint i + 1,
            positive counter-clockwise; 0 is a straight line. DXF's own measure.
    """

    points_mm: FloatArray
    bulges: FloatArray

    def __post_init__(self) -> None:
        object.__setattr__(self, "points_mm", frozen(self.points_mm).reshape(-1, 2))
        object.__setattr__(self, "bulges", frozen(self.bulges).reshape(-1))


class MarkKind(StrEnum):
    """What a mark is for."""

    ALIGN = "align"
    """A line to hold against a body line or another piece."""
    NOTCH = "notch"
    """A small notch in the edge."""
    NUMBER = "number"
    """Where the piece's number stands."""


@dataclass(frozen=True, eq=False)
class Mark:
    """A mark on or beside a piece.

    Attributes:
        kind: what it is for.
        points_mm: (k, 2) float64, a polyline; for a number, one point: its place.
        text: what is written there, if anything.
    """

    kind: MarkKind
    points_mm: FloatArray
    text: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "points_mm", frozen(self.points_mm).reshape(-1, 2))


class Finish(StrEnum):
    """How a piece ends at an edge of its panel."""

    FLUSH = "flush"
    SHORT = "short"
    WRAP = "wrap"


@dataclass(frozen=True)
class EdgeFinish:
    """How a piece ends at one edge.

    Attributes:
        finish: flush with the panel's edge, stopped short of it, or wrapped round it.
        distance_mm: how far short, or how deep the wrap; 0 when flush.
    """

    finish: Finish
    distance_mm: float = 0.0


@dataclass(frozen=True)
class EdgeRecord:
    """What became of one edge of a panel in its pattern.

    Attributes:
        name, kind: the panel's edge.
        finish: how the piece ends there.
        surface_length_mm: length of the panel's edge on the car.
        flat_length_mm: length of the same line in the flat pattern, before the finish.
    """

    name: str
    kind: EdgeKind
    finish: EdgeFinish
    surface_length_mm: float
    flat_length_mm: float


@dataclass(frozen=True, eq=False)
class Pattern:
    """One piece's flat shape.

    Attributes:
        name: the piece's name, unique in its job, e.g. "hood".
        outline: counter-clockwise, without self-contact.
        cut_outs: holes, clockwise, inside the outline and apart from each other.
        marks: alignment marks and the piece number.
        edges: what became of each edge of the panel; empty for a pattern from a drawing.
        deviation_mm: how far the curves may lie from the computed line.
        outline_corners: (c,) int64, indices of joints of `outline` that are true corners.
    """

    name: str
    outline: Curve
    cut_outs: tuple[Curve, ...] = ()
    marks: tuple[Mark, ...] = ()
    edges: tuple[EdgeRecord, ...] = ()
    deviation_mm: float = 0.0
    outline_corners: IntArray | None = None

    def __post_init__(self) -> None:
        if self.outline_corners is not None:
            object.__setattr__(self, "outline_corners", frozen(self.outline_corners, np.int64))
