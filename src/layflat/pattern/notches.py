"""Notches in a flap that would be crowded: where, how many, how wide, and when trimming is better.

Folded round an outer edge, a flap has more film along its outer line than the metal has length. A
V of that width takes the excess out. The film between two notches, a tab of width b along the edge,
slides towards them; at its sides it is sheared by half the angle that the edge turns through along
it, k b / 2, and a shear s compresses it by s / 2 (the principal strain of pure shear). So that this
stays within the limit e, a tab is no wider than 4 e / k. The excess per mm of edge and mm of depth
is k for a square fold on a flat panel; in general it is what `layflat.pattern.fold.demand` says.

A notch ends at `ROOT_MM` from the edge, so that the paint's edge stays covered, in a round of
`RADIUS_MM`, so that the film does not tear. What lies nearer the edge must bear its crowding.

Notches let water in and can peel. There are none where the flap is `ENOUGH_MM` deep without them,
where they would stand closer than `LEAST_TAB_MM`, or where they would cost more film than trimming.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Point, Polygon, union_all
from shapely.geometry.base import BaseGeometry

from layflat.base import FloatArray, IntArray

ROOT_MM = 2.0
"""A notch ends this far from the edge. Common practice, no source: paint is covered to its edge."""

RADIUS_MM = 1.0
"""Radius of a notch's root and of the tips of the tabs beside it."""

LEAST_TAB_MM = 6.0
"""Tabs narrower than this peel, and are not cut. Common practice, no source."""

ENOUGH_MM = 6.0
"""A flap that is this deep without notches is not notched: the least of the usual 6 to 12 mm,
common practice, no source.
"""

_SEGMENTS = 32
_TRIMMED_MM = 0.05
_BEYOND_MM = 2.0
_TABS_PER_LIMIT = 4.0
_LEAST_EXCESS = 1e-12


@dataclass(frozen=True)
class Notch:
    """A V cut into a flap, with a round root.

    Attributes:
        station: the index of the flap's point that it stands at.
        along_mm: where that is along the edge.
        depth_mm: the flap's depth there.
        mouth_mm: its width at the flap's outer line.
        angle_rad: the angle between its sides; 0 where a narrow one has parallel sides.
    """

    station: int
    along_mm: float
    depth_mm: float
    mouth_mm: float
    angle_rad: float


@dataclass(frozen=True, eq=False)
class Notched:
    """What notches do for a flap.

    Attributes:
        notches: in the order along the edge.
        kept: (n,) bool, where crowding no longer bounds the flap.
        dense: whether there were places where notches would have stood too close.
    """

    notches: tuple[Notch, ...]
    kept: NDArray[np.bool_]
    dense: bool


def notched(
    along: FloatArray,
    *,
    wanted_mm: float,
    open_ends: bool,
    trimmed_mm: FloatArray,
    uncrowded_mm: FloatArray,
    crowded_mm: FloatArray,
    excess: FloatArray,
    limit: float,
    ease: Callable[[FloatArray], FloatArray],
) -> Notched:
    """Notches for a flap, where they keep more film than trimming its depth.

    Args:
        along: (n,) float64, stations along the edge, in mm.
        wanted_mm: the depth that was asked for.
        open_ends: whether the edge ends at corners; a flap's slanting end is as good as a notch.
        trimmed_mm: (n,) the flap's depth without notches.
        uncrowded_mm: (n,) its depth if crowding were no matter.
        crowded_mm: (n,) the depth that crowding allows.
        excess: (n,) what the flap's line is too long by, per mm of edge and of depth; >= 0.
        limit: the greatest compressive strain.
        ease: gives a depth whose slopes a knife can follow.
    """
    crowded = crowded_mm < uncrowded_mm - _TRIMMED_MM
    tab = np.full(len(along), np.inf)
    np.divide(_TABS_PER_LIMIT * limit, excess, out=tab, where=excess > _LEAST_EXCESS)
    wide = (tab >= LEAST_TAB_MM) & (crowded_mm >= ROOT_MM)
    can = crowded & wide & (uncrowded_mm >= ROOT_MM + 2.0 * RADIUS_MM)
    step = np.gradient(along)
    kept = np.zeros(len(along), np.bool_)
    weights: list[FloatArray] = []
    for run in _runs(can, ~crowded, along, 2.0 * wanted_mm):
        if trimmed_mm[run].min() >= ENOUGH_MM:
            continue
        here = np.zeros(len(along), np.bool_)
        here[run] = True
        depth = ease(np.where(here, uncrowded_mm, np.minimum(uncrowded_mm, crowded_mm)))
        weight = np.where(crowded & here & (depth > crowded_mm), excess, 0.0) * step
        if open_ends:
            weight[np.minimum(along, along[-1] - along) < wanted_mm] = 0.0
        cut = _placed(weight, along, depth, limit)
        lost = sum(0.5 * notch.mouth_mm * (notch.depth_mm - ROOT_MM) for notch in cut)
        apart = np.diff([notch.along_mm for notch in cut])
        if cut and apart.min(initial=np.inf) < LEAST_TAB_MM:
            wide[run] = False
        elif cut and ((depth - trimmed_mm) * step)[run].sum() > lost:
            kept |= here
            weights.append(weight)
    # Runs that are kept beside each other leave more depth than one alone.
    depth = ease(np.where(kept, uncrowded_mm, np.minimum(uncrowded_mm, crowded_mm)))
    notches = [notch for weight in weights for notch in _placed(weight, along, depth, limit)]
    return Notched(tuple(notches), kept, bool((crowded & ~wide & ~kept).any()))


def _runs(
    can: NDArray[np.bool_], free: NDArray[np.bool_], along: FloatArray, join_mm: float
) -> list[IntArray]:
    """The stretches of stations that can be notched, joined across short free ones."""
    ends = np.flatnonzero(np.diff(np.concatenate(([0], can.astype(np.int8), [0]))))
    pairs: list[tuple[int, int]] = []
    for start, end in ends.reshape(-1, 2).tolist():
        if pairs:
            before, last = pairs[-1]
            if free[last:start].all() and along[start] - along[last - 1] <= join_mm:
                pairs[-1] = (before, end)
                continue
        pairs.append((start, end))
    return [np.arange(start, end) for start, end in pairs]


def _placed(weight: FloatArray, along: FloatArray, depth: FloatArray, limit: float) -> list[Notch]:
    """As few notches as the limit allows, each in the middle of its tabs' share of the excess.

    Args:
        weight: (n,) float64, at each station the excess per mm of depth.
    """
    total = float(weight.sum())
    if total <= 0.0:
        return []
    count = math.ceil(total / (_TABS_PER_LIMIT * limit) - 1e-9)
    share = np.cumsum(weight) - 0.5 * weight
    which = np.minimum((share * count / total).astype(np.int64), count - 1)
    taken = np.bincount(which, weight * depth, minlength=count)
    found = []
    for i in range(count):
        station = int(np.searchsorted(share, (i + 0.5) * total / count))
        deep = float(depth[min(station, len(depth) - 1)])
        if deep >= ROOT_MM + 2.0 * RADIUS_MM:
            mouth = max(float(taken[i]), 2.0 * RADIUS_MM)
            found.append(
                Notch(station, float(along[station]), deep, mouth, 2.0 * _lean(deep, mouth))
            )
    return found


def _lean(depth_mm: float, mouth_mm: float) -> float:
    """How far a notch's sides lean from its middle line, touching the round of its root."""
    high = depth_mm - ROOT_MM - RADIUS_MM
    half = 0.5 * mouth_mm
    return max(math.atan2(half, high) - math.asin(RADIUS_MM / math.hypot(half, high)), 0.0)


def notch_shape(notch: Notch, foot: FloatArray, outward: FloatArray) -> BaseGeometry:
    """What a notch takes out of its flap.

    Args:
        notch: the notch.
        foot: (2,) float64, the point of the edge that it stands at.
        outward: (2,) float64, unit vector away from the piece.
    """
    across = np.array([-outward[1], outward[0]])
    far = notch.depth_mm + _BEYOND_MM
    half = 0.5 * notch.mouth_mm + _BEYOND_MM * math.tan(0.5 * notch.angle_rad)
    root = Point(foot + (ROOT_MM + RADIUS_MM) * outward).buffer(RADIUS_MM, quad_segs=_SEGMENTS)
    mouth = [foot + far * outward + side * half * across for side in (1.0, -1.0)]
    shape: BaseGeometry = root.union(Polygon([*mouth, foot + (far + 1e-3) * outward])).convex_hull
    return shape


def cut_notches(
    flap: BaseGeometry, notches: tuple[Notch, ...], points: FloatArray, outward: FloatArray
) -> BaseGeometry:
    """A flap with its notches cut, and the tips of the tabs beside them rounded."""
    if not notches:
        return flap
    shapes = [notch_shape(n, points[n.station], outward[n.station]) for n in notches]
    tips = union_all(
        [
            Point(points[n.station] + n.depth_mm * outward[n.station]).buffer(
                0.5 * n.mouth_mm + 2.0 * RADIUS_MM
            )
            for n in notches
        ]
    )
    rest = flap.difference(union_all(shapes))
    opened = rest.buffer(-RADIUS_MM, quad_segs=_SEGMENTS).buffer(RADIUS_MM, quad_segs=_SEGMENTS)
    # Whole crumbs only: one that is cut in two would leave a seam.
    sharp = [part for part in shapely.get_parts(rest.difference(opened)) if tips.covers(part)]
    return rest.difference(union_all(sharp))
