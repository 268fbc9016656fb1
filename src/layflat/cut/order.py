"""In which order the loops of a section are cut, and where each is started.

A tour over the pieces: each piece's cut-outs, then its outline, then the next piece; a piece
that lies in another's cut-out comes before that other. Nearest neighbour makes a first order,
moves of one to three pieces and reversals (or-opt and 2-opt) shorten it, and for a given order
the best starts are found exactly, layer by layer. Repeated until nothing gets shorter.
"""

import itertools
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from layflat.base import FloatArray

_WINDOW = 40
_ROUNDS = 8
_GAIN_MM = 1e-6


@dataclass(frozen=True, eq=False)
class Stop:
    """One loop as the tour sees it.

    Attributes:
        piece: index of its piece.
        is_cut_out: whether it is a cut-out; its piece's outline comes after it.
        entries_mm: (k, 2) float64, where the cut may start.
        exits_mm: (k, 2) float64, where the knife is lifted for each of them.
    """

    piece: int
    is_cut_out: bool
    entries_mm: FloatArray
    exits_mm: FloatArray


Visit = tuple[int, int]
"""A stop's index and the index of its entry."""

_Costs = Callable[[Sequence[int]], float]
_Allowed = Callable[[Sequence[int]], bool]


def _between(from_mm: FloatArray, to_mm: FloatArray) -> FloatArray:
    """(n, m) float64: distances from n points to m points."""
    difference = from_mm[:, None, :] - to_mm[None, :, :]
    return np.hypot(difference[..., 0], difference[..., 1])


def travel_mm(
    stops: Sequence[Stop], visits: Sequence[Visit], start_mm: FloatArray, end_mm: FloatArray
) -> float:
    """The knife-up travel of a tour, from the start over all visits to the end."""
    places = [start_mm]
    for stop, choice in visits:
        places += [stops[stop].entries_mm[choice], stops[stop].exits_mm[choice]]
    places.append(end_mm)
    legs = np.array(places).reshape(-1, 2, 2)
    return float(np.hypot(*(legs[:, 1] - legs[:, 0]).T).sum())


def best_starts(
    stops: Sequence[Stop], order: Sequence[int], start_mm: FloatArray, end_mm: FloatArray
) -> list[Visit]:
    """The entries that make the tour shortest for a given order; exact, layer by layer."""
    cost = np.zeros(1)
    exits = start_mm.reshape(1, 2)
    came_from = []
    for stop in order:
        ways = cost[:, None] + _between(exits, stops[stop].entries_mm)
        came_from.append(np.argmin(ways, axis=0))
        cost, exits = ways.min(axis=0), stops[stop].exits_mm
    choice = int(np.argmin(cost + _between(exits, end_mm.reshape(1, 2))[:, 0]))
    visits = []
    for stop, back in zip(reversed(order), reversed(came_from), strict=True):
        visits.append((stop, choice))
        choice = int(back[choice])
    return visits[::-1]


def _neighbours(order: Sequence[int]) -> Iterator[list[int]]:
    """Orders that are one reversal or one move of up to three away."""
    count = len(order)
    for i, j in itertools.combinations(range(count), 2):
        if j - i <= _WINDOW:
            yield [*order[:i], *reversed(order[i : j + 1]), *order[j + 1 :]]
    for size in range(1, min(3, count - 1) + 1):
        for i in range(count - size + 1):
            moved, rest = order[i : i + size], [*order[:i], *order[i + size :]]
            for j in range(max(0, i - _WINDOW), min(len(rest), i + _WINDOW) + 1):
                if j != i:
                    yield [*rest[:j], *moved, *rest[j:]]


def _shortened(order: Sequence[int], cost: _Costs, allowed: _Allowed) -> list[int]:
    """The order after improving moves, until there is none left (or enough were made)."""
    best, best_cost = list(order), cost(order)
    for _ in range(50 * max(1, len(order))):
        for candidate in _neighbours(best):
            candidate_cost = cost(candidate)
            if candidate_cost < best_cost - _GAIN_MM and allowed(candidate):
                best, best_cost = candidate, candidate_cost
                break
        else:
            break
    return best


def _path_cost(between: FloatArray, first: FloatArray, last: FloatArray) -> _Costs:
    """The cost of an order: from the start to its first, along it, from its last to the end."""
    legs, starts, ends = between.tolist(), first.tolist(), last.tolist()

    def cost(order: Sequence[int]) -> float:
        total = starts[order[0]] + ends[order[-1]]
        for a, b in itertools.pairwise(order):
            total += legs[a][b]
        return float(total)

    return cost


class _Tour:
    """The tour while it is improved: pieces in order, and each piece's loops in order."""

    def __init__(
        self,
        stops: Sequence[Stop],
        before: Sequence[tuple[int, int]],
        start_mm: FloatArray,
        end_mm: FloatArray,
    ) -> None:
        self.stops, self.start, self.end = stops, start_mm, end_mm
        self.before = list(before)
        self.pieces = sorted({stop.piece for stop in stops})
        self.loops = {
            piece: sorted(
                (i for i, stop in enumerate(stops) if stop.piece == piece),
                key=lambda i: not stops[i].is_cut_out,
            )
            for piece in self.pieces
        }
        self.choice = dict.fromkeys(range(len(stops)), 0)

    def allowed(self, order: Sequence[int]) -> bool:
        """Whether inner pieces (positions in `pieces`) come before those around them."""
        if not self.before:
            return True
        rank = {self.pieces[position]: k for k, position in enumerate(order)}
        return all(rank[inner] < rank[outer] for inner, outer in self.before)

    def stop_order(self, order: Sequence[int]) -> list[int]:
        return [loop for position in order for loop in self.loops[self.pieces[position]]]

    def visits(self, order: Sequence[int]) -> list[Visit]:
        """The tour in this order with its best starts, which are kept as the present ones."""
        visits = best_starts(self.stops, self.stop_order(order), self.start, self.end)
        self.choice = dict(visits)
        return visits

    def entry(self, stop: int) -> FloatArray:
        place: FloatArray = self.stops[stop].entries_mm[self.choice[stop]]
        return place

    def exit(self, stop: int) -> FloatArray:
        place: FloatArray = self.stops[stop].exits_mm[self.choice[stop]]
        return place

    def shorten_pieces(self, order: Sequence[int]) -> list[int]:
        """A shorter order of the pieces, starts kept."""
        entries = np.array([self.entry(self.loops[piece][0]) for piece in self.pieces])
        exits = np.array([self.exit(self.loops[piece][-1]) for piece in self.pieces])
        cost = _path_cost(
            _between(exits, entries),
            _between(self.start.reshape(1, 2), entries)[0],
            _between(exits, self.end.reshape(1, 2))[:, 0],
        )
        return _shortened(order, cost, self.allowed)

    def shorten_cut_outs(self, order: Sequence[int]) -> None:
        """Shorter orders of the cut-outs within each piece, starts kept."""
        here = self.start
        for position in order:
            piece = self.pieces[position]
            *holes, outline = self.loops[piece]
            if len(holes) > 1:
                entries = np.array([self.entry(hole) for hole in holes])
                exits = np.array([self.exit(hole) for hole in holes])
                cost = _path_cost(
                    _between(exits, entries),
                    _between(here.reshape(1, 2), entries)[0],
                    _between(exits, self.entry(outline).reshape(1, 2))[:, 0],
                )
                shorter = _shortened(range(len(holes)), cost, lambda _: True)
                self.loops[piece] = [*(holes[i] for i in shorter), outline]
            here = self.exit(outline)

    def nearest_first(self) -> list[int]:
        """Each next piece the nearest one that may come."""
        left, order, here = set(range(len(self.pieces))), list[int](), self.start
        while left:
            waiting = {self.pieces[position] for position in left}
            barred = {outer for inner, outer in self.before if inner in waiting}
            may = sorted(position for position in left if self.pieces[position] not in barred)
            gaps = [
                _between(here.reshape(1, 2), self.stops[self.loops[self.pieces[p]][0]].entries_mm)
                for p in may
            ]
            nearest = may[int(np.argmin([gap.min() for gap in gaps]))]
            order.append(nearest)
            left.remove(nearest)
            here = self.exit(self.loops[self.pieces[nearest]][-1])
        return order


def shortest_tour(
    stops: Sequence[Stop],
    *,
    before: Sequence[tuple[int, int]] = (),
    start_mm: FloatArray,
    end_mm: FloatArray,
) -> list[Visit]:
    """A short tour over all stops: cut-outs before their outline, inner pieces before outer.

    Args:
        stops: at least one; each piece has exactly one stop that is not a cut-out.
        before: pairs of pieces (inner, outer): the inner comes first.
        start_mm: (2,) float64, where the head comes from.
        end_mm: (2,) float64, where it goes at last.

    Returns:
        Every stop once, with its entry, in the order of cutting.
    """
    best: list[Visit] = []
    best_length = np.inf
    tour = _Tour(stops, before, start_mm, end_mm)
    nearest = tour.nearest_first()
    along = sorted(
        range(len(tour.pieces)),
        key=lambda p: float(stops[tour.loops[tour.pieces[p]][-1]].entries_mm[:, 0].min()),
    )
    for first in (nearest, along if tour.allowed(along) else nearest):
        order = first
        length = np.inf
        for _ in range(_ROUNDS):
            visits = tour.visits(order)
            shorter = travel_mm(stops, visits, start_mm, end_mm)
            if shorter < best_length - _GAIN_MM:
                best, best_length = visits, shorter
            if shorter > length - _GAIN_MM:
                break
            length = shorter
            tour.shorten_cut_outs(order)
            order = tour.shorten_pieces(order)
    return best
