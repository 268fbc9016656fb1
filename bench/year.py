"""The film of a year: the week's plan against each job alone.

`python -m bench.year --weeks 50 --seconds 20` plans every week of the invented shop's year (five
jobs a week, 250 in all, three widths of clear film, matt film beside) with so many seconds a
week, and lays every job alone on one roll, of the width that is cheapest by an estimate, with as
many seconds for the week's jobs together, or `--alone-seconds`: by the bare engine, whose strip is
cut into sections between pieces, and by three bottom-left layouts (see `bench._bottom_left`), of
which the first is the rival that is aimed at. The processor seconds that plan and engine took
are printed, too: a busy machine gives neither what the clock says. With `--film-only` a
person's time costs nothing, so that plans weigh film alone.

What is compared is the cost of the film that is taken from rolls, as long as those that the plan
has. Offcuts were paid with the film that they come from; what is on the shelf at the end counts
nothing, and an end too short for a roll is paid at once, by all of them; the plan's lies on the
shelf from then on. Without `--weeks`, the first four weeks are taken as a sample. A year takes
hours: with `--keep FILE` the weeks that are done are kept, and the next call goes on with them.
"""

import argparse
import math
import os
import pickle
import time
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from bench._bottom_left import Way, bottom_left_mm
from bench._year_jobs import CLEAR, MATT, Job, sizes_of, year
from bench.nest import bare
from layflat.base import FitError, InputError, LayflatError, write_bytes
from layflat.nest import QuickStock, Stock
from layflat.nest.pack import Pack, pack_found, sliced
from layflat.nest.parts import make_frame
from layflat.plan import FilmKind, Supply, WeekPlan, WeekRates, plan_week

GAP_MM, SECTION_MM = 4.0, 3000.0
ROLL_MM = 15_200.0
PER_METRE = {CLEAR: {1524.0: 62.0, 1219.0: 51.0, 610.0: 26.5}, MATT: {1524.0: 74.0}}
KIND = {CLEAR: FilmKind.CLEAR, MATT: FilmKind.MATT}
RATES = WeekRates(currency="EUR", per_hour=55.0)
JOBS_A_WEEK = 5
MOST_OFFCUTS = 12
SPENT_MM = 400.0
"""Less is no roll any more: it is paid, and an offcut if it is large enough for one."""
RIVALS = {"bare engine": 0.93, Way.SLIDING.value: 0.80} | {
    way.value: math.inf for way in (Way.FILLING, Way.TURNING)
}
"""What the plan may cost at most of what each takes; the last two are harder than what is aimed at,
and printed for comparison."""


@dataclass
class Shelf:
    """The shop's film from week to week.

    Attributes:
        supplies: rolls and offcuts.
        given_up: what ends cost that were too short for a roll.
    """

    supplies: list[Supply] = field(default_factory=list)
    given_up: float = 0.0
    _count: int = 0

    def restock(self) -> None:
        """One whole roll of every width and half another, at least."""
        for film, widths in PER_METRE.items():
            for width, cost in widths.items():
                there = [
                    one.length_mm
                    for one in self.supplies
                    if one.film == film and one.stock.width_mm == width and not one.is_offcut
                ]
                # One job's matt pieces are of one lot: begun rolls may all be too short for it.
                while sum(there) < 1.5 * ROLL_MM or max(there) < ROLL_MM:
                    self._count += 1
                    self.supplies.append(
                        Supply(
                            name=f"R-{self._count}",
                            film=film,
                            kind=KIND[film],
                            lot=f"L{self._count}",
                            stock=Stock(width_mm=width, edge_margin_mm=20.0, length_mm=ROLL_MM),
                            cost_per_m=cost,
                        )
                    )
                    there.append(ROLL_MM)

    def book(self, plan: WeekPlan) -> None:
        """Take off what a plan uses and put its offcuts on the shelf, a week older all."""
        used = {use.supply.name: use for use in plan.uses}
        after = []
        for supply in self.supplies:
            use = used.get(supply.name)
            if use is None:
                after.append(supply)
                continue
            after += [
                self._offcut(supply, one.offcut.length_mm, one.offcut.width_mm) for one in use.kept
            ]
            left = supply.length_mm - use.layout.length_mm
            if supply.is_offcut:
                continue
            if left < SPENT_MM:
                self.given_up += left / 1e3 * supply.cost_per_m
                if left >= RATES.storing.least_short_mm:
                    after.append(self._offcut(supply, left, supply.stock.width_mm))
            else:
                after.append(replace(supply, stock=replace(supply.stock, length_mm=left)))
        weeks = RATES.storing.jobs_ahead / JOBS_A_WEEK
        older = [replace(one, age_days=one.age_days + 7) for one in after]
        kept_on = [one for one in older if not one.is_offcut or one.age_days <= 7 * (weeks + 2)]
        offcuts = [one for one in kept_on if one.is_offcut]
        offcuts.sort(key=lambda one: -one.length_mm * one.stock.width_mm)
        dropped = {one.name for one in offcuts[MOST_OFFCUTS:]}
        self.supplies = [one for one in kept_on if one.name not in dropped]

    def _offcut(self, supply: Supply, length_mm: float, width_mm: float) -> Supply:
        self._count += 1
        return replace(
            supply,
            name=f"O-{self._count}",
            stock=Stock(width_mm=width_mm, edge_margin_mm=20.0, length_mm=length_mm),
            cost_per_m=supply.per_m2 * width_mm / 1e3,
            is_offcut=True,
            age_days=0.0,
        )


@dataclass
class Rolls:
    """The rolls of a shop that lays each job by itself.

    Attributes:
        given_up: what ends cost that were too short for a roll.
    """

    given_up: float = 0.0
    _begun_mm: dict[tuple[str, float], list[float]] = field(default_factory=dict)

    def take(self, film: str, width_mm: float, length_mm: float) -> float:
        """Cut a job from the shortest begun roll that holds it, or a new one; what it costs.

        Raises:
            FitError: no roll is as long.
        """
        if length_mm > ROLL_MM:
            raise FitError(f"A job takes {length_mm:g} mm; a roll has {ROLL_MM:g} mm.")
        begun = self._begun_mm.setdefault((film, width_mm), [])
        roll = min((one for one in begun if one >= length_mm), default=None)
        if roll is not None:
            begun.remove(roll)
        left = (roll or ROLL_MM) - length_mm
        per_mm = PER_METRE[film][width_mm] / 1e3
        if left < SPENT_MM:
            self.given_up += left * per_mm
        else:
            begun.append(left)
        return length_mm * per_mm


def roll_cost(plan: WeekPlan) -> float:
    """What the film costs that a plan takes from rolls."""
    return sum(
        use.layout.length_mm / 1e3 * use.supply.cost_per_m
        for use in plan.uses
        if not use.supply.is_offcut
    )


def own_roll(job: Job) -> Stock:
    """The kind of roll on which a job alone is cheapest, by an estimate."""
    choices = []
    for width, cost in PER_METRE[job.film].items():
        stock = Stock(width_mm=width, edge_margin_mm=20.0)
        quick = QuickStock(job.requests, stock, gap_mm=GAP_MM, max_section_mm=SECTION_MM)
        if not quick.misfits:
            packs = quick.packs([one.copies for one in job.requests])
            choices.append((sum(pack.length_mm for pack in packs) * cost, width))
    return Stock(width_mm=min(choices)[1], edge_margin_mm=20.0)


def alone(job: Job, rolls: Sequence[Rolls], seconds: float, seed: int) -> tuple[list[float], int]:
    """What a job's film costs by each of the rivals, and how often the engine's is cut.

    The seconds are as whole as the engine takes them, one at least.
    """
    stock = own_roll(job)
    frame = make_frame(stock, gap_mm=GAP_MM, max_section_mm=SECTION_MM)
    packs: list[Pack] = []
    try:
        found, task, _ = bare(job.requests, frame, max(1.0, seconds), seed)
        if (pack := pack_found(found, task)) is not None:
            packs = sliced(pack, frame)
    except BaseException as error:
        # The engine's panics are no Exception: it lays no piece that is just as wide as its strip.
        if type(error).__name__ != "PanicException":
            raise
        print(f"{job.number}: the engine panicked: {error}", flush=True)
    plain = [
        bottom_left_mm(job.requests, stock, gap_mm=GAP_MM, max_section_mm=SECTION_MM, way=way)
        for way in Way
    ]
    if not packs:
        print(f"{job.number}: not laid by the engine; the shortest bottom-left counts", flush=True)
    film = sum(one.length_mm + 2 * stock.end_margin_mm for one in packs) if packs else min(plain)
    costs = [
        own.take(job.film, stock.width_mm, length)
        for own, length in zip(rolls, (film, *plain), strict=True)
    ]
    return costs, len(packs)


@dataclass
class Year:
    """What the weeks until now have brought.

    Attributes:
        told: of what run they are.
        shelf, rolls: the plan's film, and each rival's.
        sums: what film cost by the plan and by each rival.
        work: what cuts and handling cost by the plan and by the bare engine.
        area_m2: in pieces.
        rows: the table's, a week each.
    """

    told: str
    shelf: Shelf = field(default_factory=Shelf)
    rolls: list[Rolls] = field(default_factory=lambda: [Rolls() for _ in RIVALS])
    sums: list[float] = field(default_factory=lambda: [0.0] * (1 + len(RIVALS)))
    work: list[float] = field(default_factory=lambda: [0.0, 0.0])
    area_m2: float = 0.0
    rows: list[str] = field(default_factory=list)

    def go_on(
        self, jobs: Sequence[Job], seconds: float, alone_seconds: float, seed: int, rates: WeekRates
    ) -> None:
        """Plan the next week, and lay its jobs alone."""
        self.shelf.restock()
        begin = len(self.rows) * JOBS_A_WEEK
        own = jobs[begin : begin + JOBS_A_WEEK]
        before = processor_s()
        plan = planned(own, jobs[:begin], self.shelf.supplies, seconds, seed, rates)
        between = processor_s()
        self.shelf.book(plan)
        singles = [alone(job, self.rolls, alone_seconds / JOBS_A_WEEK, seed) for job in own]
        after = processor_s()
        rivals = np.sum([costs for costs, _ in singles], axis=0).tolist()
        costs = [roll_cost(plan), *rivals]
        sections = sum(len(use.layout.sections) for use in plan.uses)
        self.work[0] += sections * RATES.cut + len(plan.uses) * RATES.handling
        self.work[1] += sum(cuts * RATES.cut + RATES.handling for _, cuts in singles)
        self.sums = [total + cost for total, cost in zip(self.sums, costs, strict=True)]
        self.area_m2 += sum(use.layout.piece_area_mm2 for use in plan.uses) / 1e6
        self.rows.append(
            f"{len(self.rows) + 1:8} {sum(len(use.jobs) for use in plan.uses):8} "
            f"{' '.join(f'{cost:8.0f}' for cost in costs)} "
            f"{' '.join(f'{costs[0] / cost:8.3f}' for cost in rivals)} "
            f"{plan.bound / plan.cost:8.3f} {sum(use.supply.is_offcut for use in plan.uses):8} "
            f"{sections:8} {between - before:8.0f} {after - between:8.0f}"
        )

    def judge(self) -> bool:
        """Print what all weeks took; whether all ratios are as wanted."""
        ends = [self.shelf.given_up, *(own.given_up for own in self.rolls)]
        whole, *others = (total + end for total, end in zip(self.sums, ends, strict=True))
        print(
            f"film in pieces {self.area_m2:.1f} m2; film {whole:.0f}, by "
            + ", ".join(f"{name} {cost:.0f}" for name, cost in zip(RIVALS, others, strict=True))
            + f"; of it ends of rolls too short {', '.join(f'{end:.0f}' for end in ends)}"
        )
        ratio = (whole + self.work[0]) / (others[0] + self.work[1])
        print(f"film, cuts and handling against bare engine: {ratio:.3f}")
        passed = True
        for (name, most), cost in zip(RIVALS.items(), others, strict=True):
            ratio = whole / cost
            passed &= ratio <= most
            asked = f" (at most {most:.2f}): {'pass' if ratio <= most else 'MISSED'}"
            print(f"film against {name}: {ratio:.3f}{asked if math.isfinite(most) else ''}")
        return passed


def run(
    weeks: int,
    *,
    seconds: float,
    alone_seconds: float,
    seed: int,
    rates: WeekRates = RATES,
    kept: Path | None = None,
) -> bool:
    """Plan so many weeks and print what each cost; whether all ratios are as wanted.

    Args:
        weeks: how many in all.
        seconds, alone_seconds: a week, for the plan and for its jobs alone.
        seed: of the year and of every search.
        rates: what is weighed beside film.
        kept: where the weeks are kept after each, and gone on with.

    Raises:
        InputError: what is kept is of another run.
    """
    told = (
        f"weeks of {JOBS_A_WEEK} jobs, {seconds:g} s a week for the plan, {alone_seconds:g} s for "
        f"its jobs alone, seed {seed}, {rates.per_hour:g} {rates.currency} an hour"
    )
    done = Year(told)
    if kept is not None and kept.exists():
        # One's own file: pickle trusts what it reads.
        done = pickle.loads(kept.read_bytes())
        if done.told != told:
            raise InputError(f"“{kept}” is of {done.told}.")
    jobs = year(weeks * JOBS_A_WEEK, seed=seed)
    print(f"{weeks} {told}")
    head = (
        "week pieces plan engine b-left fill turning ratio ratio ratio ratio bound offcuts "
        "sections plan_cpu eng_cpu"
    )
    print(" ".join(f"{word:>8}" for word in head.split()))
    for row in done.rows:
        print(row)
    while len(done.rows) < weeks:
        done.go_on(jobs, seconds, alone_seconds, seed, rates)
        print(done.rows[-1], flush=True)
        if kept is not None:
            write_bytes(kept, pickle.dumps(done))
    return done.judge()


def planned(
    own: Sequence[Job],
    before: Sequence[Job],
    supplies: Sequence[Supply],
    seconds: float,
    seed: int,
    rates: WeekRates,
) -> WeekPlan:
    """The plan of a week's jobs, offcuts judged by the jobs before."""
    films = {job.film for job in own}
    return plan_week(
        [demand for job in own for demand in job.demands],
        [one for one in supplies if one.film in films],
        rates,
        gap_mm=GAP_MM,
        max_section_mm=SECTION_MM,
        seconds=seconds,
        seed=seed,
        past={film: sizes_of(before, film) for film in films},
    )


def processor_s() -> float:
    """The processor seconds that this process and its ended children have taken."""
    return sum(os.times()[:4])


def main(arguments: Sequence[str] = ()) -> None:
    parser = argparse.ArgumentParser(prog="python -m bench.year")
    parser.add_argument("--weeks", type=int, default=4)
    parser.add_argument("--seconds", type=float, default=20.0)
    parser.add_argument("--alone-seconds", type=float, help="as many as --seconds if not given")
    parser.add_argument("--film-only", action="store_true", help="a person's time costs nothing")
    parser.add_argument("--keep", type=Path, help="a file to keep weeks in, and to go on from")
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args(arguments)
    begin = time.monotonic()
    try:
        run(
            options.weeks,
            seconds=options.seconds,
            alone_seconds=options.alone_seconds or options.seconds,
            seed=options.seed,
            rates=replace(RATES, per_hour=0.0) if options.film_only else RATES,
            kept=options.keep,
        )
    except LayflatError as error:
        print(f"stopped: {error}")
    print(f"{time.monotonic() - begin:.0f} s")


if __name__ == "__main__":
    import sys

    main(sys.argv[1:])
