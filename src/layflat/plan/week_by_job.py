"""The week's film where each section is cut for one job alone.

A section that several jobs share saves film, but is cut when the first of them is, and whatever
spoils it spoils it for all. Here jobs share rolls and offcuts and no section: each job, one after
the other, takes what is best for it of what the jobs before it left. Orders that put one job
first are looked at shortly, as far as time goes, the best one longer, and the cheapest plan counts.
"""

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from layflat.base import FitError, Progress, part_of, silent
from layflat.nest import Layout
from layflat.pattern import pattern_area_mm2
from layflat.plan.week import plan_week
from layflat.plan.week_records import Demand, Supply, Use, WeekPlan, WeekRates
from layflat.plan.week_use import Past, make_use, one_behind_the_other, rest_of

_TOGETHER = 0.45
"""Part of the time for the plan with shared sections, which knows bound and each job by itself."""
_ORDERS, _BEST_ORDER = 0.15, 0.4
"""Parts of the time for a first look at all orders of the jobs, and for the one that is best."""
_LEAST_LEFT_MM = 60.0
"""A shorter rest is not offered to the next job."""


@dataclass(frozen=True, kw_only=True)
class WeekByJob:
    """A plan in which no section is shared.

    Attributes:
        plan: the cheapest that was found.
        together: what the cheapest plan costs that may share sections.
    """

    plan: WeekPlan
    together: float


def plan_week_by_job(
    demands: Sequence[Demand],
    supplies: Sequence[Supply],
    rates: WeekRates,
    *,
    gap_mm: float,
    max_section_mm: float,
    seconds: float,
    seed: int,
    past: Past | None = None,
    progress: Progress = silent,
    watch: Callable[[WeekPlan], None] | None = None,
) -> WeekByJob:
    """Which piece comes from which roll or offcut, if no section holds pieces of two jobs.

    No plan is dearer than each job by itself on a roll.

    Args:
        demands, supplies, rates, gap_mm, max_section_mm, seconds, seed, past: as for `plan_week`.
        progress: told how far it is.
        watch: told of each plan that is cheaper than the one before.

    Raises:
        InputError: as `plan_week`.
        FitError: a piece fits on nothing, or there is too little film.
        StoppedError: *progress* raised it.
    """
    started = time.monotonic()
    best = _Best(watch)
    together = plan_week(
        demands,
        supplies,
        rates,
        gap_mm=gap_mm,
        max_section_mm=max_section_mm,
        seconds=_TOGETHER * seconds,
        seed=seed,
        past=past,
        progress=part_of(progress, start=0.0, end=_TOGETHER),
        watch=best.take_if_own,
    )

    def in_turn(jobs: Sequence[str], *, start: float, part: float) -> float:
        """What the jobs cost, one after the other in this order; infinite if one finds no film."""
        one_by_one = _OneByOne(
            demands,
            supplies,
            rates,
            gap_mm=gap_mm,
            max_section_mm=max_section_mm,
            seed=seed,
            past=past or {},
        )
        found = one_by_one.run(
            jobs,
            seconds=part * seconds,
            progress=part_of(progress, start=start, end=start + part),
        )
        if found is None:
            return float("inf")
        plan = replace(together, uses=found, estimate_bound=None, notes=one_by_one.notes)
        best.take(plan)
        return plan.cost

    orders = _orders(demands)
    share = _ORDERS / len(orders)
    costs: dict[tuple[str, ...], float] = {}
    for index, jobs in enumerate(orders):
        # Many jobs have many orders, and even a short look takes its time.
        if costs and time.monotonic() - started > (_TOGETHER + _ORDERS) * seconds:
            break
        costs[jobs] = in_turn(jobs, start=_TOGETHER + index * share, part=share)
    cheapest = min(costs, key=lambda jobs: costs[jobs])
    in_turn(cheapest, start=_TOGETHER + _ORDERS, part=_BEST_ORDER)
    if best.plan is None:
        raise FitError(
            "The film does not suffice if each section is cut for one job alone: let jobs share "
            "sections, add a roll, or leave a job out."
        )
    return WeekByJob(plan=replace(best.plan, seconds=seconds), together=together.cost)


def shares_sections(use: Use) -> bool:
    """Whether a section holds pieces of more than one job."""
    held: dict[int, set[str]] = {}
    for placement, job in zip(use.layout.placements, use.jobs, strict=True):
        held.setdefault(placement.section, set()).add(job)
    return any(len(jobs) > 1 for jobs in held.values())


def _orders(demands: Sequence[Demand]) -> list[tuple[str, ...]]:
    """The jobs with the most film first, with the least first, as given, and each job first."""
    given = tuple(dict.fromkeys(demand.job for demand in demands))
    areas = dict.fromkeys(given, 0.0)
    for demand in demands:
        areas[demand.job] += demand.request.copies * pattern_area_mm2(demand.request.pattern)
    largest = tuple(sorted(given, key=lambda job: -areas[job]))
    first = [(job, *(other for other in largest if other != job)) for job in given]
    return list(dict.fromkeys((largest, largest[::-1], given, *first)))


class _Best:
    """The cheapest plan without shared sections."""

    def __init__(self, watch: Callable[[WeekPlan], None] | None) -> None:
        self.plan: WeekPlan | None = None
        self._watch = watch

    def take_if_own(self, plan: WeekPlan) -> None:
        if not any(shares_sections(use) for use in plan.uses):
            self.take(plan)

    def take(self, plan: WeekPlan) -> None:
        if self.plan is None or plan.cost < self.plan.cost - 1e-9:
            self.plan = plan
            if self._watch is not None:
                self._watch(plan)


class _OneByOne:
    """Jobs taking film one after the other.

    Attributes:
        notes: what their plans had to say.
    """

    def __init__(
        self,
        demands: Sequence[Demand],
        supplies: Sequence[Supply],
        rates: WeekRates,
        *,
        gap_mm: float,
        max_section_mm: float,
        seed: int,
        past: Past,
    ) -> None:
        self.notes: tuple[str, ...] = ()
        self._demands, self._supplies, self._rates = demands, supplies, rates
        self._gap_mm, self._max_section_mm = gap_mm, max_section_mm
        self._seed, self._past = seed, past
        self._left = {supply.name: supply for supply in supplies}
        self._held: dict[str, list[tuple[Layout, tuple[str, ...]]]] = {}

    def run(
        self, jobs: Sequence[str], *, seconds: float, progress: Progress
    ) -> tuple[Use, ...] | None:
        """All jobs, or None where the rest does not suffice for one of them."""
        for index, job in enumerate(jobs):
            part = 1.0 / len(jobs)
            if not self._left:
                return None  # The jobs before it used up all film that there is.
            try:
                plan = plan_week(
                    [demand for demand in self._demands if demand.job == job],
                    list(self._left.values()),
                    self._rates,
                    gap_mm=self._gap_mm,
                    max_section_mm=self._max_section_mm,
                    seconds=seconds * part,
                    seed=self._seed,
                    past=self._past,
                    progress=part_of(
                        progress, start=index * part, end=(index + 1) * part, prefix=f"{job}: "
                    ),
                )
            except FitError:
                return None
            self.notes = tuple(dict.fromkeys((*self.notes, *plan.notes)))
            for use in plan.uses:
                self._take(use)
        return self._uses()

    def _take(self, use: Use) -> None:
        """What a job uses is not there for the next one."""
        name, stock = use.supply.name, use.supply.stock
        self._held.setdefault(name, []).append((use.layout, use.jobs))
        spacing = max(0.0, self._gap_mm - 2 * stock.end_margin_mm)
        rest = rest_of(stock, use.layout.length_mm + spacing)
        if rest.length_mm is not None and rest.length_mm >= _LEAST_LEFT_MM:
            self._left[name] = replace(use.supply, stock=rest)
        else:
            del self._left[name]

    def _uses(self) -> tuple[Use, ...]:
        uses = [
            make_use(
                supply,
                one_behind_the_other(
                    [layout for layout, _ in self._held[supply.name]],
                    supply.stock,
                    gap_mm=self._gap_mm,
                    max_section_mm=self._max_section_mm,
                ),
                [job for _, jobs in self._held[supply.name] for job in jobs],
                rates=self._rates,
                past=self._past,
                others=self._supplies,
            )
            for supply in self._supplies
            if supply.name in self._held
        ]
        return tuple(sorted(uses, key=lambda use: (not use.supply.is_offcut, use.supply.name)))
