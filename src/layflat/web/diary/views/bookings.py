"""One booking: placed by hand, changed, taken out and put back."""

import datetime
from typing import Any

from django.contrib import messages
from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from layflat.base import LayflatError
from layflat.web.diary import booking as doing
from layflat.web.diary.forms import BookingForm, initial_of, initial_times
from layflat.web.diary.hours import Hours, at, hours_of
from layflat.web.diary.models import Booking
from layflat.web.diary.shown import concerns_of
from layflat.web.diary.suggest import places
from layflat.web.diary.views.common import calendar_at, change, day_asked, doer
from layflat.web.jobs.models import Job, Stage
from layflat.web.jobs.once import answered_before
from layflat.web.jobs.views.common import locked_job
from layflat.web.people.gate import only
from layflat.web.people.models import Person, Role
from layflat.web.people.shop import the_shop

_HOUR = datetime.timedelta(hours=1)


@only(Role.COUNTER)
@require_http_methods(["GET", "HEAD", "POST"])
def new(request: HttpRequest) -> HttpResponse:
    """Places something: for a job, or such as a day off."""
    hours = hours_of(the_shop())
    number = request.POST.get("job", request.GET.get("job", ""))
    form = _form(request, hours, initial=_usual_times(day_asked(request, hours), hours))
    if request.method == "POST" and form.is_valid():
        to = calendar_at(hours.day_of(form.when()[0]))
        try:
            with transaction.atomic():
                before = answered_before(request, went_to=to)
                if before is not None:
                    return before
                job = locked_job(number) if number else None
                made = doing.place(form.wanted(job), who=doer(request))
        except (LayflatError, Http404) as error:
            form.add_error(None, str(error))
        else:
            _say(request, made, hours)
            return HttpResponseRedirect(to)
    return _page(request, form, None, number)


def _usual_times(day: datetime.date, hours: Hours) -> dict[str, Any]:
    span = hours.of(day)
    starts = span[0] if span else at(day, datetime.time(8), hours.zone)
    return initial_times(starts, starts + _HOUR, hours)


@require_safe
def booking(request: HttpRequest, booking: int) -> HttpResponse:
    """Shows a booking; for counter and owner as a form."""
    hours, found = hours_of(the_shop()), _found(booking)
    form = _form(request, hours, initial=initial_of(found, hours), but=found)
    return _page(request, form, found, found.job.number if found.job else "")


@only(Role.COUNTER)
@require_POST
def change_it(request: HttpRequest, booking: int) -> HttpResponse:
    """Changes a booking; tells the second of two editors what the first one made of it."""
    hours, found = hours_of(the_shop()), _found(booking)
    number = found.job.number if found.job else ""
    form = _form(request, hours, initial=initial_of(found, hours), but=found)
    if form.is_valid():
        to = calendar_at(hours.day_of(form.when()[0]))
        seen = request.POST.get("seen", "")
        try:
            with transaction.atomic():
                before = answered_before(request, went_to=to)
                if before is not None:
                    return before
                job = locked_job(number) if number else None
                changed = doing.change(
                    doing.locked_booking(booking),
                    form.wanted(job),
                    seen=int(seen) if seen.isdecimal() and len(seen) < 9 else 0,
                    who=doer(request),
                )
        except LayflatError as error:
            form.add_error(None, str(error))
            found = _found(booking)
        else:
            _say(request, changed, hours)
            return HttpResponseRedirect(to)
    return _page(request, form, found, number)


def _found(key: int) -> Booking:
    found = (
        Booking.objects.select_related("job", "place")
        .prefetch_related("people")
        .filter(pk=key)
        .first()
    )
    if found is None:
        raise Http404("There is no such booking.")
    return found


def _form(
    request: HttpRequest, hours: Hours, *, initial: dict[str, Any], but: Booking | None = None
) -> BookingForm:
    own = set() if but is None else {person.pk for person in but.people.all()}
    people = [
        person for person in Person.objects.order_by("pk") if person.is_active or person.pk in own
    ]
    where = places()
    if but is not None and but.place is not None and but.place not in where:
        where.append(but.place)
    data = request.POST if request.method == "POST" else None
    return BookingForm(data, hours=hours, places=where, people=people, initial=initial)


def _page(
    request: HttpRequest, form: BookingForm, found: Booking | None, number: str
) -> HttpResponse:
    concerns = []
    if found is not None and not found.is_withdrawn:
        jobs = [found.job_id] if found.job_id is not None else []
        near = doing.meeting(found.starts_at, found.ends_at, jobs=jobs)
        concerns = concerns_of(near, form.hours).get(found.pk, [])
    open_jobs = Job.objects.exclude(stage__in=[Stage.CLOSED, Stage.HANDED])
    context = {
        "part": "calendar",
        "form": form,
        "booking": found,
        "title": doing.title_of(found) if found else "Place something",
        "number": number,
        "jobs": open_jobs.select_related("vehicle").order_by("promised", "pk")[:200]
        if found is None
        else [],
        "concerns": concerns,
        "may_change": doer(request).keeps_counter,
        "back": calendar_at(
            form.hours.day_of(found.starts_at) if found else day_asked(request, form.hours)
        ),
    }
    return render(request, "diary/booking.html", context)


def _say(request: HttpRequest, made: Booking, hours: Hours) -> None:
    """What was placed, and what to look at; nothing is refused that a person insists on."""
    messages.success(request, f"In the calendar: {doing.title_of(made)}.")
    jobs = [made.job_id] if made.job_id is not None else []
    near = doing.meeting(made.starts_at, made.ends_at, jobs=jobs)
    for concern in concerns_of(near, hours).get(made.pk, []):
        messages.warning(request, concern.words)


@only(Role.COUNTER)
@require_POST
def out(request: HttpRequest, booking: int) -> HttpResponse:
    """Takes a booking out of the calendar, or puts it back."""
    is_withdrawn = request.POST.get("withdrawn") == "yes"
    found = _found(booking)

    def act() -> None:
        if found.job:
            locked_job(found.job.number)
        doing.withdraw(doing.locked_booking(booking), withdrawn=is_withdrawn, who=doer(request))

    return change(
        request,
        act,
        to=reverse("diary:booking", args=[booking]),
        said="It is out of the calendar." if is_withdrawn else "It is in the calendar again.",
    )
