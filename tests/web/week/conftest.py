"""Plans of these tests take a fraction of a second, and each is made once a run."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

import pytest
from pytest_django.fixtures import Settings

from layflat.base import Progress
from layflat.pattern import Pattern
from layflat.plan import Demand, WeekPlan
from layflat.web.cutting import keeping as cutting_keeping
from layflat.web.week import planning
from web.cutting.conftest import _made_once

_FOUND: dict[str, tuple[WeekPlan, float | None]] = {}
_really_planned = planning._planned


def _planned_once(
    inputs: Any, demands: Sequence[Demand], progress: Progress, watch: Callable[[WeekPlan], None]
) -> tuple[WeekPlan, float | None]:
    names = [(demand.request.pattern.name, demand.lot) for demand in demands]
    stock = [
        [row[key] for key in ("name", "length_mm", "width_mm", "per_m2", "faults")]
        for row in inputs["stock"]
    ]
    turns = [row["turns_deg"] for row in inputs["jobs"]]
    key = repr((names, stock, turns, *(inputs[name] for name in ("kind", "shares", "per_hour"))))
    if key not in _FOUND:
        _FOUND[key] = _really_planned(inputs, demands, progress, watch)
    plan, together = _FOUND[key]
    now = {demand.request.pattern.name: demand.request.pattern for demand in demands}
    return _with(plan, now), together


def _with(plan: WeekPlan, patterns: dict[str, Pattern]) -> WeekPlan:
    """The plan with the same patterns, as they were read just now."""
    uses = []
    for use in plan.uses:
        placements = tuple(
            replace(one, pattern=patterns[one.pattern.name]) for one in use.layout.placements
        )
        uses.append(replace(use, layout=replace(use.layout, placements=placements)))
    return replace(plan, uses=tuple(uses))


@pytest.fixture(autouse=True)
def short_and_once(settings: Settings, monkeypatch: pytest.MonkeyPatch) -> None:
    settings.LAYOUT_S = 0.6
    monkeypatch.setattr(planning, "_planned", _planned_once)
    monkeypatch.setattr(cutting_keeping, "make_programs", _made_once)
