"""How covers' changes are taken back from a job's history."""

from collections.abc import Sequence

from django.urls import reverse

from layflat.web.cover.changing import CHANGED, OPEN_AT, UNDONE
from layflat.web.jobs.models import Job
from layflat.web.record.history import Undo
from layflat.web.record.models import Event


def take_back(job: Job, events: Sequence[Event]) -> dict[int, Undo]:
    """Of each panel's changes the newest that stands can be put back, as long as covers change."""
    if job.stage not in OPEN_AT:
        return {}
    found: dict[int, Undo] = {}
    taken_back: set[int] = set()
    seen: set[tuple[int, str]] = set()
    for event in reversed(events):
        after = event.after or {}
        if event.kind == UNDONE:
            taken_back.add(after.get("undoes", 0))
        elif event.kind == CHANGED and event.pk not in taken_back:
            place = (after["cover"], after["panel"])
            if place not in seen:
                found[event.pk] = _put_back(job, event, after["cover"])
            seen.add(place)
    return found


def _put_back(job: Job, event: Event, cover: int) -> Undo:
    address = reverse("cover:take-back", args=[job.number, cover, event.pk])
    return Undo("Put back", address, is_form=True)
