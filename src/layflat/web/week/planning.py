"""The search for a week's plan, watched: what is cheapest so far stands in the plan's row."""

import re
import time
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from typing import Any, Final

from layflat.base import FitError, LayflatError, Progress
from layflat.nest import Request, Stock, Stretch
from layflat.papers import panel_title
from layflat.pattern import Pattern
from layflat.plan import (
    Demand,
    FilmKind,
    Supply,
    WeekPlan,
    WeekRates,
    plan_week,
    plan_week_by_job,
)
from layflat.web.cutting.patterns import read_patterns
from layflat.web.cutting.shapes import shapes_json
from layflat.web.files.store import keep
from layflat.web.week.models import Plan
from layflat.web.week.told import Whose, plan_json

WRITE_S: Final = 0.5
"""The least time between two writes."""
_MOST_BYTES: Final = 50_000_000
_AMOUNTS: Final = re.compile(r"(: [0-9.]+)?, no less than [0-9.]+ possible$")


def run(inputs: Mapping[str, Any], progress: Progress) -> dict[str, Any]:
    """Plan a week, each cheaper plan written to its row as it is found.

    Args:
        inputs: `plan`, the row's key, and what was asked, see `layflat.web.week.asking`.
        progress: told how far it is.

    Returns:
        `cost` of the cheapest.

    Raises:
        LayflatError: a piece fits on nothing, or there is too little film; what was found stands in
            the row all the same.
    """
    demands, whose, drawn = _demands(inputs)
    shapes = keep(
        [shapes_json(drawn)],
        name="shapes.json",
        media_type="application/json",
        most_bytes=_MOST_BYTES,
        who=None,
    )
    Plan.objects.filter(pk=inputs["plan"]).update(shapes=shapes)
    board = _Board(inputs, whose)

    def told(step: str, fraction: float) -> None:
        board.write_when_due()
        progress(_step(step), fraction)

    try:
        plan, together = _of_its_lot(inputs, demands, told, board.show)
    except LayflatError as error:
        board.write()
        if isinstance(error, FitError):
            raise FitError(_in_words(str(error), whose)) from error
        raise
    board.show(plan, together=together)
    board.write()
    return {"cost": plan.cost}


def _of_its_lot(
    inputs: Mapping[str, Any],
    demands: Sequence[Demand],
    progress: Progress,
    watch: Callable[[WeekPlan], None],
) -> tuple[WeekPlan, float | None]:
    """A plan that keeps to the lots that jobs have; where they do not suffice, one that does not.

    Jobs whose lot takes none of their pieces any more, or too few, are not without film for that.
    """
    there = {row["lot"] for row in inputs["stock"]}
    bound = [one if one.lot in there else replace(one, lot=None) for one in demands]
    if any(one.lot is not None for one in bound):
        with suppress(FitError):
            return _planned(inputs, bound, progress, watch)
    return _planned(inputs, [replace(one, lot=None) for one in demands], progress, watch)


def _planned(
    inputs: Mapping[str, Any],
    demands: Sequence[Demand],
    progress: Progress,
    watch: Callable[[WeekPlan], None],
) -> tuple[WeekPlan, float | None]:
    """The cheapest plan, and what one with shared sections costs where it was asked for none."""
    supplies = [_supply(row, inputs) for row in inputs["stock"]]
    rates = WeekRates(currency=inputs["currency"], per_hour=inputs["per_hour"])
    how: dict[str, Any] = {
        "gap_mm": inputs["gap_mm"],
        "max_section_mm": inputs["max_section_mm"],
        "seconds": inputs["seconds"],
        "seed": inputs["seed"],
        "past": _past(inputs),
        "progress": progress,
        "watch": watch,
    }
    if inputs["shares"]:
        return plan_week(demands, supplies, rates, **how), None
    found = plan_week_by_job(demands, supplies, rates, **how)
    return found.plan, found.together


def _demands(
    inputs: Mapping[str, Any],
) -> tuple[list[Demand], dict[str, Whose], dict[str, Pattern]]:
    """What is wanted; whose each pattern is, by its name; and the patterns as drawn."""
    demands, whose, drawn = [], {}, {}
    for row in inputs["jobs"]:
        for number, read in read_patterns(row["pieces"]).items():
            # Jobs of one body have pieces of one name; a plan tells them apart.
            pattern = replace(read, name=f"{row['letter']}{number} {read.name}")
            demands.append(
                Demand(
                    job=row["number"],
                    film=inputs["film"],
                    lot=row.get("lot"),
                    request=Request(
                        pattern=pattern,
                        # A plan that was asked for before has one list for all jobs.
                        turns_deg=tuple(row.get("turns_deg") or inputs["turns_deg"]),
                        lay=row["lay"][str(number)],
                    ),
                )
            )
            one = Whose(job=row["job"], letter=row["letter"], number=number, pattern=read)
            whose[pattern.name] = one
            drawn[one.called] = read
    return demands, whose, drawn


def _supply(row: Mapping[str, Any], inputs: Mapping[str, Any]) -> Supply:
    return Supply(
        name=row["name"],
        film=inputs["film"],
        kind=FilmKind(inputs["kind"]),
        lot=row["lot"],
        stock=Stock(
            width_mm=float(row["width_mm"]),
            edge_margin_mm=inputs["edge_margin_mm"],
            end_margin_mm=inputs["end_margin_mm"],
            length_mm=float(row["length_mm"]),
            faults=tuple(Stretch(**fault) for fault in row["faults"]),
        ),
        cost_per_m=row["per_m2"] * row["width_mm"] / 1e3,
        is_offcut=row["is_offcut"],
        age_days=float(row["age_days"]),
    )


def _past(inputs: Mapping[str, Any]) -> dict[str, list[list[tuple[float, float]]]]:
    return {
        inputs["film"]: [
            [(float(along), float(across)) for along, across in boxes] for boxes in inputs["past"]
        ]
    }


def _step(step: str) -> str:
    """What is being done, without amounts: everybody sees it, and costs are the owner's."""
    return _AMOUNTS.sub("", step)


def _in_words(sentence: str, whose: Mapping[str, Whose]) -> str:
    for one in whose.values():
        called = f"“{one.called} {one.pattern.name}”"
        sentence = sentence.replace(called, f"“{one.called} {panel_title(one.pattern.name)}”")
    return sentence


class _Board:
    """What people see of a search: the cheapest plan in its row, written now and then."""

    def __init__(self, inputs: Mapping[str, Any], whose: Mapping[str, Whose]) -> None:
        self._inputs, self._whose = inputs, whose
        row = Plan.objects.values("found").get(pk=inputs["plan"])
        # A search that broke off may have found a cheaper one than this finds at first.
        self._best = row["found"]["cost"] if row["found"] else float("inf")
        self._waiting: tuple[WeekPlan, float | None] | None = None
        self._written_at = 0.0

    def show(self, plan: WeekPlan, *, together: float | None = None) -> None:
        """Have a plan written, if it is cheaper; the last one also for what it knows beside."""
        if plan.cost <= self._best:
            self._best, self._waiting = plan.cost, (plan, together)
            self.write_when_due()

    def write_when_due(self) -> None:
        if time.monotonic() - self._written_at >= WRITE_S:
            self.write()

    def write(self) -> None:
        """Write what waits; nothing once somebody kept the plan or dropped it."""
        if self._waiting is None:
            return
        plan, together = self._waiting
        found = plan_json(plan, self._whose, self._inputs, together=together)
        rows = Plan.objects.filter(pk=self._inputs["plan"], state=Plan.State.OPEN)
        rows.update(found=found)
        self._waiting, self._written_at = None, time.monotonic()
