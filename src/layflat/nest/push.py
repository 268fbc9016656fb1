"""Pieces pushed along the roll towards its start, as far as their neighbours let them."""

import numpy as np
from shapely import Polygon, affinity

from layflat.base import FloatArray
from layflat.nest.outward import ring_points
from layflat.nest.pack import Pack, Spot, make_pack
from layflat.nest.parts import CHORD_MM

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
    outlines = [_outline(spot, gap_mm) for spot in pack.spots]
    starts = np.array([spot.box()[0] for spot in pack.spots])
    before, behind, room = _rooms(outlines)
    moves = -starts
    # A piece is held by a chain of at most all others.
    for _ in outlines:
        held = moves.copy()
        np.maximum.at(held, behind, moves[before] - room)
        if np.array_equal(held, moves):
            break
        moves = held
    return make_pack(
        spot._replace(x_mm=spot.x_mm + float(move))
        for spot, move in zip(pack.spots, moves, strict=True)
    )


def _outline(spot: Spot, gap_mm: float) -> FloatArray:
    """(k, 2) float64: a piece's outline where it lies, grown by half the gap, unsimplified."""
    part = spot.part
    solid = Polygon(part.polygon.exterior)
    distance = 0.5 * gap_mm + (CHORD_MM if part.request.pattern.outline.bulges.any() else 0.0)
    if distance > 0:
        # Chords lie inside the round corners; as much more keeps the corners' true distance.
        distance /= np.cos(np.pi / (4 * _ROUND_SEGMENTS))
        solid = solid.buffer(distance, quad_segs=_ROUND_SEGMENTS)
    turned = affinity.rotate(solid, spot.turn_deg, origin=(0, 0))
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
    ways = _crossings(second, levels)[:, None, :] - _crossings(first, levels)[:, :, None]
    ways = ways[ways >= -_TOUCH_MM]
    return max(0.0, float(ways.min())) if ways.size else np.inf


def _crossings(outline: FloatArray, levels: FloatArray) -> FloatArray:
    """(m, k) float64: where each level crosses an outline, rising; nan beyond the last."""
    begin, end = outline, np.roll(outline, -1, axis=0)
    rise = end[:, 1] - begin[:, 1]
    begin, run, rise = begin[rise != 0], (end - begin)[rise != 0, 0], rise[rise != 0]
    part = (levels[:, None] - begin[:, 1]) / rise
    meets = (part >= 0) & (part <= 1)
    crossings = np.sort(np.where(meets, begin[:, 0] + part * run, np.nan), axis=1)
    return crossings[:, : int(meets.sum(axis=1).max(initial=0))]
