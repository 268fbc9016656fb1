"""The week's film in one plan: several jobs' pieces on several rolls and offcuts."""

import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from layflat.base import FitError, Progress, StoppedError, part_of, silent
from layflat.nest import Layout, Placement, Stock, place
from layflat.pattern import pattern_area_mm2
from layflat.plan.week_alone import alone_layouts
from layflat.plan.week_pool import Candidate, Pool
from layflat.plan.week_records import Demand, Supply, Use, WeekPlan, WeekRates, one_lot_groups
from layflat.plan.week_sound import require_sound
from layflat.plan.week_turns import with_one_direction
from layflat.plan.week_use import Past, make_use, notes_of, supply_worth

if TYPE_CHECKING:
    from layflat.plan.week_assign import Assignment

_FILL, _ALONE, _TOGETHER = 0.03, 0.08, 0.76
"""Parts of the time: for candidates, for each job by itself, and for all jobs together."""
_SOLVE_S = 4.0
_LEAST_S = 0.05
_ROUNDS = 12
_REFINED = 4
_FULLER = 0.93
"""How much less of a supply is given away when a layout came out too long for it."""
_Key = tuple[int, tuple[int, ...]]


def plan_week(
    demands: Sequence[Demand],
    supplies: Sequence[Supply],
    rates: WeekRates,
    *,
    gap_mm: float,
    max_section_mm: float,
    seconds: float,
    seed: int,
    past: Past | None = None,
    keep_when_stopped: bool = False,
    progress: Progress = silent,
    watch: Callable[[WeekPlan], None] | None = None,
) -> WeekPlan:
    """Which piece comes from which roll or offcut, so that all costs least that was found.

    Each job is laid by itself first; then pieces are shared out by an assignment over estimated and
    real sections, and each supply is laid by the search. The cheapest plan counts, so that none is
    dearer than each job by itself.

    Args:
        demands: the jobs' pieces.
        supplies: rolls and offcuts; each is used once.
        rates: what is weighed beside film.
        gap_mm: least distance between pieces.
        max_section_mm: no section is longer: as much as the machine tracks well.
        seconds: time budget.
        seed: of everything random, 0 to 2^31 - 1.
        past: for each film the boxes of past jobs' pieces, that offcuts are judged by.
        keep_when_stopped: whether a stop hands out the best plan until then, if there is one.
        progress: told the present cost beside the bound.
        watch: told of each plan that is cheaper than the one before.

    Raises:
        InputError: a supply is named twice, a value is out of range, or one job's visible pieces
            have no common turn in a film that must lie in one direction.
        FitError: a piece fits on nothing, or there is too little film.
        StoppedError: *progress* raised it.
    """
    require_sound(demands, supplies, seconds)
    week = _Week(
        with_one_direction(demands, supplies, gap_mm=gap_mm, max_section_mm=max_section_mm),
        supplies,
        rates,
        gap_mm=gap_mm,
        max_section_mm=max_section_mm,
        seconds=seconds,
        seed=seed,
        past=past or {},
        progress=progress,
        watch=watch,
    )
    try:
        week.run()
    except StoppedError:
        if not keep_when_stopped or week.best is None:
            raise
        return replace(
            week.best,
            notes=(*week.best.notes, "The search was stopped; this is the best plan until then."),
        )
    if week.best is None:
        raise FitError(week.missing())
    return replace(week.best, estimate_bound=week.estimate_bound)


class _Week:
    """One week being planned.

    Attributes:
        best: the cheapest plan so far.
        estimate_bound: OR-Tools' lower bound on the latest assignment.
    """

    def __init__(
        self,
        demands: Sequence[Demand],
        supplies: Sequence[Supply],
        rates: WeekRates,
        *,
        gap_mm: float,
        max_section_mm: float,
        seconds: float,
        seed: int,
        past: Past,
        progress: Progress,
        watch: Callable[[WeekPlan], None] | None,
    ) -> None:
        self.best: WeekPlan | None = None
        self._demands, self._supplies, self._rates = tuple(demands), tuple(supplies), rates
        self._gap_mm, self._max_section_mm = gap_mm, max_section_mm
        self._seconds, self._seed, self._past = seconds, seed, past
        self._progress, self._watch = progress, watch
        self._started = time.monotonic()
        self._pool = Pool(
            demands, supplies, gap_mm=gap_mm, max_section_mm=max_section_mm, seed=seed
        )
        self._worths = [supply_worth(one, rates=rates, past=past) for one in supplies]
        self._of_pattern = {
            id(demand.request.pattern): index for index, demand in enumerate(self._demands)
        }
        self._uses: dict[_Key, Use] = {}
        self._known: list[tuple[int, Layout]] = []
        # What jobs by themselves left one behind the other is not yet searched for together.
        self._searched_for: set[_Key] = set()
        self._fullness: dict[int, float] = {}
        self._bound = 0.0
        self.estimate_bound: float | None = None
        self._alone = float("inf")
        self._round = 0

    def run(self) -> None:
        """Find plans until the time is up."""
        # OR-Tools is read only here: it is large, and most processes never plan a week.
        from layflat.plan.week_bound import week_bound

        self._bound = week_bound(
            self._pool,
            rates=self._rates,
            worths=self._worths,
            gap_mm=self._gap_mm,
            seconds=max(0.5, min(_SOLVE_S, 0.05 * self._seconds)),
        )
        self._pool.fill(
            until=self._started + _FILL * self._seconds,
            told=lambda part: self._tell("comparing ways to share pieces out", _FILL * part),
        )
        self._lay_alone()
        self._lay_together()
        if (found := self._assign(only_real=True)) is not None:
            self._lay(found)
        tried: set[tuple[tuple[int, ...], ...]] = set()
        for self._round in range(1, _ROUNDS + 1):
            found = self._assign()
            if found is None:
                break
            if found.counts in tried:
                self._lay_again()
                break
            tried.add(found.counts)
            self._lay(found)
            if time.monotonic() > self._started + self._seconds:
                break

    def missing(self) -> str:
        """Why there is no plan."""
        films = []
        for film in sorted({demand.film for demand in self._demands}):
            there = sum(one.length_mm for one in self._supplies if one.film == film)
            least = sum(
                demand.request.copies
                * min(self._pool.least_mm(index, at) for at in range(len(self._supplies)))
                for index, demand in enumerate(self._demands)
                if demand.film == film
            )
            films.append(
                f"of “{film}” there are {there / 1e3:.2f} m, and the pieces take at least "
                f"{least / 1e3:.2f} m"
            )
        groups = one_lot_groups(self._demands, self._supplies)
        lots = " One job's visible pieces must come from one lot." if groups else ""
        kept = sorted(
            {f"{one.job} has pieces of lot {one.lot} already." for one in self._demands if one.lot}
        )
        lots += "".join(f" {told}" for told in kept) if groups else ""
        return f"The film does not suffice: {'; '.join(films)}.{lots} Add a roll, or move a job."

    def _left(self) -> float:
        return max(0.0, self._started + self._seconds - time.monotonic())

    def _tell(self, words: str, part: float) -> None:
        cost = "" if self.best is None else f": {self.best.cost:.2f}"
        self._progress(f"{words}{cost}, no less than {self._bound:.2f} possible", min(1.0, part))

    def _assign(self, *, only_real: bool = False) -> "Assignment | None":
        """Share pieces out, lay what each supply got anew by estimate, and share out again.

        Estimates are coarse: before they count, sections of real layouts alone are shared out.
        """
        from layflat.plan.week_assign import assign

        found: Assignment | None = None
        for _ in range(_REFINED):
            self._tell("sharing pieces out", 1.0 - self._left() / self._seconds)
            better = assign(
                self._pool,
                rates=self._rates,
                worths=self._worths,
                fullness=self._fullness,
                seconds=max(1.0, min(_SOLVE_S, 0.1 * self._seconds)),
                seed=self._seed + self._round,
                only_real=only_real,
            )
            if better is None or (found is not None and better.cost >= found.cost - 1e-6):
                break
            found = better
            if only_real:
                break
            self.estimate_bound = found.bound
            for at, counts in enumerate(found.counts):
                self._pool.add_group(counts, self._pool.kind_of[at])
        return found

    def _lay_alone(self) -> None:
        """Each job by itself on one roll, as a plan of its own."""
        layouts = alone_layouts(
            self._demands,
            self._supplies,
            self._pool,
            gap_mm=self._gap_mm,
            max_section_mm=self._max_section_mm,
            seconds=_ALONE * self._seconds,
            seed=self._seed,
            age_part=self._rates.age_part,
            progress=part_of(self._progress, start=_FILL, end=_FILL + _ALONE),
        )
        if layouts is None:
            return
        keys = [self._keep(at, layout) for at, layout in layouts.items()]
        uses = tuple(self._uses[key] for key in keys)
        self._alone = sum(use.cost for use in uses)
        self._take(uses)

    def _lay_together(self) -> None:
        """All jobs' pieces of a film together, on its cheapest kind: sections to share out."""
        if len({demand.job for demand in self._demands}) == 1:
            return
        kinds = self._pool.cheapest_kinds(self._rates)
        keys = [(self._pool.kind_of.index(kind), counts) for kind, counts in kinds.items()]
        for key, seconds in self._timed(keys, min(_TOGETHER * self._seconds, self._left())):
            # On film without an end or faults: which roll a section is cut from is chosen later.
            endless = replace(self._supplies[key[0]].stock, length_mm=None, faults=())
            self._join(key[0], self._searched(key, seconds, self._seed, stock=endless))

    def _lay(self, found: "Assignment") -> None:
        """Every supply that an assignment uses, by the search; the plan counts if all is laid."""
        keys = [(at, counts) for at, counts in enumerate(found.counts) if sum(counts)]
        wanting = [key for key in keys if key not in self._searched_for]
        part = 0.7 if self._round == 1 else 0.5
        for key, seconds in self._timed(wanting, part * self._left()):
            if not self._is_laid(key, seconds, self._seed):
                self._fullness[key[0]] = self._fullness.get(key[0], 1.0) * _FULLER
                return
        self._take(tuple(self._uses[key] for key in keys))

    def _lay_again(self) -> None:
        """What time is left goes into the supplies of the best plan, with other seeds."""
        if self.best is None or self._left() < _LEAST_S:
            return
        at = {supply.name: index for index, supply in enumerate(self._supplies)}
        keys = [(at[u.supply.name], self._counts(u.layout.placements)) for u in self.best.uses]
        for key, seconds in self._timed(keys, self._left()):
            self._is_laid(key, seconds, self._seed + 1)
            self._take(tuple(self._uses[one] for one in keys))

    def _timed(self, keys: Sequence[_Key], seconds: float) -> Iterator[tuple[_Key, float]]:
        """Each with its share of the time, by area; what the smaller leave is the others'."""
        until = time.monotonic() + seconds
        areas = {key: self._area(key) for key in keys}
        for key in sorted(keys, key=lambda key: areas[key]):
            share = areas[key] / sum(areas.values())
            yield key, max(_LEAST_S, (until - time.monotonic()) * share)
            del areas[key]

    def _is_laid(self, key: _Key, seconds: float, seed: int) -> bool:
        """Lay what a supply is to hold, by the search; whether it holds all of it."""
        try:
            self._keep(key[0], self._searched(key, seconds, seed))
        except FitError:
            return False
        self._searched_for.add(key)
        return True

    def _searched(
        self, key: _Key, seconds: float, seed: int, *, stock: Stock | None = None
    ) -> Layout:
        """What a supply holds by the search, or by the film that stands for it."""
        at, counts = key
        requests = [
            replace(demand.request, copies=count)
            for demand, count in zip(self._demands, counts, strict=True)
            if count
        ]
        begin = 1.0 - self._left() / self._seconds
        return place(
            requests,
            stock or self._supplies[at].stock,
            gap_mm=self._gap_mm,
            seconds=seconds,
            seed=seed % (1 << 31),
            max_section_mm=self._max_section_mm,
            # A strip of everything finds other sections than what jobs by themselves have.
            known=[
                one for kind, one in self._known if stock is None and kind == self._pool.kind_of[at]
            ],
            progress=part_of(
                self._progress,
                start=begin,
                end=min(1.0, begin + seconds / self._seconds),
                prefix=f"{self._supplies[at].name}: ",
            ),
        )

    def _keep(self, at: int, layout: Layout) -> _Key:
        """A layout on a supply, if it is the cheapest with these pieces; its sections join in."""
        key = (at, self._counts(layout.placements))
        jobs = [self._demands[self._of_pattern[id(one.pattern)]].job for one in layout.placements]
        use = make_use(
            self._supplies[at],
            layout,
            jobs,
            rates=self._rates,
            past=self._past,
            others=self._supplies,
        )
        if key not in self._uses or use.cost < self._uses[key].cost:
            self._uses[key] = use
        self._join(at, layout)
        return key

    def _join(self, at: int, layout: Layout) -> None:
        """Have the sections of a layout on a supply's kind of film for candidates."""
        self._known.append((self._pool.kind_of[at], layout))
        for number, section in enumerate(layout.sections):
            counts = self._counts(one for one in layout.placements if one.section == number)
            length = section.end_mm - section.start_mm
            self._pool.add(Candidate(self._pool.kind_of[at], counts, length, is_real=True))

    def _counts(self, placements: Iterable[Placement]) -> tuple[int, ...]:
        """How many pieces of each demand some placements are."""
        counts = [0] * len(self._demands)
        for placement in placements:
            counts[self._of_pattern[id(placement.pattern)]] += 1
        return tuple(counts)

    def _area(self, key: _Key) -> float:
        return sum(
            count * pattern_area_mm2(demand.request.pattern)
            for demand, count in zip(self._demands, key[1], strict=True)
        )

    def _take(self, uses: tuple[Use, ...]) -> None:
        """A whole plan, if it is the cheapest."""
        cost = sum(use.cost for use in uses)
        if self.best is not None and cost >= self.best.cost - 1e-9:
            return
        self.best = WeekPlan(
            uses=tuple(sorted(uses, key=lambda use: (not use.supply.is_offcut, use.supply.name))),
            bound=self._bound,
            estimate_bound=self.estimate_bound,
            alone=self._alone,
            seconds=self._seconds,
            seed=self._seed,
            past=self._past,
            notes=notes_of(uses),
        )
        if self._watch is not None:
            self._watch(self.best)
