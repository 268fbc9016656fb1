"""Placing all works of one job: proposed one after another, each changed or left out by hand."""

import datetime
from collections.abc import Sequence
from typing import Any

from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from layflat.base import LayflatError
from layflat.web.diary import booking as doing
from layflat.web.diary.forms import BookingForm, initial_times
from layflat.web.diary.hours import Hours, hours_of
from layflat.web.diary.models import Booking, Place
from layflat.web.diary.shown import of_job
from layflat.web.diary.suggest import has_coating, minutes_of, next_free, places, taken_from
from layflat.web.diary.views.common import calendar_at, day_asked, doer
from layflat.web.diary.warnings import Concern
from layflat.web.diary.works import BY_KEY, WORKS, Planned, durations, working_days
from layflat.web.jobs.models import Job
from layflat.web.jobs.once import answered_before
from layflat.web.jobs.views.common import locked_job, the_job
from layflat.web.people.gate import only
from layflat.web.people.models import Person, Role
from layflat.web.people.shop import shop_held, the_shop

_MOST_ROWS = 2 * len(WORKS) + 20


@only(Role.COUNTER)
@require_http_methods(["GET", "HEAD", "POST"])
def job(request: HttpRequest, number: str) -> HttpResponse:
    """The works of a job that are not placed yet, with the next free times; places those ticked."""
    found = the_job(number)
    if request.method == "POST":
        return _place(request, found, hours_of(the_shop()))
    with shop_held():
        return _propose(request, found, hours_of(the_shop()))


def _propose(request: HttpRequest, found: Job, hours: Hours) -> HttpResponse:
    minutes, where, placed = minutes_of(found), places(), of_job(found, hours)
    proposed = _proposed(request, found, hours, minutes, where, [one for one, _ in placed])
    people = list(Person.objects.filter(is_active=True).order_by("pk"))
    forms = [
        (
            one,
            BookingForm(
                hours=hours,
                places=where,
                people=people,
                prefix=str(place),
                initial={
                    **initial_times(one.starts_at, one.ends_at, hours),
                    "work": one.work.key,
                    "place": at.pk if at else None,
                },
            ),
        )
        for place, (one, at) in enumerate(proposed)
    ]
    return _page(request, found, hours, forms, is_assumed=minutes is None, placed=placed)


def _proposed(
    request: HttpRequest,
    found: Job,
    hours: Hours,
    minutes: Any,
    where: list[Place],
    own: Sequence[Booking],
) -> list[tuple[Planned, Place | None]]:
    lasts = durations(minutes, coating=has_coating(found))
    placed = {one.work: one.ends_at for one in sorted(own, key=lambda one: one.ends_at)}
    lasts = {key: value for key, value in lasts.items() if key not in placed}
    now = timezone.now()
    before = [ends for key, ends in placed.items() if key in BY_KEY]
    return next_free(
        lasts,
        first_day=day_asked(request, hours),
        hours=hours,
        now=max([now, *before]),
        where=where,
        taken=taken_from(now, but=found),
    )


def _place(request: HttpRequest, found: Job, hours: Hours) -> HttpResponse:
    people, where = list(Person.objects.order_by("pk")), list(Place.objects.all())
    count = request.POST.get("rows", "")
    rows = int(count) if count.isdecimal() and len(count) < 4 else 0
    forms = []
    for place in range(min(rows, _MOST_ROWS)):
        form = BookingForm(
            request.POST, hours=hours, places=where, people=people, prefix=str(place)
        )
        if request.POST.get(f"{place}-take") == "yes":
            forms.append((place, form))
    if not forms:
        messages.error(request, "Tick the works that go into the calendar.")
        return HttpResponseRedirect(reverse("diary:job", args=[found.number]))
    # Each is looked at, so that each says what is wrong with it.
    wrong = [form for _, form in forms if not form.is_valid()]
    if wrong:
        return _page(request, found, hours, [(None, form) for _, form in forms], is_assumed=False)
    to = calendar_at(min(hours.day_of(form.when()[0]) for _, form in forms))
    try:
        with transaction.atomic():
            before = answered_before(request, went_to=to)
            if before is not None:
                return before
            held = locked_job(found.number)
            for _, form in forms:
                doing.place(form.wanted(held), who=doer(request))
    except LayflatError as error:
        messages.error(request, str(error))
        return HttpResponseRedirect(reverse("diary:job", args=[found.number]))
    messages.success(request, f"Job {found.number}: {len(forms)} placed in the calendar.")
    for booking, concerns in of_job(found, hours):
        for concern in concerns:
            messages.warning(request, f"{doing.title_of(booking)}: {concern.words}")
    return HttpResponseRedirect(to)


def _page(
    request: HttpRequest,
    found: Job,
    hours: Hours,
    forms: Sequence[tuple[Planned | None, BookingForm]],
    *,
    is_assumed: bool,
    placed: Sequence[tuple[Booking, Sequence[Concern]]] | None = None,
) -> HttpResponse:
    planned = [one for one, _ in forms if one is not None]
    context = {
        "part": "calendar",
        "job": found,
        "rows": [
            {"planned": one, "form": form, "title": _title(one, form), "prefix": form.prefix}
            for one, form in forms
        ],
        "count": max((int(form.prefix or 0) for _, form in forms), default=-1) + 1,
        "placed": of_job(found, hours) if placed is None else placed,
        "is_assumed": is_assumed,
        "days": working_days(planned, hours),
        "day": day_asked(request, hours),
        "promised_late": bool(
            planned
            and found.promised
            and hours.day_of(max(one.ends_at for one in planned)) > found.promised
        ),
        "in_a_week": day_asked(request, hours) + datetime.timedelta(days=7),
    }
    return render(request, "diary/job.html", context)


def _title(one: Planned | None, form: BookingForm) -> str:
    if one is None:
        work = BY_KEY.get(str(form["work"].value()))
        return work.title if work else "Something else"
    return one.work.title + (f", part {one.part} of {one.parts}" if one.parts > 1 else "")
