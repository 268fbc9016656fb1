"""Keeping a plan: its sections become layouts, as planned, of one job or shared by jobs."""

import math
from collections.abc import Mapping
from typing import Any

from django.utils import timezone

from layflat.base import InputError
from layflat.plan import FilmKind
from layflat.web.cutting import starting
from layflat.web.cutting.planned import Part, keep_planned_layout
from layflat.web.cutting.pool import being_laid_out, to_lay_out
from layflat.web.cutting.turns import turns_json
from layflat.web.jobs.models import Job
from layflat.web.offer.accepted import accepted_outcome
from layflat.web.people.models import Person
from layflat.web.record.models import write_event
from layflat.web.stock.models import Roll
from layflat.web.stock.reserving import free_mm
from layflat.web.stock.rolls import locked_roll
from layflat.web.week.models import Plan
from layflat.web.work import rows


def locked_plan(number: int) -> Plan:
    """A plan that nobody else changes until the transaction ends.

    Raises:
        InputError: there is none.
    """
    found = Plan.objects.select_for_update().filter(number=number).first()
    if found is None:
        raise InputError("There is no such plan; look at the week again.")
    return found


def keep(plan: Plan, *, who: Person | None) -> None:
    """Keep a locked plan: all of it is laid out as it was planned.

    Keeping it again changes nothing. Call it in a transaction.

    Raises:
        InputError: nothing is found yet, it was dropped, or since it was made a job's cover was
            changed, a piece got film, or a roll was booked: then nothing is changed at all.
    """
    if plan.state == Plan.State.KEPT:
        return
    if plan.state == Plan.State.DROPPED:
        raise InputError(f"Plan {plan.number} is not used; plan the week anew.")
    if plan.found is None:
        raise InputError("Nothing is found yet; wait a moment.")
    if plan.computation is not None and not plan.computation.is_over:
        rows.ask_stop(plan.computation.pk)
    jobs = _checked_jobs(plan)
    rolls = _checked_rolls(plan)
    begun = []
    for use in plan.found["uses"]:
        for part in use["parts"]:
            if "members" not in part:
                raise InputError(
                    f"{plan} is of before sections could be shared by jobs; plan the week anew."
                )
            members = [
                Part(job=jobs[one["job"]], letter=one["letter"], pieces=tuple(one["pieces"]))
                for one in part["members"]
            ]
            layout = keep_planned_layout(
                members,
                rolls[use["roll"]],
                found=_directed(part["layout"], kind=plan.asked["kind"]),
                plan=str(plan),
                who=who,
            )
            begun.append(
                {
                    "job": layout.job.number,
                    "layout": layout.number,
                    "roll": str(layout.roll),
                    "as_planned": True,
                    "with": [one.job.number for one in members[1:]],
                }
            )
    plan.begun = begun
    _settle(plan, Plan.State.KEPT, who=who)
    numbers = ", ".join(sorted(job.number for job in jobs.values()))
    write_event(
        "week.kept",
        f"{plan} was kept; film of {numbers} is laid out by it.",
        who=who,
        after={"plan": plan.pk, "layouts": begun},
    )


def _directed(found: Mapping[str, Any], *, kind: str) -> dict[str, Any]:
    """A layout that says how each piece may be turned, where its film shows its direction."""
    if kind == FilmKind.CLEAR:
        return dict(found)
    # Jobs that share it have each a direction of their own.
    turns = {item["piece"]: (item["turn_deg"],) for item in found["placements"]}
    return {**found, "turns_deg": turns_json(turns)}


def drop(plan: Plan, *, who: Person | None) -> None:
    """Use a locked plan no further; a search ends. Dropping it again changes nothing.

    Raises:
        InputError: it was kept.
    """
    if plan.state == Plan.State.DROPPED:
        return
    if plan.state == Plan.State.KEPT:
        raise InputError(f"{plan} was kept already; drop the layouts that you do not want.")
    if plan.computation is not None and not plan.computation.is_over:
        rows.ask_stop(plan.computation.pk)
    _settle(plan, Plan.State.DROPPED, who=who)
    write_event("week.dropped", f"{plan} is not used.", who=who, after={"plan": plan.pk})


def _settle(plan: Plan, state: Plan.State, *, who: Person | None) -> None:
    plan.state = state
    plan.version += 1
    plan.settled_by, plan.settled_at = who, timezone.now()
    plan.save()


def _checked_jobs(plan: Plan) -> dict[int, Job]:
    """The plan's jobs, locked, if their pieces are still those that were planned."""
    asked: dict[int, Mapping[str, Any]] = {row["job"]: row for row in plan.asked["jobs"]}
    jobs = Job.objects.select_for_update().filter(pk__in=asked).order_by("pk")
    found = {job.pk: job for job in jobs}
    for key, job in found.items():
        if sentence := starting.why_not(job):
            raise InputError(f"Job {job.number}: {sentence[:1].lower()}{sentence[1:]}")
        if accepted_outcome(job).pk != asked[key]["outcome"]:
            raise InputError(
                f"The cover of job {job.number} was changed since this plan was made; plan the "
                "week anew."
            )
        free = {piece.number for piece in to_lay_out(job)} - being_laid_out(job)
        for text in asked[key]["pieces"]:
            if int(text) not in free:
                raise InputError(
                    f"Piece {text} of job {job.number} has film or is being laid out by now; plan "
                    "the week anew."
                )
    return found


def _checked_rolls(plan: Plan) -> dict[int, Roll]:
    """The rolls and offcuts that the plan uses, locked, if nobody touched them since."""
    assert plan.found is not None
    versions = {row["roll"]: row["version"] for row in plan.asked["stock"]}
    needed = {use["roll"]: math.ceil(use["length_mm"]) for use in plan.found["uses"]}
    found = {}
    for key in sorted(needed):
        roll = locked_roll(key)
        if roll.version != versions[key] or free_mm(roll) < needed[key]:
            raise InputError(
                f"{roll} was booked or changed since this plan was made; plan the week anew."
            )
        found[key] = roll
    return found
