"""Edges that two pieces share: when one is moved, its neighbour goes with it, or it is said."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from layflat.base import FloatArray, InputError
from layflat.pattern import Pattern
from layflat.revise.carry import carried, moves
from layflat.revise.checks import least_jacobian, require_whole
from layflat.revise.outline import Outline, Side, sides_of
from layflat.revise.plate import Field, bend
from layflat.revise.revision import Revision
from layflat.revise.summary import STILL_MM

_EVERY_MM = 25.0
_LEAST_PLACES = 7
_MOST_PLACES = 60
_TRUE_MM = 0.05
_ALIKE = 0.03
_SAID_MM = 0.1


@dataclass(frozen=True, eq=False)
class EdgeChange:
    """What a revision did to one edge.

    Attributes:
        edge: its name.
        shares: (k,) float64, places along it, from 0 to 1 counter-clockwise.
        outward_mm: (k,) float64, how far it moved away from the film there.
        longer_mm: how much longer it became.
    """

    edge: str
    shares: FloatArray
    outward_mm: FloatArray
    longer_mm: float

    def sentence(self) -> str:
        """What a piece that joins here has to follow, in words."""
        low, high = float(self.outward_mm.min()), float(self.outward_mm.max())
        if max(abs(low), abs(high)) < STILL_MM:
            return f"The edge “{self.edge}” did not move; what joins it stays as it is."
        return (
            f"The edge “{self.edge}” moved outward by {low:.1f} to {high:.1f} mm and is "
            f"{self.longer_mm:+.1f} mm long: an overlap with a piece that joins it there grows by "
            "as much, unless that piece is revised too."
        )


@dataclass(frozen=True, eq=False)
class Joined:
    """A neighbour that followed a revision.

    Attributes:
        pattern: the neighbour as it is now.
        field: what carried it.
        change: what the revision did to the edge that they share.
        left_mm: by how much the overlap differs at most from what it was.
        said: sentences for a person.
    """

    pattern: Pattern
    field: Field
    change: EdgeChange
    left_mm: float
    said: tuple[str, ...]


def edge_change(revision: Revision, edge: str) -> EdgeChange:
    """What a revision did to an edge of its base.

    Raises:
        InputError: there is no such edge.
    """
    base = revision.base
    outline = Outline(base.outline, base.outline_corners)
    sides = sides_of(base, outline)
    side = _side(sides, edge, base.name)
    shares, stations = _places(side)
    element, part = outline.place(stations)
    taps = moves(outline, element, part).along(outline.normals(stations))
    new = Outline(revision.pattern.outline, revision.pattern.outline_corners)
    after = sides_of(revision.pattern, new)[sides.index(side)]
    return EdgeChange(edge, shares, taps.of(revision.field), after.length_mm - side.length_mm)


def join(revision: Revision, edge: str, neighbour: Pattern, neighbour_edge: str) -> Joined:
    """The neighbour's shared edge moved back by as much as the revised one moved forward.

    So that their overlap, or the gap at their seam, stays as wide as it was.

    Args:
        revision: of the first piece.
        edge: of the first piece.
        neighbour: the piece that joins it there; its edge runs the other way.
        neighbour_edge: of the neighbour.

    Raises:
        InputError: an edge is not there, the two are not equally long, or the neighbour would fold.
    """
    change = edge_change(revision, edge)
    outline = Outline(neighbour.outline, neighbour.outline_corners)
    side = _side(sides_of(neighbour, outline), neighbour_edge, neighbour.name)
    base = revision.base
    own = Outline(base.outline, base.outline_corners)
    length = _side(sides_of(base, own), edge, base.name).length_mm
    if abs(length - side.length_mm) > _ALIKE * max(length, side.length_mm):
        raise InputError(
            f"The edges “{edge}” of “{base.name}” and “{neighbour_edge}” of “{neighbour.name}” are "
            f"{length:.0f} and {side.length_mm:.0f} mm long and cannot be one seam; name the edges "
            "that join."
        )
    shares, stations = _places(side)
    wanted = -np.interp(1.0 - shares, change.shares, change.outward_mm)
    element, part = outline.place(stations)
    taps = moves(outline, element, part).along(outline.normals(stations))
    size = max(float(np.abs(wanted).max()), _TRUE_MM)
    noise = (_TRUE_MM / size) ** 2 * np.eye(len(wanted))
    field = bend(taps, wanted, noise, reach_mm=revision.scatter.reach_mm)
    least_jacobian(field, outline, ())
    done = carried(neighbour, outline, field)
    narrow = require_whole(neighbour, done.pattern, ())
    left = float(np.abs(taps.of(field) - wanted).max())
    said = [f"“{neighbour.name}” follows: {change.sentence()}", *narrow]
    if left > _SAID_MM:
        said.append(
            f"The overlap along “{neighbour_edge}” still changes by up to {left:.1f} mm, where a "
            "straight line or a corner cannot follow."
        )
    return Joined(done.pattern, field, change, left, tuple(said))


def _side(sides: Sequence[Side], name: str, piece: str) -> Side:
    found = next((side for side in sides if side.name == name), None)
    if found is None:
        known = ", ".join(f"“{side.name}”" for side in sides[:12])
        raise InputError(f"“{piece}” has no edge “{name}”; it has {known}.")
    return found


def _places(side: Side) -> tuple[FloatArray, FloatArray]:
    """Places along a side, a hair inside its ends: their shares and stations."""
    count = int(np.clip(side.length_mm / _EVERY_MM, _LEAST_PLACES, _MOST_PLACES))
    shares = np.linspace(1e-6, 1.0 - 1e-6, count)
    return shares, side.start_mm + shares * side.length_mm
