"""The work of `layflat week`: several jobs' drawings, rolls and offcuts to one plan."""

import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from layflat.base import (
    DrawingError,
    InputError,
    Progress,
    Report,
    counted,
    report_json,
    silent,
    write_folder,
)
from layflat.job.week_order import PieceOrder, WeekOrder
from layflat.nest import Layout, Request, layout_drawing, layout_report
from layflat.pattern import dxf_text, read_drawing, svg_text
from layflat.plan import Demand, Use, WeekPlan, as_decimal, plan_week, to_money


@dataclass(frozen=True, eq=False)
class WeekResult:
    """A planned week, still to be written.

    Attributes:
        order: as it was read.
        plan: which piece comes from what.
        report: what was computed from what.
    """

    order: WeekOrder
    plan: WeekPlan
    report: Report

    def lines(self, folder: Path | None = None) -> Iterator[str]:
        """The plan for a person, a line each."""
        plan, money = self.plan, self._money
        where = f"{folder}: " if folder is not None else ""
        pieces = sum(len(use.jobs) for use in plan.uses)
        jobs = len({job for use in plan.uses for job in use.jobs})
        yield (
            f"{where}{counted(pieces, 'piece')} of {counted(jobs, 'job')} from "
            f"{counted(len(plan.uses), 'stretch', 'stretches')} of film "
            f"for {money(plan.cost)}; no plan of them costs less than {money(plan.bound)}."
        )
        if plan.alone < float("inf"):
            saved = plan.alone - plan.cost
            yield (
                f"Each job by itself would cost {money(plan.alone)}: {money(saved)} are saved."
                if saved > 0
                else f"Each job by itself costs as much: {money(plan.alone)}."
            )
        for use in plan.uses:
            yield from self._use_lines(use)
        for job in sorted({job for use in plan.uses for job in use.jobs}):
            for film, lots in plan.lots_of(job).items():
                yield f"{job}: {film}, lot {' and '.join(lots)}."

    def _use_lines(self, use: Use) -> Iterator[str]:
        supply, layout, money = use.supply, use.layout, self._money
        what = "offcut" if supply.is_offcut else "roll"
        counts = Counter(use.jobs)
        whose = ", ".join(f"{count} of {job}" for job, count in sorted(counts.items()))
        yield (
            f"{supply.name} ({what}, {supply.film}, lot {supply.lot}): {whose} on "
            f"{layout.length_mm / 1e3:.2f} m in {counted(len(layout.sections), 'section')}, "
            f"{layout.yield_:.0%} of the film in pieces; film {money(use.film)}, cutting "
            f"{money(use.cuts)}, handling {money(use.handling)}."
        )
        account = use.account
        yield (
            f"  Of {account.in_mm / 1e3:.2f} m: pieces {account.pieces_mm / 1e3:.2f}, waste "
            f"{account.waste_mm / 1e3:.2f}, offcuts {account.offcuts_mm / 1e3:.2f}, left "
            f"{account.left_mm / 1e3:.2f}."
        )
        for kept in use.kept:
            offcut, chance = kept.offcut, kept.chance
            yield (
                f"  Keep {offcut.length_mm:.0f} x {offcut.width_mm:.0f} mm, from "
                f"{offcut.start_mm:.0f} mm along and {offcut.low_mm:.0f} mm across: used with a "
                f"chance of {chance.chance:.0%} ({chance.fitting} of {chance.jobs} past jobs had "
                f"a piece for it), worth {money(kept.worth)}."
            )
        if use.thrown:
            yield f"  Not worth a shelf: {counted(use.thrown, 'more rectangle')}."

    def _money(self, amount: float) -> str:
        return f"{self.order.rates.currency} {to_money(as_decimal(amount))}"


def run_week(order: WeekOrder, *, progress: Progress = silent) -> WeekResult:
    """Plan a week.

    Raises:
        InputError: a drawing or a value cannot be used, a piece fits on nothing, or there is too
            little film.
        StoppedError: *progress* raised it.
    """
    demands: list[Demand] = []
    warnings: list[str] = []
    for piece in order.pieces:
        found, notes = _demands(piece)
        demands += found
        warnings += notes
    plan = plan_week(
        demands,
        order.supplies,
        order.rates,
        gap_mm=order.gap_mm,
        max_section_mm=order.max_section_mm,
        seconds=order.seconds,
        seed=order.seed,
        past=order.past,
        progress=progress,
    )
    drawings = [piece.drawing for piece in order.pieces]
    report = Report(
        kind="week",
        inputs=Report.hashes(order.path, *dict.fromkeys(drawings)),
        results=_results(plan),
        seed=order.seed,
        defaults=order.defaults,
        warnings=(*dict.fromkeys(warnings), *plan.notes),
    )
    return WeekResult(order, plan, report)


def write_week(result: WeekResult, folder: Path) -> None:
    """Write each layout as DXF and SVG, the plan in words and the report, all or nothing.

    Raises:
        OutputError: the folder holds something else, or cannot be written.
    """
    with write_folder(folder) as inside:
        for name, use in zip(_file_names(result.plan), result.plan.uses, strict=True):
            drawing = layout_drawing(_with_jobs(use))
            (inside / f"{name}.dxf").write_text(dxf_text(drawing), encoding="utf-8")
            (inside / f"{name}.svg").write_text(svg_text(drawing), encoding="utf-8")
        words = "\n".join(result.lines())
        (inside / "plan.txt").write_text(f"{words}\n", encoding="utf-8")
        (inside / "report.json").write_text(report_json(result.report), encoding="utf-8")


def _demands(order: PieceOrder) -> tuple[list[Demand], list[str]]:
    drawing = read_drawing(order.drawing, answers=order.answers)
    if not drawing.patterns:
        raise DrawingError(
            f"There is no piece in {order.drawing}: no closed loop on layer OUTLINE."
        )
    names = [pattern.name or order.drawing.stem for pattern in drawing.patterns]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise InputError(
            f"{order.drawing} has two pieces called “{twice[0]}”; give them different names."
        )
    demands = [
        Demand(
            job=order.job,
            film=order.film,
            visible=order.visible,
            request=Request(
                pattern=replace(pattern, name=name),
                copies=order.copies,
                turns_deg=order.turns,
                mirrored=order.mirrored,
                lay=order.lay,
            ),
        )
        for name, pattern in zip(names, drawing.patterns, strict=True)
    ]
    return demands, [f"{order.drawing.name}: {note}" for note in drawing.notes]


def _file_names(plan: WeekPlan) -> list[str]:
    """A file name for each supply: its own, with what is no plain letter left out."""
    plain = [re.sub(r"[^A-Za-z0-9._-]+", "-", use.supply.name).strip(".-") for use in plan.uses]
    return [f"layout-{number}-{name}" for number, name in enumerate(plain, start=1)]


def _with_jobs(use: Use) -> Layout:
    """The layout with each piece's job before its name."""
    placements = tuple(
        replace(one, pattern=replace(one.pattern, name=f"{job} {one.pattern.name}"))
        for one, job in zip(use.layout.placements, use.jobs, strict=True)
    )
    return replace(use.layout, placements=placements, requests=())


def _results(plan: WeekPlan) -> dict[str, Any]:
    return {
        "cost": plan.cost,
        "lower_bound": plan.bound,
        "lower_bound_on_estimates": plan.estimate_bound,
        "each_job_alone": plan.alone if plan.alone < float("inf") else None,
        "film_cost": plan.film,
        "seconds": plan.seconds,
        "files": _file_names(plan),
        "uses": [
            {
                "stock": use.supply.name,
                "film": use.supply.film,
                "lot": use.supply.lot,
                "offcut": use.supply.is_offcut,
                "cost": use.cost,
                "film_cost": use.film,
                "cutting_cost": use.cuts,
                "handling_cost": use.handling,
                "age_credit": use.age,
                "offcut_credit": use.offcuts,
                "account_mm": vars(use.account),
                "jobs": list(use.jobs),
                "kept": [
                    {
                        **vars(kept.offcut),
                        "worth": kept.worth,
                        "chance": kept.chance.chance,
                        "fitting_jobs": kept.chance.fitting,
                        "past_jobs": kept.chance.jobs,
                    }
                    for kept in use.kept
                ],
                "layout": layout_report(use.layout),
            }
            for use in plan.uses
        ],
        "lots": {
            job: {film: list(lots) for film, lots in plan.lots_of(job).items()}
            for job in sorted({job for use in plan.uses for job in use.jobs})
        },
    }
