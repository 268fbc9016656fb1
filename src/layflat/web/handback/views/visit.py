"""The follow-up visit."""

from functools import partial
from typing import Any

from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from layflat.base import InputError, LayflatError
from layflat.web.handback.follow_up import (
    SEEN,
    Found,
    cancel,
    done,
    goes_to_bay,
    left_to_clear,
    open_visit,
    plan,
    read_day,
)
from layflat.web.handback.giving import given_before
from layflat.web.handback.passports import draft, hand_back_of, keep_version
from layflat.web.handback.views.shop import open_address
from layflat.web.jobs.models import Job, Stage
from layflat.web.jobs.once import answered_before, earlier_answer
from layflat.web.jobs.views.common import change, locked_job, the_job
from layflat.web.people.gate import me, only
from layflat.web.people.models import Role
from layflat.web.people.shop import shop_time, the_shop

VISITED = "Made after the car was seen again."


def _page_of(number: str) -> str:
    return reverse("handback:follow-up", args=[number])


@require_safe
def page(request: HttpRequest, number: str) -> HttpResponse:
    """When the car is seen again, what to look at, and what was found."""
    return _show(request, the_job(number))


@only(Role.COUNTER)
@require_http_methods(["GET", "HEAD", "POST"])
def write(request: HttpRequest, number: str) -> HttpResponse:
    """Writes the visit down; where something is not said yet, the page with what was entered."""
    job, person, to = the_job(number), me(request), _page_of(number)
    if request.method != "POST":
        return HttpResponseRedirect(to)
    found = _found(request, job)
    try:
        before = earlier_answer(request)
        if before is not None:
            return before
        with transaction.atomic():
            before = answered_before(request, went_to=to)
            if before is not None:
                return before
            done(locked_job(number), found, who=person, at=timezone.now())
    except LayflatError as error:
        return _show(request, the_job(number), refused=str(error))
    messages.success(
        request,
        "Written down. The car is in the bay again: flag there what was found, on its place."
        if goes_to_bay(found)
        else "Written down; nothing is open on this job.",
    )
    _next_version(request, number)
    return HttpResponseRedirect(to)


def _found(request: HttpRequest, job: Job) -> Found:
    return Found(
        words=request.POST.get("found", ""),
        seen={
            flag.number: request.POST.get(f"flag-{flag.number}", "") for flag in left_to_clear(job)
        },
        is_to_mend=request.POST.get("mend") == "yes",
    )


def _next_version(request: HttpRequest, number: str) -> None:
    """A version with the visit in it; when it cannot be made it is said, and made on its page."""
    shop, at, job = the_shop(), timezone.now(), the_job(number)
    try:
        made = draft(
            job,
            given_before(job),
            because=VISITED,
            shop=shop,
            address=open_address(request, job),
            at=at,
        )
        with transaction.atomic():
            keep_version(locked_job(number), made, shop=shop, who=me(request))
    except LayflatError as error:
        messages.error(
            request,
            f"The visit is kept, but the passport has no new version yet: {error} Make it on the "
            "passport's page.",
        )


def _show(request: HttpRequest, job: Job, *, refused: str = "") -> HttpResponse:
    shop = the_shop()
    today = shop_time(timezone.now(), shop).date()
    flags = left_to_clear(job)
    person = me(request)
    context: dict[str, Any] = {
        "part": "job",
        "shop": shop,
        "job": job,
        "refused": refused,
        "hand_back": hand_back_of(job),
        "visit": open_visit(job),
        "visits": list(
            job.follow_ups.select_related("who").exclude(came_at__isnull=True, cancelled_because="")
        ),
        "today": today.isoformat(),
        "flags": [(flag, request.POST.get(f"flag-{flag.number}", "")) for flag in flags],
        "seen": SEEN.items(),
        "typed": request.POST if refused else {},
        "is_handed": job.stage == Stage.HANDED,
        "keeps_counter": person is not None and person.keeps_counter,
    }
    return render(request, "handback/follow_up.html", context)


@only(Role.COUNTER)
@require_POST
def agree(request: HttpRequest, number: str) -> HttpResponse:
    """Agrees on a day, or on another."""

    def act(job: Job) -> None:
        given_before(job)
        day = read_day(
            request.POST.get("due", ""), today=shop_time(timezone.now(), the_shop()).date()
        )
        if day is None:
            raise InputError("Say on which day the car is seen again.")
        plan(job, day, who=me(request))

    return change(request, number, act, to=_page_of(number), said="The day is kept.")


@only(Role.COUNTER)
@require_POST
def call_off(request: HttpRequest, number: str) -> HttpResponse:
    """Says that the visit does not take place."""
    act = partial(cancel, because=request.POST.get("because", ""), who=me(request))
    return change(request, number, act, to=_page_of(number), said="The visit is called off.")
