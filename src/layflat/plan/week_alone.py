"""Each job by itself, on one roll: what a shop does without a plan, and what no plan may exceed."""

import time
from collections.abc import Callable, Sequence

from layflat.base import FitError, Progress, part_of
from layflat.nest import Layout, place
from layflat.pattern import pattern_area_mm2
from layflat.plan.week_pool import Pool
from layflat.plan.week_records import Demand, Supply
from layflat.plan.week_use import one_behind_the_other, rest_of

_LEAST_S = 0.05


def alone_layouts(
    demands: Sequence[Demand],
    supplies: Sequence[Supply],
    pool: Pool,
    *,
    gap_mm: float,
    max_section_mm: float,
    seconds: float,
    seed: int,
    age_part: Callable[[Supply], float],
    progress: Progress,
) -> dict[int, Layout] | None:
    """For each roll that is used its layout, one job behind the other; None if one finds no roll.

    Each job takes, film by film, the roll that costs least by an estimate and has room.

    Args:
        demands, supplies: what is wanted and what there is; offcuts are not used.
        pool: knows which piece goes on which film.
        gap_mm, max_section_mm, seed: as for the plan.
        seconds: for all searches together.
        age_part: how much less a supply counts for its age.
        progress: told how far it is.
    """
    jobs: dict[tuple[str, str], list[int]] = {}
    for index, demand in enumerate(demands):
        jobs.setdefault((demand.job, demand.film), []).append(index)
    areas = {
        job: sum(
            demands[i].request.copies * pattern_area_mm2(demands[i].request.pattern) for i in own
        )
        for job, own in jobs.items()
    }
    held: dict[int, list[Layout]] = {}
    done, whole = 0.0, sum(areas.values())
    until = time.monotonic() + seconds
    for job, own in jobs.items():
        share = areas[job] / whole
        # What a search left of its time, since nothing is shorter, is for those behind it.
        given = max(_LEAST_S, (until - time.monotonic()) * areas[job] / sum(areas.values()))
        layout = None
        for at in _by_cost(own, demands, supplies, pool, age_part):
            stock = supplies[at].stock
            if held.get(at):
                stock = rest_of(stock, _used(held[at], supplies[at], gap_mm))
                if stock.length_mm is not None and stock.length_mm <= 0:
                    continue
            try:
                layout = place(
                    [demands[index].request for index in own],
                    stock,
                    gap_mm=gap_mm,
                    seconds=given,
                    seed=seed,
                    max_section_mm=max_section_mm,
                    progress=part_of(
                        progress, start=done, end=min(1.0, done + share), prefix=f"{job[0]} alone: "
                    ),
                )
            except FitError:
                continue
            held.setdefault(at, []).append(layout)
            break
        if layout is None:
            return None
        done += share
        del areas[job]
    return {
        at: one_behind_the_other(
            layouts, supplies[at].stock, gap_mm=gap_mm, max_section_mm=max_section_mm
        )
        for at, layouts in held.items()
    }


def _used(layouts: Sequence[Layout], supply: Supply, gap_mm: float) -> float:
    spacing = max(0.0, gap_mm - 2 * supply.stock.end_margin_mm)
    return sum(layout.length_mm + spacing for layout in layouts)


def _by_cost(
    own: Sequence[int],
    demands: Sequence[Demand],
    supplies: Sequence[Supply],
    pool: Pool,
    age_part: Callable[[Supply], float],
) -> list[int]:
    """The rolls that take all of a job's pieces of a film, the cheapest by estimate first."""
    costs = {}
    for at, supply in enumerate(supplies):
        kind = pool.kind_of[at]
        fits = all(pool.fits(index, kind) for index in own)
        may = all(demands[index].may_come_from(supply) for index in own)
        if supply.is_offcut or not may or not fits:
            continue
        length = pool.quick_mm(own, kind)
        costs[at] = length * supply.cost_per_m * (1.0 - age_part(supply))
    return sorted(costs, key=lambda at: costs[at])
