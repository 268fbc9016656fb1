"""A first layout in sections: one after the other, each the densest of many that were tried."""

from collections.abc import Mapping

from layflat.nest.fill import Fills
from layflat.nest.groups import Dealer, Group
from layflat.nest.pack import Pack

_LATE = 2.0
"""A section that nothing fits into after so many times its time ends the attempt."""
_LAST_TRIES = 3


class Peel:
    """Takes full groups from the pieces that are left, as many for each section as time allows.

    Of the groups tried for a section the one stays that fits and wastes least; then the next
    section's are dealt from the others. (Greedy and random by turns: T. A. Feo, M. G. C. Resende,
    Greedy randomized adaptive search procedures, J. Global Optim. 6 (1995) 109-133; from memory.)

    Attributes:
        packs: the sections so far; of all pieces once `is_done`.
        is_done: whether no piece is left.
    """

    def __init__(
        self,
        dealer: Dealer,
        filler: Fills | None,
        demand: Group,
        shortest: Mapping[Group, Pack],
        *,
        longest_mm: float,
        begin: float,
        seconds: float,
    ) -> None:
        """Begin with all pieces.

        Args:
            dealer: deals groups.
            filler: puts pieces that are left into a section's waste; None is nobody.
            demand: all pieces.
            shortest: every group's shortest pack, as they are found.
            longest_mm: the longest stretch of a section.
            begin, seconds: when, by `time.monotonic`, and how long it may take.
        """
        self.packs: list[Pack] = []
        self._dealer = dealer
        self._left = demand
        self._shortest = shortest
        self._longest_mm = longest_mm
        self._filler = filler
        self._late_s = _LATE * seconds / max(1.0, dealer.sections(demand))
        self._ends = begin + seconds
        self._until = self._time_for_next(begin)
        self._tried: list[Group] = []

    @property
    def is_done(self) -> bool:
        """Whether no piece is left."""
        return not any(self._left)

    def next_group(self, now: float) -> tuple[Group, float] | None:
        """The group to pack next, and how long it may be; None once there is no more to do."""
        is_last = self._dealer.sections(self._left) <= 1
        best = self._best()
        if best is not None and (now > self._until or (is_last and len(self._tried) > _LAST_TRIES)):
            pack = self._shortest[best]
            self._left = tuple(a - b for a, b in zip(self._left, best, strict=True))
            if self._filler is not None:
                fuller = self._filler.filled(pack, self._left)
                added = self._dealer.group(fuller.spots[len(pack.spots) :])
                self._left = tuple(a - b for a, b in zip(self._left, added, strict=True))
                pack = fuller
            self.packs.append(pack)
            self._tried = []
            self._until = self._time_for_next(now)
            best = None
        if self.is_done or now > self._until + self._late_s:
            return None
        # What would go into one section by its area need not: then it is two.
        is_too_much = is_last and len(self._tried) > _LAST_TRIES
        group = self._dealer.full_group(self._left, may_be_all=not is_too_much)
        self._tried.append(group)
        hoped = self._longest_mm
        if best is not None:
            per_area = self._shortest[best].length_mm / self._dealer.area(best)
            hoped = min(hoped, per_area * self._dealer.area(group))
        return group, hoped

    def _time_for_next(self, now: float) -> float:
        """Until when the next section's groups are tried: its share of the time that is left.

        There may be more sections than full ones. Past the end the first group that fits stays.
        """
        left = max(0.0, self._ends - now)
        return now + left / max(1.0, self._dealer.sections(self._left))

    def _best(self) -> Group | None:
        """Of the groups tried for this section the densest."""
        found = [group for group in self._tried if group in self._shortest]
        return min(
            found,
            key=lambda one: self._shortest[one].length_mm / self._dealer.area(one),
            default=None,
        )
