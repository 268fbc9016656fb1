"""Where a piece may not lie beside another: the sum of one outline and the other turned about.

Two outlines overlap just where the place of the second, seen from the first, lies inside the sum
of the first and the second mirrored at its origin (Minkowski's sum; M. de Berg, O. Cheong,
M. van Kreveld and M. Overmars, *Computational Geometry*, chapter on motion planning; from memory).
Outlines are parted into convex parts, whose sums are hulls: triangles, joined wherever the joint
is convex (S. Hertel and K. Mehlhorn, Fast triangulation of simple polygons, Proc. FCT 1983,
LNCS 158; from memory).
"""

from collections.abc import Sequence

import numpy as np
import shapely
from shapely import Polygon, affinity

from layflat.base import FloatArray
from layflat.nest.outward import grow
from layflat.nest.parts import CHORD_MM, Frame, Part

_SLACK_MM = 0.4
"""How much farther out than half the gap outlines are taken; it is pushed out again afterwards."""
_CONVEX = -1e-9


class NoFit:
    """The places that pieces keep from each other, each pair of turns reckoned once."""

    def __init__(self, frame: Frame, *, slack_mm: float = _SLACK_MM) -> None:
        """Nothing is reckoned before it is asked for.

        Args:
            frame: gives the gap.
            slack_mm: how much farther out than half the gap outlines are taken.
        """
        self._gap_mm = frame.gap_mm
        self._slack_mm = slack_mm
        self._parted: dict[int, list[FloatArray]] = {}
        self._plain: dict[tuple[int, int, float], shapely.Geometry] = {}
        self._turned: dict[tuple[int, float, int, float], shapely.Geometry] = {}

    def region(
        self, still: Part, still_deg: float, moving: Part, moving_deg: float
    ) -> shapely.Geometry:
        """Where the origin of *moving* may not lie, seen from the origin of *still*."""
        key = (still.index, still_deg, moving.index, moving_deg)
        if key not in self._turned:
            # Two pieces that are turned together keep each other off as before.
            between = round((moving_deg - still_deg) % 360.0, 9)
            plain = self._between(still, moving, between)
            self._turned[key] = affinity.rotate(plain, still_deg, origin=(0, 0))
        return self._turned[key]

    def _between(self, still: Part, moving: Part, turn_deg: float) -> shapely.Geometry:
        """The region for *still* as it came and *moving* turned."""
        key = (still.index, moving.index, turn_deg)
        if key not in self._plain:
            other = (moving.index, still.index, round(-turn_deg % 360.0, 9))
            if other in self._plain:
                # Each sees the other where it is seen from there.
                seen = affinity.rotate(self._plain[other], turn_deg, origin=(0, 0))
                self._plain[key] = affinity.scale(seen, -1.0, -1.0, origin=(0, 0))
            else:
                turned = [_turned(-one, turn_deg) for one in self._parts(moving)]
                self._plain[key] = _sum(self._parts(still), turned)
        return self._plain[key]

    def _parts(self, part: Part) -> list[FloatArray]:
        if part.index not in self._parted:
            grown = grow(
                part.polygon, distance_mm=0.5 * self._gap_mm + CHORD_MM, slack_mm=self._slack_mm
            )
            self._parted[part.index] = convex_parts(grown)
        return self._parted[part.index]


def convex_parts(polygon: Polygon) -> list[FloatArray]:
    """A polygon without holes in convex parts, each (k, 2) float64, counter-clockwise."""
    triangles = shapely.get_parts(shapely.constrained_delaunay_triangles(polygon))
    points = shapely.get_coordinates(shapely.orient_polygons(triangles)).reshape(-1, 4, 2)[:, :3]
    corners, named = np.unique(points.reshape(-1, 2), axis=0, return_inverse=True)
    loops = {i: [int(v) for v in loop] for i, loop in enumerate(named.reshape(-1, 3))}
    owner = {edge: i for i, loop in loops.items() for edge in _edges(loop)}
    for u, v in [edge for edge in owner if edge[0] < edge[1] and edge[::-1] in owner]:
        first, second = owner[u, v], owner[v, u]
        if first == second:
            continue
        joined = _joined(loops[first], loops[second], u, v)
        at = [joined.index(u), joined.index(v)]
        if all(_turn(corners, joined, i) >= _CONVEX for i in at):
            del loops[second]
            loops[first] = joined
            owner.update(dict.fromkeys(_edges(joined), first))
    return [corners[loop] for loop in loops.values()]


def _edges(loop: Sequence[int]) -> list[tuple[int, int]]:
    return list(zip(loop, [*loop[1:], loop[0]], strict=True))


def _joined(first: Sequence[int], second: Sequence[int], u: int, v: int) -> list[int]:
    """Two loops without the edge that they share, which runs from u to v in the first."""
    i, j = first.index(u), second.index(v)
    return [*first[i + 1 :], *first[: i + 1], *[*second[j + 1 :], *second[:j]][1:]]


def _turn(corners: FloatArray, loop: Sequence[int], at: int) -> float:
    before, here, after = (corners[loop[(at + k) % len(loop)]] for k in (-1, 0, 1))
    (ax, ay), (bx, by) = here - before, after - here
    return float(ax * by - ay * bx)


def _turned(points: FloatArray, turn_deg: float) -> FloatArray:
    angle = np.radians(turn_deg)
    cos, sin = np.cos(angle), np.sin(angle)
    turned: FloatArray = points @ np.array([[cos, sin], [-sin, cos]])
    return turned


def _sum(first: Sequence[FloatArray], second: Sequence[FloatArray]) -> shapely.Geometry:
    """The sum of two shapes in convex parts."""
    sums = [(a[:, None] + b[None]).reshape(-1, 2) for a in first for b in second]
    named = np.repeat(np.arange(len(sums)), [len(one) for one in sums])
    hulls = shapely.convex_hull(shapely.multipoints(np.vstack(sums), indices=named))
    return shapely.union_all(hulls)
