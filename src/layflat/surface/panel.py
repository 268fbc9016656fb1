"""What people draw on a body: panels, their edges, and places that film must not cover.

Everything here is points in space, independent of the numbering of any mesh: a cleaned or a
denser mesh of the same body keeps its panels.

Words: an *outline* is a closed loop of *edges*; an edge runs from one *corner* to the next
through picked points, as geodesic lines on the surface.
"""

from dataclasses import dataclass, field
from enum import StrEnum

from layflat.base import FloatArray, frozen


class EdgeKind(StrEnum):
    """What lies beyond an edge."""

    OPEN = "open"
    """A free edge of the sheet metal: film can be wrapped round it."""
    GAP = "gap"
    """A gap to the next panel."""
    TRIM = "trim"
    """A seal, lamp or strip sits on it."""
    INNER = "inner"
    """A line across paint."""


class KeepOutKind(StrEnum):
    """Why film must not cover a place."""

    EMBLEM = "emblem"
    SENSOR = "sensor"
    JET = "jet"
    LOCK = "lock"
    OTHER = "other"


@dataclass(frozen=True, eq=False)
class Edge:
    """One stretch of an outline between two corners.

    Attributes:
        kind: what lies beyond it.
        points_mm: (k, 3) float64, k >= 1: the corner that it starts at, then the picked points
            between, in order. It ends at the first point of the next edge.
        name: what people call it, e.g. "front".
    """

    kind: EdgeKind
    points_mm: FloatArray
    name: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "points_mm", frozen(self.points_mm).reshape(-1, 3))


@dataclass(frozen=True, eq=False)
class KeepOut:
    """A place that film must not cover, as a closed loop on the surface.

    Attributes:
        kind: why.
        points_mm: (k, 3) float64, k >= 3: its rim, without the clearance.
        name: what people call it, e.g. "parking sensor, outer left".
        clearance_mm: bare gap kept round it; 1 to 2 mm is common practice, no source.
    """

    kind: KeepOutKind
    points_mm: FloatArray
    name: str = ""
    clearance_mm: float = 1.5

    def __post_init__(self) -> None:
        object.__setattr__(self, "points_mm", frozen(self.points_mm).reshape(-1, 3))


@dataclass(frozen=True, eq=False)
class Panel:
    """A named region of a body.

    Attributes:
        name: unique on its body, e.g. "hood" or "fender-left".
        outline: the edges of its outer loop, counter-clockwise seen from outside.
        openings: loops of holes in it (grille openings), clockwise seen from outside.
        keep_outs: places on it that film must not cover.
    """

    name: str
    outline: tuple[Edge, ...]
    openings: tuple[tuple[Edge, ...], ...] = ()
    keep_outs: tuple[KeepOut, ...] = ()


@dataclass(frozen=True)
class BodyInfo:
    """What is known of a body beside its mesh.

    Attributes:
        name: e.g. the maker's and the model's name.
        forward: unit vector to the front of the vehicle; x by default.
        up: unit vector upwards; z by default.
    """

    name: str
    forward: tuple[float, float, float] = (1.0, 0.0, 0.0)
    up: tuple[float, float, float] = (0.0, 0.0, 1.0)
    panels: tuple[Panel, ...] = field(default=())

    def panel(self, name: str) -> Panel | None:
        """The panel called *name*, if there is one."""
        return next((panel for panel in self.panels if panel.name == name), None)
