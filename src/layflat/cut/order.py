"""In which order the loops of a section are cut, and where each is started.

A tour over the pieces: each piece's cut-outs, then its outline, then the next piece; a piece
that lies in another's cut-out comes before that other. Nearest neighbour makes a first order,
`shortened` shortens it, and for a given order the best starts are found exactly, layer by layer.
Repeated until nothing gets shorter.
"""

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.spatial.distance import cdist

from layflat.base import FloatArray
from layflat.cut.tour import shortened

_ROUNDS = 4
_KICKS = 30
_KICKED = 400_000
"""Kicks times pieces squared: many pieces get fewer kicks, which take longer and gain less."""

_KICKS_INSIDE = 20
_FEW = 8
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
        there = stops[stop].entries_mm
        ways = cost[:, None] + np.hypot(
            exits[:, None, 0] - there[None, :, 0], exits[:, None, 1] - there[None, :, 1]
        )
        came_from.append(ways.argmin(axis=0))
        cost, exits = ways.min(axis=0), stops[stop].exits_mm
    choice = int(np.argmin(cost + cdist(exits, end_mm.reshape(1, 2))[:, 0]))
    visits = []
    for stop, back in zip(reversed(order), reversed(came_from), strict=True):
        visits.append((stop, choice))
        choice = int(back[choice])
    return visits[::-1]


def _legs(
    exits_mm: FloatArray, entries_mm: FloatArray, first_mm: FloatArray, last_mm: FloatArray
) -> FloatArray:
    """(n + 2, n + 2) float64: from each place to each, with where the path begins and ends."""
    return cdist(
        np.vstack((exits_mm, first_mm, last_mm)), np.vstack((entries_mm, first_mm, last_mm))
    )


def _neighbours(order: Sequence[int]) -> Iterator[list[int]]:
    """Orders that are one reversal, or one move of a stretch, away."""
    places = range(len(order) + 1)
    for i, j, k in itertools.combinations(places, 3):
        yield [*order[:i], *order[j:k], *order[i:j], *order[k:]]
    for i, j in itertools.combinations(places, 2):
        yield [*order[:i], *reversed(order[i:j]), *order[j:]]


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

    def shorten_pieces(self, order: Sequence[int], *, kicks: int) -> list[int]:
        """A shorter order of the pieces, starts kept."""
        entries = np.array([self.entry(self.loops[piece][0]) for piece in self.pieces])
        exits = np.array([self.exit(self.loops[piece][-1]) for piece in self.pieces])
        return self._shorten(_legs(exits, entries, self.start, self.end), order, kicks)

    def shorten_gaps(self, order: Sequence[int], *, kicks: int) -> list[int]:
        """An order of the pieces that is short if each leg may choose its own two starts."""
        firsts = [self.stops[self.loops[piece][0]].entries_mm for piece in self.pieces]
        lasts = [self.stops[self.loops[piece][-1]].exits_mm for piece in self.pieces]
        legs = _legs(np.vstack(lasts), np.vstack(firsts), self.start, self.end)
        rows = np.cumsum([0, *(len(exits) for exits in lasts), 1])
        columns = np.cumsum([0, *(len(entries) for entries in firsts), 1])
        gaps = np.minimum.reduceat(np.minimum.reduceat(legs, rows, axis=0), columns, axis=1)
        return self._shorten(gaps, order, kicks)

    def _shorten(self, legs: FloatArray, order: Sequence[int], kicks: int) -> list[int]:
        place = {piece: position for position, piece in enumerate(self.pieces)}
        before = [(place[inner], place[outer]) for inner, outer in self.before]
        most = min(kicks, 1 + _KICKED // len(self.pieces) ** 2)
        return shortened(legs, order, before=before, kicks=most)

    def shorten_cut_outs(self, order: Sequence[int]) -> bool:
        """Shorter orders of the cut-outs within each piece, starts kept; whether any changed."""
        here = self.start
        changed = False
        for position in order:
            piece = self.pieces[position]
            *holes, outline = self.loops[piece]
            if len(holes) > 1:
                entries = np.array([self.entry(hole) for hole in holes])
                exits = np.array([self.exit(hole) for hole in holes])
                legs = _legs(exits, entries, here, self.entry(outline))
                shorter = shortened(legs, range(len(holes)), kicks=_KICKS_INSIDE)
                changed |= shorter != list(range(len(holes)))
                self.loops[piece] = [*(holes[i] for i in shorter), outline]
            here = self.exit(outline)
        return changed

    def polished(self, order: Sequence[int]) -> list[int]:
        """The order after every move of a stretch that pays with the best starts for each order."""
        best = list(order)
        length = self.length(best)
        better = True
        while better:
            better = False
            for candidate in _neighbours(best):
                shorter = self.length(candidate) if self.allowed(candidate) else np.inf
                if shorter < length - _GAIN_MM:
                    best, length, better = candidate, shorter, True
                    break
        return best

    def length(self, order: Sequence[int]) -> float:
        visits = best_starts(self.stops, self.stop_order(order), self.start, self.end)
        return travel_mm(self.stops, visits, self.start, self.end)

    def allowed(self, order: Sequence[int]) -> bool:
        rank = {self.pieces[position]: k for k, position in enumerate(order)}
        return all(rank[inner] < rank[outer] for inner, outer in self.before)

    def nearest_first(self) -> list[int]:
        """Each next piece the nearest one that may come."""
        firsts = [self.stops[self.loops[piece][0]].entries_mm for piece in self.pieces]
        entries = np.vstack(firsts)
        begins = np.cumsum([0, *(len(first) for first in firsts)])[:-1]
        place = {piece: position for position, piece in enumerate(self.pieces)}
        waits = np.zeros(len(self.pieces), dtype=np.int64)
        for _, outer in self.before:
            waits[place[outer]] += 1
        done = np.zeros(len(self.pieces), dtype=bool)
        order, here = list[int](), self.start
        for _ in self.pieces:
            gaps = np.minimum.reduceat(cdist(here.reshape(1, 2), entries)[0], begins)
            nearest = int(np.argmin(np.where(done | (waits > 0), np.inf, gaps)))
            order.append(nearest)
            done[nearest] = True
            for inner, outer in self.before:
                waits[place[outer]] -= inner == self.pieces[nearest]
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
    tour = _Tour(stops, before, start_mm, end_mm)
    nearest = tour.nearest_first()
    best = tour.visits(nearest)
    best_length = travel_mm(stops, best, start_mm, end_mm)
    for order in (nearest, tour.shorten_gaps(nearest, kicks=_KICKS)):
        last = np.inf
        for _ in range(_ROUNDS):
            visits = tour.visits(order)
            if tour.shorten_cut_outs(order):
                visits = tour.visits(order)
            length = travel_mm(stops, visits, start_mm, end_mm)
            if length < best_length:
                best, best_length = visits, length
            if length > last - _GAIN_MM:
                break
            last = length
            order = tour.shorten_pieces(order, kicks=_KICKS)
    if len(order) <= _FEW:
        visits = tour.visits(tour.polished(order))
        if travel_mm(stops, visits, start_mm, end_mm) < best_length:
            return visits
    return best
