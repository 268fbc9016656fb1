"""Asking for a plan of the week's film."""

from collections.abc import Sequence
from string import ascii_uppercase
from typing import Any, Final

from django.conf import settings
from django.utils import timezone

from layflat.base import InputError
from layflat.plan import FilmKind
from layflat.web.cover.order import (
    EDGE_MARGIN_MM,
    END_MARGIN_MM,
    GAP_MM,
    MAX_SECTION_MM,
    SEED,
    TURNS_DEG,
)
from layflat.web.cutting.along import stretches
from layflat.web.cutting.film import laying_turn
from layflat.web.cutting.lots import lot_of_job
from layflat.web.cutting.models import Layout, number_in_layout
from layflat.web.cutting.patterns import pattern_files
from layflat.web.cutting.turns import turns_on
from layflat.web.people.models import Person, Shop
from layflat.web.people.shop import shop_time, the_shop
from layflat.web.record.models import write_event
from layflat.web.week.models import Plan
from layflat.web.week.there import MOST, There, age_days, stock_there, usual_per_m2
from layflat.web.week.wanted import Wanted, wanted_jobs
from layflat.web.work.tasks import ask

TASK: Final = "week.plan"
SECONDS: Final = (60, 180, 600)
"""How long a search may last; it can be stopped at any moment."""
MOST_JOBS: Final = 12
"""More jobs are no week of a workshop of three."""
_PAST: Final = 40


def begin(
    *,
    jobs: Sequence[int],
    film: str,
    kind: str,
    shares: bool,
    seconds: int,
    who: Person | None,
) -> Plan:
    """Begin to plan the film of some jobs; the search goes on by itself. Call it in a transaction.

    Args:
        jobs: their keys.
        film: its name, as the stock has it.
        kind: a value of `FilmKind`.
        shares: whether sections may hold pieces of several jobs.
        seconds: how long the search may last, one of `SECONDS`.
        who: begins it.

    Raises:
        InputError: a job needs no film or cannot be cut, no film is free, or a choice is missing.
    """
    if seconds not in SECONDS:
        raise InputError("Choose how long to search.")
    if kind not in tuple(FilmKind):
        raise InputError("Say whether the film is clear, matt, tinted or coloured.")
    if not 1 <= len(set(jobs)) <= MOST_JOBS:
        raise InputError(f"Tick the jobs whose film is planned: 1 to {MOST_JOBS} of them.")
    shop = the_shop()
    wanted = wanted_jobs(shop, jobs)
    if len(wanted) < len(set(jobs)):
        raise InputError("A job that was ticked needs no film any more; look at the week again.")
    for one in wanted:
        if one.is_old:
            raise InputError(
                f"The cover of job {one.job.number} was computed before patterns were kept, so it "
                "cannot be cut: compute it anew, or leave the job out."
            )
    there = [one for one in stock_there() if one.roll.film == film]
    if not there:
        raise InputError("Nothing of that film is free; receive a roll, or choose another film.")
    asked = _asked(wanted, there, shop, film=film, kind=kind, shares=shares, seconds=seconds)
    last = Plan.objects.order_by("-number").values_list("number", flat=True).first()
    plan = Plan.objects.create(number=(last or 0) + 1, asked=asked, made_by=who)
    plan.computation = ask(TASK, {"plan": plan.pk, **asked}, who=who)
    plan.save(update_fields=["computation"])
    names = ", ".join(one.job.number for one in wanted)
    write_event(
        "week.asked",
        f"The film of {names} is planned together: plan {plan.number}.",
        who=who,
        after={"plan": plan.pk},
    )
    return plan


def _asked(
    wanted: Sequence[Wanted],
    there: Sequence[There],
    shop: Shop,
    *,
    film: str,
    kind: str,
    shares: bool,
    seconds: int,
) -> dict[str, Any]:
    per_m2, source = usual_per_m2(there, shop)
    today = shop_time(timezone.now(), shop).date()
    offcuts_first = sorted(there, key=lambda one: (not one.is_offcut, one.roll.received_on))
    return {
        "film": film,
        "kind": kind,
        "shares": shares,
        "jobs": [
            {
                "job": one.job.pk,
                "number": one.job.number,
                "letter": letter,
                "outcome": one.pieces[0].outcome_id,
                "pieces": pattern_files(one.pieces),
                # What is needed first has the first letter, and is cut first.
                "lay": {
                    str(piece.number): number_in_layout(letter, laying_turn(piece))
                    for piece in one.pieces
                },
                "lot": None if kind == FilmKind.CLEAR else lot_of_job(one.job, film),
                "turns_deg": list(TURNS_DEG if kind == FilmKind.CLEAR else turns_on(one.job, film)),
            }
            for letter, one in zip(ascii_uppercase, wanted, strict=False)
        ],
        "stock": [
            {
                "roll": one.roll.pk,
                "name": str(one.roll),
                "version": one.roll.version,
                "lot": one.roll.lot,
                "width_mm": one.roll.width_mm,
                "length_mm": one.free_mm,
                "is_offcut": one.is_offcut,
                "per_m2": per_m2 if one.per_m2 is None else one.per_m2,
                "is_own_cost": one.per_m2 is not None,
                "age_days": age_days(one.roll, today),
                "faults": [
                    {"start_mm": fault.start_mm, "end_mm": fault.end_mm, "reason": fault.reason}
                    for fault in stretches(one.roll, length_mm=one.free_mm)
                ],
            }
            for one in offcuts_first[:MOST]
        ],
        "left_out": max(0, len(there) - MOST),
        "cost_source": source,
        "per_hour": float(shop.hour_cost) if source else 0.0,
        "currency": shop.currency,
        "past": [boxes for boxes in _past(film) if boxes],
        "edge_margin_mm": EDGE_MARGIN_MM,
        "end_margin_mm": END_MARGIN_MM,
        "gap_mm": GAP_MM,
        "max_section_mm": MAX_SECTION_MM,
        "seconds": float(seconds) if settings.LAYOUT_S is None else settings.LAYOUT_S,
        "seed": SEED,
    }


def _past(film: str) -> list[Any]:
    """The boxes of pieces that were cut from a film before, by layout, the newest first."""
    rows = Layout.objects.filter(
        roll__film=film, state__in=(Layout.State.KEPT, Layout.State.CUT)
    ).order_by("-pk")
    return list(rows.values_list("boxes", flat=True)[:_PAST])
