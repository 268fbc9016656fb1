"""A short path over many places, first and last given, some of them before others.

2-opt and Or-opt (moves of up to three) over the nearest neighbours, with a queue of places whose
neighbours have changed (J. L. Bentley, Fast Algorithms for Geometric Traveling Salesman Problems,
ORSA Journal on Computing 4 (1992) 387-411); then kicks that swap two neighbouring stretches, each
kept only if the path is shorter after it has been mended (iterated local search: D. S. Johnson,
L. A. McGeoch, in Aarts and Lenstra (eds.), Local Search in Combinatorial Optimization, 1997; both
from memory). A neighbour that is farther than what a move can set free is not tried, as in both.
Ways there and back may differ: a reversal counts every leg of its stretch anew.
"""

from collections import deque
from collections.abc import Iterable, Iterator, Sequence

import numpy as np

from layflat.base import FloatArray

_NEAR = 8
_SEGMENT = 3
_KICK = 30
_GAIN_MM = 1e-7


def shortened(
    legs_mm: FloatArray,
    order: Sequence[int],
    *,
    before: Iterable[tuple[int, int]] = (),
    kicks: int = 0,
) -> list[int]:
    """An order at most as long as the given one; the same input gives the same order.

    Args:
        legs_mm: (n + 2, n + 2) float64, from each of n places to each; n stands for where the
            path begins, n + 1 for where it ends.
        order: of the n places; it keeps to *before*.
        before: pairs (first, second) that keep their order.
        kicks: how often to disturb and mend it.
    """
    path = _Path(legs_mm, order, before)
    path.mend(order)
    count = len(order)
    if count > 3:
        rng = np.random.default_rng(count)
        for one, two, three in rng.integers(1, _KICK, (kicks, 3)).tolist():
            path.kick(int(rng.integers(1, count)), 1 + one % (count // 2), 1 + two % (three + 1))
    return path.tour[1:-1]


class _Path:
    """The path while it is shortened."""

    def __init__(
        self, legs_mm: FloatArray, order: Sequence[int], before: Iterable[tuple[int, int]]
    ) -> None:
        self.count = len(order)
        self._legs_mm = legs_mm
        self.legs: list[list[float]] = legs_mm.tolist()
        both = np.minimum(legs_mm, legs_mm.T)[: self.count, : self.count].copy()
        np.fill_diagonal(both, np.inf)
        most = min(_NEAR, max(0, self.count - 1))
        near = np.argsort(both, axis=1, kind="stable")[:, :most]
        gaps = np.take_along_axis(both, near, axis=1)
        self.near: list[list[tuple[int, float]]] = [
            list(zip(*beside, strict=True))
            for beside in zip(near.tolist(), gaps.tolist(), strict=True)
        ]
        self.later: dict[int, set[int]] = {}
        self.sooner: dict[int, set[int]] = {}
        for first, second in before:
            self.later.setdefault(first, set()).add(second)
            self.sooner.setdefault(second, set()).add(first)
        self.tour = [self.count, *order, self.count + 1]
        self._number()

    def _number(self) -> None:
        """Bring places in the path and running lengths both ways up to date."""
        tour = np.array(self.tour)
        place = np.empty(len(tour), dtype=np.int64)
        place[tour] = np.arange(len(tour))
        self.place: list[int] = place.tolist()
        there = self._legs_mm[tour[:-1], tour[1:]]
        back = self._legs_mm[tour[1:], tour[:-1]]
        self.there: list[float] = [0.0, *np.cumsum(there).tolist()]
        self.back: list[float] = [0.0, *np.cumsum(back).tolist()]

    @property
    def length(self) -> float:
        return self.there[-1]

    def mend(self, nodes: Iterable[int]) -> None:
        """Make improving moves at these places, and where moves were made, until there are none."""
        queue = deque(nodes)
        waiting = set(queue)
        while queue:
            node = queue.popleft()
            waiting.discard(node)
            while ends := self._improve(node):
                for end in ends:
                    if end < self.count and end not in waiting:
                        waiting.add(end)
                        queue.append(end)

    def kick(self, at: int, one: int, two: int) -> None:
        """Swap the stretches of *one* and *two* places from *at* on; keep it if it pays."""
        middle, end = at + one, at + one + two
        if end > self.count + 1 or not self._may_swap(at, middle, end):
            return
        kept = self.tour
        numbers = self.place, self.there, self.back
        length = self.length
        self.tour = [*kept[:at], *kept[middle:end], *kept[at:middle], *kept[end:]]
        ends = [kept[i] for i in (at - 1, at, middle - 1, middle, end - 1, end)]
        self._number()
        self.mend(node for node in ends if node < self.count)
        if self.length > length - _GAIN_MM:
            self.tour = kept
            self.place, self.there, self.back = numbers

    def _may_swap(self, start: int, middle: int, end: int) -> bool:
        """Whether two neighbouring stretches may change places."""
        if not self.later:
            return True
        behind = set(self.tour[middle:end])
        return all(not self.later.get(node, set()) & behind for node in self.tour[start:middle])

    def _may_reverse(self, i: int, j: int) -> bool:
        """Whether the stretch from place i to place j may be run the other way."""
        if not self.later:
            return True
        return all(
            not i <= self.place[other] <= j
            for node in self.tour[i : j + 1]
            for other in self.later.get(node, ())
        )

    def _improve(self, node: int) -> list[int]:
        """Make one move at a place that shortens the path; the places at its ends, if any."""
        here = self.place[node]
        tour, legs = self.tour, self.legs
        longest = max(legs[tour[here - 1]][node], legs[node][tour[here + 1]])
        for other, gap in self.near[node]:
            if gap >= longest:
                break
            there = self.place[other]
            low, high = (here, there) if here < there else (there, here)
            # The stretches whose reversal brings the two places together.
            for i, j in ((low + 1, high), (low, high - 1)):
                if i < j and self._gain_reversing(i, j) > _GAIN_MM and self._may_reverse(i, j):
                    ends = [tour[i - 1], tour[i], tour[j], tour[j + 1]]
                    self.tour = [*tour[:i], *reversed(tour[i : j + 1]), *tour[j + 1 :]]
                    self._number()
                    return ends
        for i, j in self._segments(here):
            if ends := self._moved(i, j, self.near[node]):
                return ends
        return []

    def _gain_reversing(self, i: int, j: int) -> float:
        tour, legs = self.tour, self.legs
        a, b, c, d = tour[i - 1], tour[i], tour[j], tour[j + 1]
        turned = (self.back[j] - self.back[i]) - (self.there[j] - self.there[i])
        return legs[a][b] + legs[c][d] - legs[a][c] - legs[b][d] - turned

    def _segments(self, place: int) -> Iterator[tuple[int, int]]:
        """Stretches of up to three places that begin or end at one."""
        for size in range(_SEGMENT):
            if place + size <= self.count:
                yield place, place + size
            if size and place - size >= 1:
                yield place - size, place

    def _moved(self, i: int, j: int, others: Sequence[tuple[int, float]]) -> list[int]:
        """Move a stretch beside one of some places, either side and way round, if that pays."""
        tour, legs, place = self.tour, self.legs, self.place
        p, s, e, q = tour[i - 1], tour[i], tour[j], tour[j + 1]
        freed = legs[p][s] + legs[e][q] - legs[p][q]
        turned = (self.back[j] - self.back[i]) - (self.there[j] - self.there[i])
        from_s, from_e = legs[s], legs[e]
        for other, gap in others:
            if gap >= freed:
                break
            at = place[other]
            if i <= at <= j:
                continue
            for left in (at - 1, at):
                # Between the places `left` and `left + 1`, neither of them in the stretch.
                if i - 1 <= left <= j or left < 0 or left > self.count:
                    continue
                u, v = tour[left], tour[left + 1]
                from_u = legs[u]
                room = freed + from_u[v]
                straight = room - from_u[s] - from_e[v]
                flipped = room - from_u[e] - from_s[v] - turned
                if straight <= _GAIN_MM and flipped <= _GAIN_MM:
                    continue
                if not self._may_move(i, j, left):
                    continue
                flips = flipped > straight and (i == j or self._may_reverse(i, j))
                if flips or straight > _GAIN_MM:
                    self._move(i, j, left, flips=flips)
                    return [p, q, u, v, s, e]
        return []

    def _move(self, i: int, j: int, left: int, *, flips: bool) -> None:
        """Move a stretch behind the place `left`, turned round if wanted."""
        tour = self.tour
        segment = tour[i : j + 1][::-1] if flips else tour[i : j + 1]
        if left < i:
            self.tour = [*tour[: left + 1], *segment, *tour[left + 1 : i], *tour[j + 1 :]]
        else:
            self.tour = [*tour[:i], *tour[j + 1 : left + 1], *segment, *tour[left + 1 :]]
        self._number()

    def _may_move(self, i: int, j: int, left: int) -> bool:
        if left < i:
            return self._may_swap(left + 1, i, j + 1)
        return self._may_swap(i, j + 1, left + 1)
