"""What a job's page, its history and the board say of the calendar."""

import datetime
from collections.abc import Sequence
from typing import Any

from django.urls import reverse
from django.utils import timezone

from layflat.web.diary.booking import meeting
from layflat.web.diary.hours import hours_of
from layflat.web.diary.models import Booking
from layflat.web.diary.shown import concerns_of, of_job
from layflat.web.jobs.models import Job, Stage
from layflat.web.people.shop import the_shop
from layflat.web.record.history import Undo
from layflat.web.record.models import Event

_AHEAD = datetime.timedelta(days=120)


def read(job: Job) -> dict[str, Any]:
    """A job's bookings with what is wrong with each, for `diary/on_job.html`."""
    if job.stage in (Stage.ENQUIRY, Stage.INTAKE):
        return {"calendar": None}
    found = of_job(job, hours_of(the_shop()))
    return {
        "calendar": {
            "bookings": found,
            "may_place": job.stage not in (Stage.HANDED, Stage.CLOSED),
        }
    }


def take_back(_job: Job, events: Sequence[Event]) -> dict[int, Undo]:
    """The newest change of each booking leads to its page, where it is taken out or moved."""
    found: dict[int, Undo] = {}
    seen: set[int] = set()
    for event in reversed(events):
        key = (event.after or {}).get("booking")
        if not event.kind.startswith("calendar.") or key is None or key in seen:
            continue
        seen.add(key)
        words = "Put back" if event.kind == "calendar.withdrawn" else "Take out or move"
        found[event.pk] = Undo(words, reverse("diary:booking", args=[key]))
    return found


def concerned_jobs() -> dict[int, str]:
    """By the keys of jobs with bookings ahead: what is wrong first, in words; three queries."""
    now = timezone.now()
    ahead = Booking.objects.filter(ends_at__gt=now, starts_at__lt=now + _AHEAD, is_withdrawn=False)
    jobs = list(ahead.filter(job__isnull=False).values_list("job", flat=True).distinct())
    if not jobs:
        return {}
    near = meeting(now, now + _AHEAD, jobs=jobs)
    concerns = concerns_of(near, hours_of(the_shop()))
    found: dict[int, str] = {}
    for booking in near:
        if booking.job_id is not None and booking.pk in concerns:
            found.setdefault(booking.job_id, concerns[booking.pk][0].words)
    return found
