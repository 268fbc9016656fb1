"""Points linked to chains: each with its best neighbour ahead and behind, where both agree."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import KDTree

from layflat.base import FloatArray, IntArray
from layflat.photo.records import Mask
from layflat.photo.ridge import Points

_REACH_CELLS = 1.95
_TWIN_CELLS = 0.5
_MOST_TURN = np.cos(np.radians(40.0))
_TURN_WEIGHT = 1.0
"""A turn by 60° counts as much as one cell of distance more."""


@dataclass(frozen=True, eq=False)
class Chain:
    """Points in order along a line.

    Attributes:
        at_mm: (n, 2) float64.
        strength: (n,) float64; 0 at points that bridge a gap.
        bridged: (n,) bool: whether the way from this point to the next is bridged.
        by_hand: (n,) bool: points that a person put.
        closed: whether the last point goes on to the first.
    """

    at_mm: FloatArray
    strength: FloatArray
    bridged: Mask
    by_hand: Mask
    closed: bool = False

    @property
    def length_mm(self) -> float:
        """The length of its chords, the closing one included."""
        points = np.vstack((self.at_mm, self.at_mm[:1])) if self.closed else self.at_mm
        return float(np.hypot(*np.diff(points, axis=0).T).sum())

    def turned(self) -> "Chain":
        """The same the other way round."""
        bridged = self.bridged[::-1]
        bridged = np.concatenate((bridged[1:], bridged[:1]))
        return Chain(
            self.at_mm[::-1], self.strength[::-1], bridged, self.by_hand[::-1], self.closed
        )


def plain_chain(at_mm: FloatArray, strength: FloatArray, *, closed: bool = False) -> Chain:
    """A chain without gaps or points by hand."""
    none = np.zeros(len(at_mm), dtype=np.bool_)
    return Chain(at_mm, strength, none, none, closed)


def link(points: Points, *, cell_mm: float, directed: bool, least_mm: float) -> list[Chain]:
    """Chains of neighbouring points, the longest first.

    Args:
        points: those found.
        cell_mm: side of the pixels that they were found in.
        directed: whether directions have a sense that has to agree, as edges' have.
        least_mm: shorter chains are left out.
    """
    points = _without_twins(points, _TWIN_CELLS * cell_mm)
    if len(points.at_mm) < 3:
        return []
    ahead, behind = _neighbours(points, _REACH_CELLS * cell_mm, directed=directed)
    mates = _mates(points, ahead, behind)
    chains = [
        plain_chain(points.at_mm[order], points.strength[order], closed=closed)
        for order, closed in _walks(mates, points if directed else None)
        if len(order) > 2
    ]
    chains = [chain for chain in chains if chain.length_mm >= least_mm]
    return sorted(chains, key=lambda chain: -chain.length_mm)


def _without_twins(points: Points, within: float) -> Points:
    """Of two points in one place the stronger stays."""
    if not len(points.at_mm):
        return points
    order = np.argsort(-points.strength, kind="stable")
    points = points.pick(order)
    kept = np.ones(len(order), dtype=np.bool_)
    pairs = KDTree(points.at_mm).query_pairs(within, output_type="ndarray")
    for stronger, weaker in pairs[np.lexsort((pairs[:, 1], pairs[:, 0]))].tolist():
        if kept[stronger]:
            kept[weaker] = False
    return points.pick(np.flatnonzero(kept))


def _neighbours(points: Points, reach: float, *, directed: bool) -> tuple[IntArray, IntArray]:
    """(n,) the best neighbour of each point ahead of its direction, and behind; -1 for none."""
    pairs = KDTree(points.at_mm).query_pairs(reach, output_type="ndarray")
    one = np.concatenate((pairs[:, 0], pairs[:, 1]))
    two = np.concatenate((pairs[:, 1], pairs[:, 0]))
    way = points.at_mm[two] - points.at_mm[one]
    length = np.hypot(way[:, 0], way[:, 1])
    way /= np.maximum(length, 1e-12)[:, None]
    lead = np.sum(way * points.along[one], axis=1)
    like = np.sum(points.along[one] * points.along[two], axis=1)
    like = like if directed else np.abs(like)
    good = (like > _MOST_TURN) & (np.abs(lead) > 0.5)
    cost = length / reach + _TURN_WEIGHT * (1.0 - like) + _TURN_WEIGHT * (1.0 - np.abs(lead))
    found = []
    for side in (1.0, -1.0):
        which = np.flatnonzero(good & (side * lead > 0))
        which = which[np.lexsort((cost[which], one[which]))]
        first = which[np.unique(one[which], return_index=True)[1]]
        best = np.full(len(points.at_mm), -1, dtype=np.int64)
        best[one[first]] = two[first]
        found.append(best)
    return found[0], found[1]


def _mates(points: Points, ahead: IntArray, behind: IntArray) -> list[list[int]]:
    """For every point the neighbours that chose it too: at most two."""
    mates: list[list[int]] = [[] for _ in range(len(points.at_mm))]
    for choice in (ahead, behind):
        for one, two in enumerate(choice.tolist()):
            if two >= 0 and one in (ahead[two], behind[two]) and two not in mates[one]:
                mates[one].append(two)
    return mates


def _walks(mates: list[list[int]], directed: Points | None) -> list[tuple[NDArray[np.int64], bool]]:
    """The chains that mutual neighbours make: orders of points, and whether they close.

    With points that have directions a chain goes their way.
    """
    used = np.zeros(len(mates), dtype=np.bool_)
    found = []
    starts = [i for i, mate in enumerate(mates) if len(mate) == 1]
    for start in [*starts, *range(len(mates))]:
        if used[start] or not mates[start]:
            continue
        order, here = [start], start
        used[start] = True
        while True:
            onward = [mate for mate in mates[here] if not used[mate]]
            if not onward:
                break
            here = onward[0]
            used[here] = True
            order.append(here)
        closed = len(order) > 2 and start in mates[order[-1]]
        if directed is not None:
            steps = np.diff(directed.at_mm[order], axis=0)
            if float(np.sum(steps * directed.along[order[:-1]])) < 0.0:
                order.reverse()
        found.append((np.array(order, dtype=np.int64), closed))
    return found
