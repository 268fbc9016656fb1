"""Which pieces to try together in a section next, starting from the best layout so far."""

import random
from collections import Counter
from collections.abc import Sequence

from layflat.nest.pack import Pack, Spot

Group = tuple[int, ...]
"""How many pieces of each part, by the parts' index."""

_TRIES = 50


class Neighbours:
    """Groups near the best layout, none twice until there is no other.

    Three moves, at random: two sections are thrown together (what comes out is cut into
    sections again, at a better place with luck); a piece goes from one section to another; two
    sections swap a piece.
    """

    def __init__(self, kinds: int, *, choice: random.Random) -> None:
        self._kinds = kinds
        self._choice = choice
        self._tried: set[Group] = set()

    def next_groups(self, packs: Sequence[Pack], *, least: int) -> list[Group]:
        """At least *least* groups to pack anew, or one if there is nothing new to try.

        Args:
            packs: the best layout, one or more sections.
            least: how many are wanted; those that belong together are kept together.
        """
        groups: list[Group] = []
        for _ in range(_TRIES):
            # How one piece lies by itself is known.
            fresh = [
                group for group in self._move(packs) if group not in self._tried and sum(group) > 1
            ]
            self._tried.update(fresh)
            groups += fresh
            if len(groups) >= least:
                return groups
        self._tried.clear()
        return groups or self._move(packs)[:1]

    def _move(self, packs: Sequence[Pack]) -> list[Group]:
        if len(packs) == 1:
            return [self._group(packs[0].spots)]
        first, second = (list(pack.spots) for pack in self._choice.sample(list(packs), 2))
        kind = self._choice.choice(("join", "join", "give", "swap"))
        if kind == "join":
            return [self._group([*first, *second])]
        given = [first.pop(self._choice.randrange(len(first)))]
        taken = [second.pop(self._choice.randrange(len(second)))] if kind == "swap" else []
        return [self._group(spots) for spots in ([*first, *taken], [*second, *given])]

    def _group(self, spots: Sequence[Spot]) -> Group:
        counts = Counter(spot.part.index for spot in spots)
        return tuple(counts[index] for index in range(self._kinds))
