"""The next free times for the works of a job; `next_free` reads nothing but what it is handed."""

import datetime
from collections.abc import Iterable, Mapping, Sequence
from typing import Final

from layflat.base import InputError
from layflat.web.diary.hours import Hours
from layflat.web.diary.models import Booking, Place
from layflat.web.diary.works import Planned, arrange
from layflat.web.gates.models import BayPlan, Condition
from layflat.web.jobs.models import Job
from layflat.web.offer.accepted import accepted_outcome

_LOOKS_AHEAD: Final = 90
USUAL_PLACES: Final = (("Bay 1", Place.Kind.BAY), ("Plotter", Place.Kind.PLOTTER))
"""The places that a new shop begins with; names are the shop's to change."""

Taken = tuple[int | None, datetime.datetime, datetime.datetime]
"""A place's key, and from when until when it is taken."""


def places() -> list[Place]:
    """All places that are in use, bays first; the usual ones on first need."""
    found = list(Place.objects.all())
    if not found:
        rows = [Place(name=name, kind=kind) for name, kind in USUAL_PLACES]
        Place.objects.bulk_create(rows, ignore_conflicts=True)
        found = list(Place.objects.all())
    return [place for place in found if not place.is_retired]


def next_free(
    lasts: Mapping[str, int],
    *,
    first_day: datetime.date,
    hours: Hours,
    now: datetime.datetime,
    where: Sequence[Place],
    taken: Sequence[Taken],
) -> list[tuple[Planned, Place | None]]:
    """The works of a job from the first day on which all of them find their places free.

    Where none is free for three months they lie on the first day, for a person to decide.

    Args:
        lasts: minutes of each work by its key.
        first_day: no work lies before it.
        hours: the shop's.
        now: no work lies before it, either.
        where: places in use; a car stays in one bay.
        taken: when places are taken.
    """
    bays = [place for place in where if place.kind == Place.Kind.BAY]
    plotters = [place for place in where if place.kind == Place.Kind.PLOTTER]
    first: list[tuple[Planned, Place | None]] = []
    for ahead in range(_LOOKS_AHEAD):
        day = first_day + datetime.timedelta(days=ahead)
        if hours.of(day) is None and hours.days:
            continue
        planned = arrange(lasts, first_day=day, hours=hours, now=now)
        either: Sequence[Place | None] = bays or [None]
        for bay in either:
            found = [(one, _place_of(one, bay, plotters, taken)) for one in planned]
            first = first or [(one, place or _any_of(one, bays, plotters)) for one, place in found]
            if all(place is not None or not _has_any(one, where) for one, place in found):
                return found
        if not hours.days:
            break
    return first


def _has_any(one: Planned, where: Iterable[Place]) -> bool:
    return any(place.kind == one.work.place for place in where)


def _any_of(one: Planned, bays: Sequence[Place], plotters: Sequence[Place]) -> Place | None:
    of_kind = bays if one.work.place == Place.Kind.BAY else plotters
    return of_kind[0] if of_kind else None


def _place_of(
    one: Planned, bay: Place | None, plotters: Sequence[Place], taken: Iterable[Taken]
) -> Place | None:
    """The bay, or a plotter, if it is free then."""
    if one.work.place == Place.Kind.BAY:
        wanted: Sequence[Place | None] = [bay]
    else:
        wanted = plotters
    for place in wanted:
        if place is not None and not any(
            key == place.pk and starts < one.ends_at and one.starts_at < ends
            for key, starts, ends in taken
        ):
            return place
    return None


def taken_from(moment: datetime.datetime, *, but: Job) -> list[Taken]:
    """When places are taken from a moment on, other than by a job's own bookings; one query."""
    rows = Booking.objects.filter(ends_at__gt=moment, is_withdrawn=False, place__isnull=False)
    return list(rows.exclude(job=but).values_list("place_id", "starts_at", "ends_at"))


def minutes_of(job: Job) -> Mapping[str, object] | None:
    """The minutes of each step as the accepted cover's computation found them, or None."""
    try:
        minutes: Mapping[str, object] = accepted_outcome(job).minutes
    except InputError:
        return None
    return minutes


def has_coating(job: Job) -> bool:
    """Whether a coating is known to be ordered: the bay is planned with one."""
    found = BayPlan.objects.filter(job=job).first()
    return found is not None and Condition.COATING.value in found.conditions
