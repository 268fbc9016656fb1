"""What the views of this part share."""

import datetime
from collections.abc import Callable

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils import timezone

from layflat.base import LayflatError
from layflat.web.diary.hours import Hours
from layflat.web.jobs.once import answered_before
from layflat.web.people.gate import me
from layflat.web.people.models import Person


def doer(request: HttpRequest) -> Person:
    """Who is signed in.

    Raises:
        PermissionDenied: nobody; the gate lets no stranger so far.
    """
    person = me(request)
    if person is None:
        raise PermissionDenied
    return person


def day_asked(request: HttpRequest, hours: Hours, *, name: str = "day") -> datetime.date:
    """The day in the address; today where there is none, or it is no day."""
    try:
        found = datetime.date.fromisoformat(request.GET.get(name, ""))
    except ValueError:
        return hours.day_of(timezone.now())
    # Weeks and times zones need a few days on both sides.
    return found if 2000 <= found.year <= 2200 else hours.day_of(timezone.now())


def calendar_at(day: datetime.date) -> str:
    """The address of the week of a day."""
    return reverse("diary:calendar") + f"?day={day.isoformat()}"


def change(
    request: HttpRequest, act: Callable[[], object], *, to: str, said: str = ""
) -> HttpResponse:
    """Make a change once, in one transaction, and lead on; refusals are told there."""
    try:
        with transaction.atomic():
            before = answered_before(request, went_to=to)
            if before is not None:
                return before
            act()
    except LayflatError as error:
        messages.error(request, str(error))
        return HttpResponseRedirect(to)
    if said:
        messages.success(request, said)
    return HttpResponseRedirect(to)
