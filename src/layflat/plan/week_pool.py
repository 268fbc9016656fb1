"""Candidates for the week's assignment: groups of pieces that go into one section of some film.

They are estimates without search, a few milliseconds each: everything of a film together, each
job by itself, pairs of jobs, single pieces, groups that fill an offcut, and some by chance.
Sections of real layouts join them later.
"""

import math
import random
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import combinations, product

from layflat.base import FitError, InputError
from layflat.nest import QuickPack, QuickStock, Request, windows_of
from layflat.plan.week_records import Demand, Supply, WeekRates

_MOST_PAIRS = 40
_MOST_TOGETHER = 60
_CHANCES = 25
_ALL_GROUPS = 64
"""As many ways to choose pieces are all looked at."""
_Key = tuple[str, float, float, float]


@dataclass(frozen=True)
class Candidate:
    """A section that could be cut.

    Attributes:
        kind: from which kind of film, by its place among the pool's.
        counts: of each demand.
        length_mm: its ends included.
        is_real: whether a real layout has it; else it is an estimate.
    """

    kind: int
    counts: tuple[int, ...]
    length_mm: float
    is_real: bool = False


class Pool:
    """The candidates, and how the supplies fall into kinds of film.

    Attributes:
        demands: what is wanted, with the turns that the film allows.
        supplies: what there is.
        kind_of: for each supply its kind: of one film, width and margins, and of one lot where lots
            are not mixed.
        candidates: none of which is as good as another for the same pieces.
    """

    def __init__(
        self,
        demands: Sequence[Demand],
        supplies: Sequence[Supply],
        *,
        gap_mm: float,
        max_section_mm: float,
        seed: int,
    ) -> None:
        """Make pieces ready for every kind of film.

        Raises:
            FitError: a piece fits on nothing that there is.
        """
        self.demands = tuple(demands)
        self.supplies = tuple(supplies)
        self.max_section_mm = max_section_mm
        self._dice = random.Random(seed)
        keys: list[_Key] = []
        kinds: list[int] = []
        for supply in supplies:
            stock = supply.stock
            key = (supply.film, stock.width_mm, stock.edge_margin_mm, stock.end_margin_mm)
            if key not in keys:
                keys.append(key)
            kinds.append(keys.index(key))
        self.kind_of = tuple(kinds)
        requests = [demand.request for demand in demands]
        firsts = [kinds.index(kind) for kind in range(len(keys))]
        self._quick = [
            _quick(requests, supplies[first], gap_mm=gap_mm, max_section_mm=max_section_mm)
            for first in firsts
        ]
        self._lengths: dict[tuple[int, tuple[int, ...]], float] = {}
        self._best: dict[tuple[int, tuple[int, ...]], Candidate] = {}
        self._require_fitting()

    @property
    def candidates(self) -> list[Candidate]:
        """All of them."""
        return list(self._best.values())

    def least_mm(self, demand: int, supply: int) -> float:
        """What one piece adds to a supply's film at least; infinite where it does not fit."""
        if self.demands[demand].film != self.supplies[supply].film:
            return float("inf")
        return self._quick[self.kind_of[supply]].least_mm(demand)

    def fits(self, demand: int, kind: int) -> bool:
        """Whether a demand's pieces may be cut from a kind of film."""
        supply = self.supplies[self.kind_of.index(kind)]
        same = self.demands[demand].film == supply.film
        return same and demand not in self._quick[kind].misfits

    def quick_mm(self, demands: Sequence[int], kind: int) -> float:
        """An estimate of the film that all pieces of some demands take together."""
        key = (kind, tuple(demands))
        if key not in self._lengths:
            packs = self._quick[kind].packs(self._only(set(demands), kind), orders=1)
            self._lengths[key] = sum(pack.length_mm for pack in packs)
        return self._lengths[key]

    def cheapest_kinds(self, rates: WeekRates) -> dict[int, tuple[int, ...]]:
        """For each film the kind of roll on which all its pieces cost least, by an estimate.

        Returns:
            For each of these kinds how many of each demand's pieces; films of which no roll takes
            all pieces are left out.
        """
        found: dict[str, tuple[float, int, tuple[int, ...]]] = {}
        for at, supply in enumerate(self.supplies):
            kind = self.kind_of[at]
            own = [i for i, demand in enumerate(self.demands) if demand.film == supply.film]
            if supply.is_offcut or not own or not all(self.fits(i, kind) for i in own):
                continue
            cost = self.quick_mm(own, kind) * supply.cost_per_m * (1.0 - rates.age_part(supply))
            counts = tuple(
                demand.request.copies if i in own else 0 for i, demand in enumerate(self.demands)
            )
            if supply.film not in found or cost < found[supply.film][0]:
                found[supply.film] = (cost, kind, counts)
        return {kind: counts for _, kind, counts in found.values()}

    def add(self, candidate: Candidate) -> None:
        """Take a candidate, unless one with the same pieces is as short or known to be real."""
        key = (candidate.kind, candidate.counts)
        held = self._best.get(key)
        if held is None or (candidate.is_real, -candidate.length_mm) > (
            held.is_real,
            -held.length_mm,
        ):
            self._best[key] = candidate

    def fill(self, *, until: float, told: Callable[[float], None]) -> None:
        """Make candidates, those that matter most first, until the time is up.

        Args:
            until: by `time.monotonic`; singles and all pieces together are made in any case.
            told: of the part done.
        """
        for kind in range(len(self._quick)):
            for demand in range(len(self.demands)):
                if self.fits(demand, kind):
                    self._take(kind, self._only({demand}, kind, once=True), ())
        groups = self._groups()
        for done, wanted in enumerate(groups):
            if done >= 2 and time.monotonic() > until:
                break
            told(done / len(groups))
            for kind in range(len(self._quick)):
                self.add_group(self._only(wanted, kind), kind)
        every = [range(demand.request.copies + 1) for demand in self.demands]
        if math.prod(len(copies) for copies in every) <= _ALL_GROUPS:
            for counts in product(*every):
                for kind in range(len(self._quick)):
                    fits = all(self.fits(i, kind) for i, count in enumerate(counts) if count)
                    if fits:
                        self.add_group(list(counts), kind)

    def add_group(self, counts: Sequence[int], kind: int) -> None:
        """Make candidates of some pieces on a kind of film, all of which fit on it."""
        if sum(counts):
            self._take(kind, list(counts), self._short_lengths(kind))

    def _groups(self) -> list[set[int]]:
        """Sets of demands to lay together."""
        jobs: dict[str, set[int]] = {}
        for index, demand in enumerate(self.demands):
            jobs.setdefault(demand.job, set()).add(index)
        everything = set(range(len(self.demands)))
        pairs = [one | other for one, other in combinations(jobs.values(), 2)]
        self._dice.shuffle(pairs)
        chances = [
            {index for index in everything if self._dice.random() < part}
            for _ in range(_CHANCES)
            for part in (0.3, 0.6)
        ]
        return [everything, *jobs.values(), *pairs[:_MOST_PAIRS], *chances]

    def _only(self, wanted: set[int], kind: int, *, once: bool = False) -> list[int]:
        """How many of each demand, of those wanted that may be cut from a kind of film."""
        counts = [
            (1 if once else demand.request.copies) if i in wanted and self.fits(i, kind) else 0
            for i, demand in enumerate(self.demands)
        ]
        # Many pieces at once would take long, and say little more than some of them.
        while sum(counts) > _MOST_TOGETHER:
            counts[self._dice.choice([i for i, count in enumerate(counts) if count])] -= 1
        return counts

    def _short_lengths(self, kind: int) -> tuple[float, ...]:
        """The lengths of sound film of a kind that are shorter than a section."""
        lengths = {
            length
            for supply, own in zip(self.supplies, self.kind_of, strict=True)
            if own == kind
            for _, length in sound_film(supply)
            if length < self.max_section_mm
        }
        return tuple(sorted(lengths))

    def _take(self, kind: int, counts: list[int], lengths: Sequence[float]) -> None:
        packs: list[QuickPack] = self._quick[kind].packs(counts)
        for length in lengths:
            packs += self._quick[kind].packs(counts, longest_mm=length, orders=1)
        for pack in packs:
            self.add(Candidate(kind, pack.counts, pack.length_mm))

    def _require_fitting(self) -> None:
        for index, demand in enumerate(self.demands):
            kinds = range(len(self._quick))
            named = f"“{demand.request.pattern.name}” of {demand.job}"
            if not lots_for(self, [index]) and any(
                one.film == demand.film for one in self.supplies
            ):
                raise FitError(
                    f"{named} wants film “{demand.film}” of lot {demand.lot}, of which its job has "
                    "pieces already, and there is none of it."
                )
            if any(self.fits(index, kind) for kind in kinds):
                continue
            told = [
                self._quick[kind].misfits[index]
                for kind in kinds
                if self.supplies[self.kind_of.index(kind)].film == demand.film
            ]
            if not told:
                raise FitError(f"{named} wants film “{demand.film}”, and there is none of it.")
            raise FitError(f"{named} fits on nothing that there is: {told[-1]}")


def lots_for(pool: Pool, members: Sequence[int]) -> list[str]:
    """The lots that pieces which must come from one of them may all come from."""
    return sorted(
        {
            supply.lot
            for supply in pool.supplies
            if all(pool.demands[index].may_come_from(supply) for index in members)
        }
    )


def sound_film(supply: Supply) -> list[tuple[float, float]]:
    """Where sound film begins and how long it is, in order along the supply."""
    found = [
        (window.start_mm, min(window.end_mm, supply.length_mm) - window.start_mm)
        for window in windows_of(supply.stock)
    ]
    return [(start, length) for start, length in found if length > 0]


def _quick(
    requests: Sequence[Request], supply: Supply, *, gap_mm: float, max_section_mm: float
) -> QuickStock:
    try:
        return QuickStock(requests, supply.stock, gap_mm=gap_mm, max_section_mm=max_section_mm)
    except InputError as error:
        raise type(error)(f"“{supply.name}”: {error}") from error
