"""Planning the bay for one car, and what changes about it later."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Final

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from layflat.base import InputError
from layflat.web.gates import planning
from layflat.web.gates.doing import why_not_left_out
from layflat.web.gates.models import BayPlan, Condition, Step
from layflat.web.gates.standing import WORKED, standing
from layflat.web.gates.views.common import doer
from layflat.web.jobs.models import Job, Stage
from layflat.web.jobs.views.common import change, the_job
from layflat.web.people.gate import only
from layflat.web.people.models import Role
from layflat.web.people.shop import shown_duration

_LEAVE_OUT: Final = "leave-out-"


@dataclass(frozen=True, kw_only=True)
class Shown:
    """A step as it is drawn in a plan.

    Attributes:
        step: its row.
        after: titles of the steps right before it, each with the condition that it belongs to.
        times: how long it rests or dwells, in words, or "".
        stays: why it is never left out, or "".
    """

    step: Step
    after: tuple[tuple[str, str], ...]
    times: str
    stays: str


def shown_steps(steps: Iterable[Step]) -> list[Shown]:
    """Steps as they are drawn in a plan."""
    found = list(steps)
    by_key = {step.key: step for step in found}
    return [
        Shown(
            step=step,
            after=tuple(
                (by_key[key].title, by_key[key].condition) for key in step.needs if key in by_key
            ),
            times=times_of(step),
            stays=why_not_left_out(step, found),
        )
        for step in found
    ]


def times_of(step: Any) -> str:
    """A step's rest and dwell time in words."""
    words = [f"rests {shown_duration(step.rest_s // 60)} first"] if step.rest_s else []
    least, most = step.dwell_least_s, step.dwell_most_s
    if least is not None and most is not None:
        words.append(f"works {least / 60:g} to {most / 60:g} min, then rinsed")
    elif least is not None:
        words.append(f"works {least / 60:g} min and more, then rinsed")
    elif most is not None:
        words.append(f"rinsed within {most / 60:g} min")
    return "; ".join(words)


@require_safe
def page(request: HttpRequest, number: str) -> HttpResponse:
    """The steps of a job's car in order: proposed, or as they were planned."""
    job = the_job(number)
    found = BayPlan.objects.select_related("planned_by").filter(job=job).first()
    may_plan = job.stage == Stage.ACCEPTED
    context: dict[str, Any] = {"part": "job", "job": job, "plan": found, "may_plan": may_plan}
    try:
        if may_plan:
            context |= _proposed(job, found)
        elif found is not None:
            context |= _planned(job, found)
    except InputError as error:
        context["wrong"] = str(error)
    return render(request, "gates/plan.html", context)


def _proposed(job: Job, before: BayPlan | None) -> dict[str, Any]:
    chosen = None if before is None else before.conditions
    steps = planning.steps_for([condition.value for condition in planning.ASKED])
    return {
        "conditions": planning.asked(job, chosen),
        "steps": shown_steps(steps),
        "is_again": before is not None,
    }


def _planned(job: Job, found: BayPlan) -> dict[str, Any]:
    return {
        "conditions": planning.asked(job, found.conditions),
        "standing": standing(job),
        "may_change": job.stage in WORKED,
        "holds": [Condition(one).label for one in found.conditions],
        "seen": ",".join(found.conditions),
    }


@only(Role.COUNTER)
@require_POST
def confirm(request: HttpRequest, number: str) -> HttpResponse:
    """Plans the bay, once."""
    left_out = {
        name.removeprefix(_LEAVE_OUT): request.POST.get(f"because-{name[len(_LEAVE_OUT) :]}", "")
        for name in request.POST
        if name.startswith(_LEAVE_OUT)
    }

    def act(job: Job) -> None:
        planning.plan(
            job,
            request.POST.getlist("condition"),
            left_out=left_out,
            who=doer(request),
            at=timezone.now(),
        )

    return change(
        request,
        number,
        act,
        to=reverse("jobs:job", args=[number]),
        said="The bay is planned.",
        back_to=reverse("gates:plan", args=[number]),
    )


@require_POST
def conditions(request: HttpRequest, number: str) -> HttpResponse:
    """Changes what is known of a car that is in the bay."""
    seen = [one for one in request.POST.get("seen", "").split(",") if one]
    said: list[str] = []

    def act(job: Job) -> None:
        said.extend(
            planning.change_conditions(
                job,
                request.POST.getlist("condition"),
                because=request.POST.get("because", ""),
                seen=seen,
                who=doer(request),
                at=timezone.now(),
            )
        )

    answer = change(request, number, act, to=reverse("gates:plan", args=[number]))
    if said:
        messages.success(request, f"{'; '.join(said)}. The steps follow.")
    return answer
