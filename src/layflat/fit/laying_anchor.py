"""Where the first hold of a piece is, and along which line it is pulled first."""

import math
from dataclasses import dataclass

import numpy as np

from layflat.base import FloatArray, frozen
from layflat.film import Flat, to_surface
from layflat.fit.fingers import edge_distance_mm

INLAND = 0.35
"""No nearer to an edge than this part of the greatest distance from one is film inner film."""

LEAST_PULL = 0.002
"""With less difference between its mean strains a piece has no line that it is pulled along."""

_PROBE_MM = 15.0
_LEANS = 0.2
_NO_LONGER = 0.05
_CLEARLY = 0.35
_MIDDLE_MM = 20.0


@dataclass(frozen=True, eq=False)
class Place:
    """A place of a piece, on the liner and on the car.

    Attributes:
        flat_mm: (2,) float64.
        surface_mm: (3,) float64.
    """

    flat_mm: FloatArray
    surface_mm: FloatArray

    def __post_init__(self) -> None:
        object.__setattr__(self, "flat_mm", frozen(self.flat_mm).reshape(2))
        object.__setattr__(self, "surface_mm", frozen(self.surface_mm).reshape(3))


@dataclass(frozen=True, eq=False)
class Pull:
    """The line that a piece is laid along first.

    Attributes:
        along: (2,) float64, unit vector in the flat, towards the end that is laid first.
        stretch: mean strain along it, a fraction.
        is_pulled: whether film has to be stretched along it more than across.
    """

    along: FloatArray
    stretch: float
    is_pulled: bool

    def __post_init__(self) -> None:
        object.__setattr__(self, "along", frozen(self.along).reshape(2))


def place_of(flat: Flat, point_mm: FloatArray) -> Place:
    """The place of a point of the flat."""
    return Place(point_mm, to_surface(flat, point_mm)[0])


def find_anchor(flat: Flat) -> tuple[Place, float]:
    """The middle of the calm film, well away from every edge, and the strain there, a fraction.

    The middle is that of all film, weighed by its area and less where it is strained more than
    the rest: ``1 / (1 + (e / e')²)``, e' the median strain by area.
    """
    mesh, areas = flat.mesh, flat.mesh.face_areas_mm2
    strained = np.maximum(np.abs(flat.strain.greatest - 1.0), np.abs(1.0 - flat.strain.least))
    order = np.argsort(strained, kind="stable")
    reached = np.cumsum(areas[order])
    median = float(strained[order[np.searchsorted(reached, 0.5 * reached[-1])]])
    weights = areas / (1.0 + (strained / max(median, LEAST_PULL)) ** 2)
    centres = flat.points_mm[mesh.faces].mean(axis=1)
    middle = weights @ centres / weights.sum()
    from_edge = edge_distance_mm(mesh)[mesh.faces].mean(axis=1)
    inner = np.flatnonzero(from_edge >= INLAND * from_edge.max())
    at = int(inner[np.argmin(np.linalg.norm(centres[inner] - middle, axis=1))])
    return place_of(flat, centres[at]), float(strained[at])


def find_pull(flat: Flat, anchor: Place, *, up: FloatArray, forward: FloatArray) -> Pull:
    """Along the greatest mean stretch; along the piece where it needs none.

    Args:
        flat: the piece.
        anchor: its first hold.
        up, forward: (3,) unit vectors of the body: of two equal ends the one ahead is laid first,
            else the upper one, else the one farther from the car's middle; on that middle the
            longer one.
    """
    areas = flat.triangle_areas_mm2
    d = flat.strain.direction
    across = np.stack((-d[:, 1], d[:, 0]), axis=1)
    logs = np.log(flat.strain.greatest), np.log(flat.strain.least)
    mean = (
        sum(
            np.einsum("m,mi,mj->ij", areas * log, v, v)
            for log, v in zip(logs, (d, across), strict=True)
        )
        / areas.sum()
    )
    values, vectors = np.linalg.eigh(mean)
    centres = flat.points_mm[flat.mesh.faces].mean(axis=1) - anchor.flat_mm
    pulled = bool(values[1] - values[0] >= LEAST_PULL and values[1] > 0.0)
    along = vectors[:, 1]
    if not pulled:
        spread = np.einsum("m,mi,mj->ij", areas, centres, centres)
        along = np.linalg.eigh(spread)[1][:, 1]
    lean = float(areas @ (centres @ along)) / float(areas @ np.abs(centres @ along))
    if abs(lean) < _LEANS:
        lean = _first_end(surface_direction(flat, anchor, along), anchor, up, forward, lean=lean)
    along = along if lean >= 0.0 else -along
    return Pull(along, math.expm1(float(along @ mean @ along)), pulled)


def _first_end(
    direction: FloatArray, anchor: Place, up: FloatArray, forward: FloatArray, *, lean: float
) -> float:
    """Positive where *direction* leads to the end that is laid first; *lean* of two like ends."""
    for known in (forward, up):
        if abs(float(direction @ known)) > _CLEARLY:
            return float(direction @ known)
    if abs(float(anchor.surface_mm @ np.cross(up, forward))) <= _MIDDLE_MM and (
        abs(lean) > _NO_LONGER
    ):
        # Near the middle plane no end is the outer one: the longer is first.
        return lean
    return float(direction @ outwards(anchor, up=up, forward=forward))


def outwards(anchor: Place, *, up: FloatArray, forward: FloatArray) -> FloatArray:
    """(3,) the direction away from the car's middle at a first hold; the car's left next to it."""
    side = np.cross(up, forward)
    # Near the middle plane a scan's noise must not decide.
    is_right = float(anchor.surface_mm @ side) < -_MIDDLE_MM
    return np.asarray(-side if is_right else side)


def surface_direction(flat: Flat, at: Place, along: FloatArray) -> FloatArray:
    """(3,) the unit vector on the car of a direction of the flat at a place."""
    ends = to_surface(flat, at.flat_mm + np.outer((-_PROBE_MM, _PROBE_MM), along))
    step = ends[1] - ends[0]
    return np.asarray(step / max(float(np.linalg.norm(step)), 1e-12))
