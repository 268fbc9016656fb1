"""Anchors: points of the piece that are held at points of the surface."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from scipy.spatial.distance import cdist
from shapely import Polygon
from shapely.ops import nearest_points

from layflat.base import FloatArray, InputError, IntArray, frozen
from layflat.film import ComplexArray, Flat
from layflat.fit.lay_energy import LayEnergy
from layflat.fit.lay_start import as_plane, in_chart, on_surface

OFF_PIECE_MM = 0.5
"""An anchor this far off the piece's edge is taken to be on it."""

_SAID_MM = 0.05
_ROUNDS = 24
_LEAST_PART = 1e-2
_CAREFUL = 0.6
"""Part of the way to the first fold that one round may go."""

CRUSHED_STRETCH = 0.2
"""No triangle is pressed to less than this part of its length for an anchor's sake."""
_SAME_MM = 1e-3


@dataclass(frozen=True, eq=False)
class Anchor:
    """A point of the piece held at a point of the surface.

    Attributes:
        flat_mm: (2,) float64, on the piece.
        surface_mm: (3,) float64, on the surface.
        name: what people call it, e.g. "hood front, middle"; "" for its number.
    """

    flat_mm: FloatArray
    surface_mm: FloatArray
    name: str = ""

    def __post_init__(self) -> None:
        for name, size in (("flat_mm", 2), ("surface_mm", 3)):
            value = frozen(getattr(self, name)).reshape(-1)
            if value.shape != (size,):
                raise InputError(f"An anchor's {name} must be {size} numbers.")
            object.__setattr__(self, name, value)


@dataclass(frozen=True, eq=False)
class Pinned:
    """Anchors checked against piece and surface.

    Attributes:
        names: for each, how a sentence begins with it.
        flat_mm: (k, 2) float64, on the piece.
        places: (k,) complex, in the chart.
        notes: sentences on what was moved to be on piece or surface.
    """

    names: tuple[str, ...]
    flat_mm: FloatArray
    places: ComplexArray
    notes: tuple[str, ...]


def pinned(anchors: Sequence[Anchor], piece: Polygon, flat: Flat) -> Pinned:
    """*anchors* on *piece* and on the surface of *flat*.

    Raises:
        InputError: one is not finite, off the piece or off the surface, or two share a point.
    """
    names = tuple(
        f"The anchor “{anchor.name}”" if anchor.name else f"Anchor {i}"
        for i, anchor in enumerate(anchors, start=1)
    )
    if not anchors:
        return Pinned((), np.zeros((0, 2)), np.zeros(0, np.complex128), ())
    notes: list[str] = []
    points = []
    for name, anchor in zip(names, anchors, strict=True):
        if not np.isfinite(anchor.flat_mm).all():
            raise InputError(f"{name} is not at finite numbers on the piece; place it again.")
        spot = shapely.Point(anchor.flat_mm)
        gap = piece.distance(spot)
        if gap > OFF_PIECE_MM:
            raise InputError(f"{name} lies {gap:.1f} mm off the piece; place it on the film.")
        if gap > 0.0:
            spot = nearest_points(piece, spot)[0]
        if gap > _SAID_MM:
            notes.append(f"{name} lies {gap:.2f} mm off the piece and was taken to its edge.")
        points.append((spot.x, spot.y))
    space = np.stack([anchor.surface_mm for anchor in anchors])
    located = on_surface(flat, space, names=names)
    for name, gap in zip(names, located.distances_mm, strict=True):
        if gap > _SAID_MM:
            notes.append(f"{name} lies {gap:.2f} mm off the surface and was taken onto it.")
    found = Pinned(names, np.array(points), in_chart(flat, located), tuple(notes))
    _require_apart(names, found.flat_mm, "of the piece")
    _require_apart(names, as_plane(found.places), "of the surface")
    return found


def _require_apart(names: Sequence[str], points: FloatArray, where: str) -> None:
    gaps = cdist(points, points) + np.diag(np.full(len(points), np.inf))
    if gaps.min() < _SAME_MM:
        i, j = divmod(int(gaps.argmin()), len(points))
        raise InputError(f"{names[i]} and {names[j]} share a point {where}; drop one of them.")


def drawn_in(
    energy: LayEnergy,
    start: ComplexArray,
    goals: ComplexArray,
    relax: Callable[[ComplexArray], ComplexArray],
) -> ComplexArray:
    """Film with its anchors drawn from where they are at *start* towards their places.

    Each time all film goes along as far as no triangle turns over, then rests a while with the
    anchors held. Ends when the anchors are there, or when they come no nearer
    without film being turned over or crushed.

    Args:
        energy: the film; its held vertices are the anchors.
        start: (n,) complex.
        goals: (k,) complex, where the anchors belong.
        relax: slides film a few steps with its anchors held.
    """
    places, anchors = start, energy.hold.anchors
    most = 1.0
    for _ in range(_ROUNDS):
        left = goals - places[anchors]
        if not np.abs(left).max() > 0.0:
            break
        direction = _spread(places, anchors, left)
        part = min(most, _CAREFUL * energy.step_limit(places, direction))
        if part < _LEAST_PART:
            break
        moved = places + part * direction
        if part == 1.0:
            moved[anchors] = goals
        moved = relax(moved)
        if energy.least_stretch(moved) < CRUSHED_STRETCH:
            most = 0.5 * part
            continue
        places, most = moved, min(1.0, 2.0 * most)
    return places


def _spread(places: ComplexArray, anchors: IntArray, moves: ComplexArray) -> ComplexArray:
    """(n,) a move of all film that is *moves* at the anchors: least kinks elsewhere.

    The blend of distances to the anchors (R. L. Hardy, J. Geophys. Res. 76 (1971) 1905-1915, from
    memory), whose coefficients sum to nothing, so that far film moves by their mean.
    """
    k = len(anchors)
    if k == 1:
        return np.full_like(places, moves[0])
    at = places[anchors]
    system = np.ones((k + 1, k + 1))
    system[:k, :k] = np.abs(at[:, None] - at[None, :])
    system[k, k] = 0.0
    weights = np.linalg.solve(system, np.append(moves, 0.0))
    return np.asarray(np.abs(places[:, None] - at[None, :]) @ weights[:k] + weights[k])
