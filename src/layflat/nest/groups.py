"""Which pieces to try together in a section next.

How densely a group of panels packs hangs on which pieces they are, and no quick estimate tells it:
what tells is a short run of the engine. So groups are dealt by chance, each nearly filling a
section, and packed.
"""

import math
import random
from collections import Counter, deque
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import shapely

from layflat.nest.pack import Pack, Spot
from layflat.nest.parts import Part

Group = tuple[int, ...]
"""How many pieces of each part, by the parts' index."""

_TRIES = 50
_FULL_FROM, _FULL = 0.8, 0.89
"""What part of a section a full group takes, by area: denser, panels seldom lie."""
_TWO, _LEAST = 1.7, 0.3
"""Pieces that make no more than so many full groups are dealt to two of any size down to this part
of them."""
_LARGE = 0.07
"""Pieces of more than this part of a section are shared out evenly, small ones beside them."""
_UNEVEN = 0.08
_MOST_APART = 4
_MOST_SWAPPED = 3
_MOVES = {"deal": 5, "swap": 4, "again": 1}
_MOVES_AT_LAST = {"swap": 2, "again": 3}
"""How often each move is thought of, earlier and in the last part of the time."""


@dataclass(frozen=True)
class Deal:
    """Pieces shared out anew.

    Attributes:
        groups: all of them, each at least one piece.
        out: the packs of the layout that were taken apart; () where it is not one of the layout.
        is_again: whether they are packed as they were, with another seed.
    """

    groups: tuple[Group, ...]
    out: tuple[Pack, ...] = ()
    is_again: bool = False


class Dealer:
    """Deals near the best layout, none twice until there is no other.

    First come the groups that were proposed. Then three moves, at random: some sections' pieces
    are dealt anew, to as few as may hold them or one more; two sections swap some; a section is
    packed again with another seed, those first for which that was done least often. Sections that
    hold more waste are taken apart more often.
    """

    def __init__(self, areas: Sequence[float], room: float, *, choice: random.Random) -> None:
        """Begin.

        Args:
            areas: of each part, with half the gap round it.
            room: of a section, with the same.
            choice: where chance comes from.
        """
        self._areas = areas
        self._room = room
        self._choice = choice
        self._tried: set[frozenset[Group]] = set()
        self._proposed: deque[Group] = deque()
        self._again: Counter[Group] = Counter()

    def propose(self, groups: Iterable[Group]) -> None:
        """Have some groups packed before others are thought of, unless they were already."""
        self._proposed.extend(group for group in groups if sum(group) > 1)

    def sections(self, group: Group) -> float:
        """How many full sections a group's pieces make, about."""
        return self.area(group) / (_FULL * self._room)

    def full_group(self, left: Group, *, may_be_all: bool = True) -> Group:
        """Some pieces, of those that are left, that nearly fill a section; all if they do not.

        Without *may_be_all* it is mostly only some, then, too.
        """
        if may_be_all and self.area(left) <= _FULL * self._room:
            return left
        return self._dealt([index for index, count in enumerate(left) for _ in range(count)])[0]

    def next_deal(self, packs: Sequence[Pack], *, at_last: bool = False) -> Deal:
        """What to pack next.

        Args:
            packs: the best layout, one or more sections.
            at_last: whether it is time to pack the sections as they are.
        """
        # What was left over after a choice has not been packed by itself.
        whole = [self.group(pack.spots) for pack in packs]
        self._proposed.extendleft(group for group in whole if sum(group) > 1)
        while self._proposed:
            deal = Deal((self._proposed.popleft(),))
            if self._is_fresh(deal):
                return deal
        moves = _MOVES_AT_LAST if at_last else _MOVES
        for _ in range(_TRIES):
            move = self._choice.choices(list(moves), list(moves.values()))[0]
            again = self._packed_again(packs) if move == "again" or len(packs) == 1 else None
            if again is not None:
                return again
            found = self._moved(packs, move)
            # How one piece lies by itself is known.
            if found is not None and max(map(sum, found.groups)) > 1 and self._is_fresh(found):
                return found
        self._tried.clear()
        return self._packed_again(packs) or Deal(tuple(whole), tuple(packs), is_again=True)

    def area(self, group: Group) -> float:
        """Of a group's pieces, with half the gap round each."""
        return sum(count * area for count, area in zip(group, self._areas, strict=True))

    def group(self, spots: Iterable[Spot]) -> Group:
        """How many pieces of each part there are."""
        return self._counted(spot.part.index for spot in spots)

    def _counted(self, pieces: Iterable[int]) -> Group:
        counts = Counter(pieces)
        return tuple(counts[index] for index in range(len(self._areas)))

    def _is_fresh(self, deal: Deal) -> bool:
        key = frozenset(deal.groups)
        if key in self._tried:
            return False
        self._tried.add(key)
        return True

    def _packed_again(self, packs: Sequence[Pack]) -> Deal | None:
        held = {self.group(pack.spots): pack for pack in packs if len(pack.spots) > 1}
        if not held:
            return None
        group = min(held, key=lambda one: self._again[one])
        self._again[group] += 1
        return Deal((group,), (held[group],), is_again=True)

    def _moved(self, packs: Sequence[Pack], move: str) -> Deal | None:
        most = _FULL * self._room
        if move == "swap":
            out = self._some(packs, 2)
            groups = self._swapped(out)
        else:
            # Small sections are taken together: what they hold is dealt to fewer.
            out = self._some(packs, _MOST_APART, area=self._choice.uniform(1.2, 2.2) * most)
            pieces = [spot.part.index for pack in out for spot in pack.spots]
            groups = self._shared_out(pieces, len(out))
        if not groups or any(self.area(one) > most for one in groups):
            return None
        return Deal(groups, tuple(out))

    def _some(self, packs: Sequence[Pack], count: int, *, area: float = math.inf) -> list[Pack]:
        """So many sections, or two at least with so much area; the wasteful ones more often."""
        left = list(packs)
        out: list[Pack] = []
        longest = max(pack.length_mm for pack in packs)
        while left and len(out) < count:
            if len(out) > 1 and sum(self._of(pack) for pack in out) >= area:
                break
            waste = [
                max(0.05, pack.length_mm / longest - self._of(pack) / self._room) for pack in left
            ]
            at = self._choice.choices(range(len(left)), waste)[0]
            out.append(left.pop(at))
        return out

    def _swapped(self, out: Sequence[Pack]) -> tuple[Group, ...]:
        first, second = (list(pack.spots) for pack in out)
        given = self._taken(first)
        taken = self._taken(second) if self._choice.random() < 2 / 3 else []
        groups = self.group([*first, *taken]), self.group([*second, *given])
        return tuple(group for group in groups if sum(group))

    def _taken(self, spots: list[Spot]) -> list[Spot]:
        """Some pieces, taken out of the list."""
        count = min(len(spots), self._choice.randint(1, _MOST_SWAPPED))
        return [spots.pop(self._choice.randrange(len(spots))) for _ in range(count)]

    def _shared_out(self, pieces: list[int], most: int) -> tuple[Group, ...]:
        """The pieces in full groups and what is left; () where those are more than so many."""
        groups: list[Group] = []
        while pieces and len(groups) < most:
            group, pieces = self._dealt(pieces)
            groups.append(group)
        return () if pieces else tuple(groups)

    def _dealt(self, pieces: list[int]) -> tuple[Group, list[int]]:
        """A group by chance, nearly full if pieces are many, and the rest; large ones in both."""
        self._choice.shuffle(pieces)
        areas = self._areas
        large = [one for one in pieces if areas[one] > _LARGE * self._room]
        whole = sum(areas[one] for one in pieces)
        share = sum(areas[one] for one in large) / whole
        most = _FULL * self._room
        least = _FULL_FROM * self._room
        if whole < _TWO * most:
            # A little that is left over would lie badly by itself.
            least = max(_LEAST * whole, whole - most)
        wanted = self._choice.uniform(min(least, most), most)
        share += self._choice.uniform(-_UNEVEN, _UNEVEN)
        own: list[int] = []
        held = 0.0
        rest: list[int] = []
        # Large ones up to their share, then small ones, then whatever still goes in.
        small = [one for one in pieces if areas[one] <= _LARGE * self._room]
        for some, limit in ((large, min(1.0, share) * wanted), (small, wanted)):
            for one in some:
                fits = held + areas[one] <= limit
                held += areas[one] if fits else 0.0
                (own if fits else rest).append(one)
        for one in list(rest):
            if held + areas[one] <= wanted or not own:
                held += areas[one]
                own.append(one)
                rest.remove(one)
        return self._counted(own), rest

    def _of(self, pack: Pack) -> float:
        return self.area(self.group(pack.spots))


def grown_areas(parts: Sequence[Part]) -> list[float]:
    """Of each part, with half the gap round it, in mm2."""
    return [float(shapely.Polygon(part.grown).area) for part in parts]
