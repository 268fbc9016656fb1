"""Pieces pushed along the roll towards its start, as far as their neighbours let them."""

from collections.abc import Collection, Sequence

import numpy as np
from shapely import Polygon, affinity

from layflat.base import FloatArray, IntArray
from layflat.nest.outward import ring_points
from layflat.nest.pack import Pack, Spot, make_pack
from layflat.nest.parts import CHORD_MM, Part

_TOUCH_MM = 0.02
"""Outlines that overlap by less count as touching: the engine reckons in single precision."""
_INSET_MM = 1e-7
"""How far from the corners' levels the ways beside them are measured."""
_ROUND_SEGMENTS = 16
"""Chords per quarter circle of an outline grown by half the gap."""


def pushed(pack: Pack, *, gap_mm: float) -> Pack:
    """The pack with every piece moved along x towards 0 as far as it goes, turns and y kept.

    On each level across the roll, what lies behind a piece stays behind it, at least the gap away.
    These are difference constraints between the pieces' places; among all places that keep them,
    one is the least for every piece at once, and it also makes the pack shortest (T. H. Cormen,
    C. E. Leiserson, R. L. Rivest, C. Stein, *Introduction to Algorithms*, chapter on difference
    constraints; from memory). It is found by relaxation from below.

    Args:
        pack: pieces that neither overlap nor come nearer than the gap.
        gap_mm: least distance between pieces, 0 or more.
    """
    return make_pack(pushed_spots(pack.spots, gap_mm=gap_mm))


def pushed_spots(
    spots: Sequence[Spot],
    *,
    gap_mm: float,
    still: Collection[int] = (),
    from_mm: float = 0.0,
) -> list[Spot]:
    """The same of spots as they are, some of which stay where they are.

    Args:
        spots: that neither overlap nor come nearer than the gap.
        gap_mm: least distance between pieces, 0 or more.
        still: places of those that stay.
        from_mm: no other begins before it; none does so now.
    """
    parts = {id(spot.part): spot.part for spot in spots}
    solids = {key: _grown(part, gap_mm) for key, part in parts.items()}
    outlines = [_outline(spot, solids[id(spot.part)]) for spot in spots]
    starts = np.array([spot.box()[0] for spot in spots])
    before, behind, room = _rooms(outlines)
    moves = from_mm - starts
    stay = np.array(sorted(still), dtype=np.int64)
    moves[stay] = 0.0
    # A piece is held by a chain of at most all others.
    for _ in outlines:
        held = moves.copy()
        np.maximum.at(held, behind, moves[before] - room)
        held[stay] = 0.0
        if np.array_equal(held, moves):
            break
        moves = held
    return [
        spot._replace(x_mm=spot.x_mm + float(move)) if i not in still else spot
        for i, (spot, move) in enumerate(zip(spots, moves, strict=True))
    ]


def _grown(part: Part, gap_mm: float) -> Polygon:
    """A part grown by half the gap, unsimplified."""
    solid = Polygon(part.polygon.exterior)
    distance = 0.5 * gap_mm + (CHORD_MM if part.request.pattern.outline.bulges.any() else 0.0)
    if distance > 0:
        # Chords lie inside the round corners; as much more keeps the corners' true distance.
        distance /= np.cos(np.pi / (4 * _ROUND_SEGMENTS))
        solid = solid.buffer(distance, quad_segs=_ROUND_SEGMENTS)
    return solid


def _outline(spot: Spot, grown: Polygon) -> FloatArray:
    """(k, 2) float64: a piece's grown outline where it lies."""
    turned = affinity.rotate(grown, spot.turn_deg, origin=(0, 0))
    return ring_points(affinity.translate(turned, spot.x_mm, spot.y_mm))


def _rooms(outlines: list[FloatArray]) -> tuple[np.ndarray, np.ndarray, FloatArray]:
    """For each pair on common levels: the piece before, the one behind, and the room between."""
    low = np.array([points.min(axis=0) for points in outlines])
    high = np.array([points.max(axis=0) for points in outlines])
    pairs: list[tuple[int, int]] = []
    rooms: list[float] = []
    for i, points in enumerate(outlines):
        common = (low[:, 1] < high[i, 1]) & (high[:, 1] > low[i, 1]) & (high[:, 0] > low[i, 0])
        for j in np.flatnonzero(common):
            if j != i and (room := _room(points, outlines[j])) < np.inf:
                pairs.append((i, int(j)))
                rooms.append(room)
    index = np.array(pairs, dtype=np.int64).reshape(-1, 2)
    return index[:, 0], index[:, 1], np.array(rooms)


def _room(first: FloatArray, second: FloatArray) -> float:
    """The least way along +x from the first outline to the second; infinite if none leads there.

    Between the levels of neighbouring corners the way is linear in y, so that its ends decide.
    Outlines that only meet at one level pass by each other.
    """
    low = max(first[:, 1].min(), second[:, 1].min())
    high = min(first[:, 1].max(), second[:, 1].max())
    corners = np.concatenate((first[:, 1], second[:, 1]))
    levels = np.unique(np.clip(corners, low, high))
    wide = np.diff(levels) > 4 * _INSET_MM
    levels = np.concatenate((levels[:-1][wide] + _INSET_MM, levels[1:][wide] - _INSET_MM))
    levels.sort()
    at, x = _crossings(first, levels)
    level, behind = _crossings(second, levels)
    if not len(at) or not len(level):
        return np.inf
    # Level by level in one row, so far apart that none reaches into the next.
    apart = 2.0 * (max(x.max(), behind.max()) - min(x.min(), behind.min()) + 1.0)
    order = np.argsort(level * apart + behind)
    level, behind = level[order], behind[order]
    next_one = np.searchsorted(level * apart + behind, at * apart + x - _TOUCH_MM)
    inside = next_one < len(level)
    next_one, at, x = next_one[inside], at[inside], x[inside]
    same = level[next_one] == at
    ways = behind[next_one][same] - x[same]
    return max(0.0, float(ways.min())) if ways.size else np.inf


def _crossings(outline: FloatArray, levels: FloatArray) -> tuple[IntArray, FloatArray]:
    """Which levels, by their places, an outline crosses, and where; levels are rising."""
    begin, end = outline, np.roll(outline, -1, axis=0)
    rise = end[:, 1] - begin[:, 1]
    begin, run, rise = begin[rise != 0], (end - begin)[rise != 0, 0], rise[rise != 0]
    ends = np.sort(np.column_stack((begin[:, 1], begin[:, 1] + rise)), axis=1)
    from_level = np.searchsorted(levels, ends[:, 0])
    often = np.searchsorted(levels, ends[:, 1], side="right") - from_level
    edge = np.repeat(np.arange(len(begin)), often)
    within = np.arange(len(edge)) - np.repeat(np.cumsum(often) - often, often)
    at = from_level[edge] + within
    return at, begin[edge, 0] + (levels[at] - begin[edge, 1]) / rise[edge] * run[edge]
