"""Deals that are under way: which group is packed next, and what comes of those that are packed."""

import math
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from layflat.nest.engine import Task
from layflat.nest.fill import Fills
from layflat.nest.groups import Deal, Dealer, Group
from layflat.nest.pack import Pack, sliced
from layflat.nest.parts import Frame
from layflat.nest.peel import Peel

_CUTS = (0.3, 0.5, 0.7, 0.85, 1.0)
"""How long a first section is cut from a strip, as parts of the longest."""
_HOPEFUL = 1.01
"""A deal goes on while its sections are no longer than this, beside those they are to replace."""

_PATIENCE_S, _PATIENCE_AT_LAST_S = 0.5, 1.5
"""How much of its own time a run may spend on finding nothing: short runs are enough to compare
groups, and leave a per cent to long ones."""
_HOPES = ((0.4, 1.05), (0.7, 1.04), (1.2, 1.03), (2.0, 1.02), (4.0, 1.01))
"""How much longer a group may be than what it is to replace, after how much of its own time. On
two dozen groups of panels, runs of eight seconds took off less than that, mostly."""


def run_limits(task: Task, hoped_mm: float, *, at_last: bool) -> Task:
    """A group's run, to end by itself once it finds nothing or is too long for its place."""
    return replace(
        task,
        patience_s=_PATIENCE_AT_LAST_S if at_last else _PATIENCE_S,
        hopes=tuple((by, most * hoped_mm + task.frame.gap_mm) for by, most in _HOPES),
    )


@dataclass(eq=False)
class _Open:
    """A deal of which not all groups are packed.

    Attributes:
        deal: which.
        wanted_mm: the length that all its packs together are to go below.
        per_area: film for each area, as its pieces took it until now.
        asked: the groups that were packed for it, and last the one that is.
    """

    deal: Deal
    wanted_mm: float
    per_area: float
    asked: list[Group] = field(default_factory=list)


class Dealing:
    """Packs the groups of deals one after the other, and drops deals that lose their hope.

    Attributes:
        shortest: the shortest pack of every group that was packed.
    """

    def __init__(self, dealer: Dealer, filler: Fills | None, *, longest_mm: float) -> None:
        """Begin with nothing packed.

        Args:
            dealer: deals groups.
            filler: puts pieces of one section into the waste of others; None is nobody.
            longest_mm: the longest stretch of a section.
        """
        self.shortest: dict[Group, Pack] = {}
        self._dealer = dealer
        self._filler = filler
        self._givers: list[Pack] = []
        self._filled: tuple[Pack, ...] = ()
        self._longest_mm = longest_mm
        self._ready: deque[_Open] = deque()
        self._waiting: list[_Open] = []

    def note(self, pack: Pack) -> None:
        """Keep a pack, if it is the shortest of its group."""
        group = self._dealer.group(pack.spots)
        held = self.shortest.get(group)
        if held is None or pack.length_mm < held.length_mm:
            self.shortest[group] = pack

    def densest(self, most: int, *, extra_mm: float) -> list[Pack]:
        """Of all packs those that waste least, so many at most."""
        packs = sorted(
            self.shortest.items(),
            key=lambda one: (one[1].length_mm + extra_mm) / self._dealer.area(one[0]),
        )
        return [pack for _, pack in packs[:most]]

    def propose_parts(self, pack: Pack, frame: Frame) -> None:
        """Have pieces that lie together in a strip of several sections packed by themselves."""
        if pack.length_mm <= self._longest_mm or math.isinf(self._longest_mm):
            return
        for part in _CUTS:
            cut = sliced(pack, frame, first_mm=part * self._longest_mm)
            self._dealer.propose(self._dealer.group(one.spots) for one in cut)

    def peel(self, demand: Group, *, begin: float, seconds: float) -> Peel:
        """A first layout of all pieces to begin with."""
        return Peel(
            self._dealer,
            self._filler,
            demand,
            self.shortest,
            longest_mm=self._longest_mm,
            begin=begin,
            seconds=seconds,
        )

    def open(self, deal: Deal, best: Sequence[Pack]) -> None:
        """Have a deal's groups packed before any other is thought of."""
        packs = deal.out or best
        length = sum(pack.length_mm for pack in packs)
        area = sum(self._dealer.area(self._dealer.group(pack.spots)) for pack in packs)
        dealt = sum(map(self._dealer.area, deal.groups))
        self._ready.append(_Open(deal, wanted_mm=length / area * dealt, per_area=length / area))

    def next_group(self, best: Sequence[Pack], *, at_last: bool) -> tuple[Group, float]:
        """The group to pack next, and how long it may be, beside the shortest layout."""
        while True:
            if not self._ready:
                deal = self._filling(best) or self._dealer.next_deal(best, at_last=at_last)
                self.open(deal, best)
            one = self._ready.popleft()
            left = self._left(one)
            if not left:
                continue
            one.asked.append(left[0])
            self._waiting.append(one)
            behind = sum(one.per_area * self._dealer.area(group) for group in left[1:])
            hoped = one.wanted_mm - self._held_mm(one) - behind
            return left[0], min(self._longest_mm, hoped)

    def packed(self, group: Group, best: Sequence[Pack]) -> list[list[Pack]]:
        """The whole layouts that a group's run brings; deals without hope are dropped."""
        layouts: list[list[Pack]] = []
        for one in [one for one in self._waiting if one.asked[-1] == group]:
            self._waiting.remove(one)
            if group not in self.shortest:
                continue
            left = self._left(one)
            if left:
                behind = sum(one.per_area * self._dealer.area(other) for other in left)
                if self._held_mm(one) + behind <= _HOPEFUL * one.wanted_mm:
                    self._ready.append(one)
                continue
            kept = [pack for pack in best if not any(pack is other for other in one.deal.out)]
            if one.deal.out and len(kept) + len(one.deal.out) == len(best):
                layouts.append([*kept, *(self.shortest[other] for other in one.deal.groups)])
        return layouts

    def _filling(self, best: Sequence[Pack]) -> Deal | None:
        """A section's small pieces in the waste of the others, and what stays of it by itself.

        Each section of a layout gives once, those that waste most first.
        """
        if self._filler is None:
            return None
        if tuple(best) != self._filled:
            self._filled = tuple(best)
            self._givers = sorted(best, key=lambda pack: self._waste(pack))
        while self._givers:
            giver = self._givers.pop()
            left = self._dealer.group(giver.spots)
            out, groups = [giver], []
            for pack in best:
                fuller = pack if pack is giver else self._filler.filled(pack, left)
                if fuller is not pack:
                    added = self._dealer.group(fuller.spots[len(pack.spots) :])
                    left = tuple(a - b for a, b in zip(left, added, strict=True))
                    self.note(fuller)
                    out.append(pack)
                    groups.append(self._dealer.group(fuller.spots))
            if groups and any(left):
                return Deal((*groups, left), tuple(out))
        return None

    def _waste(self, pack: Pack) -> float:
        return pack.length_mm / self._dealer.area(self._dealer.group(pack.spots))

    def _left(self, one: _Open) -> list[Group]:
        """The groups that are to be packed yet."""
        if one.deal.is_again:
            return [group for group in one.deal.groups if group not in one.asked]
        done = [*self.shortest, *one.asked]
        return [group for group in one.deal.groups if group not in done]

    def _held_mm(self, one: _Open) -> float:
        if one.deal.is_again:
            return 0.0
        packs = [self.shortest[group] for group in one.deal.groups if group in self.shortest]
        return sum(pack.length_mm for pack in packs)
