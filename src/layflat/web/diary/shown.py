"""The calendar as it is drawn: a week or a day by resource, each booking with its warnings."""

import datetime
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from layflat.web.diary.booking import beside, meeting, others_of, title_of
from layflat.web.diary.hours import WEEKDAYS, Hours, at
from layflat.web.diary.models import Booking, Place
from layflat.web.diary.warnings import Booked, Concern, warnings
from layflat.web.diary.works import BY_KEY
from layflat.web.jobs.models import Job
from layflat.web.people.models import Person, Shop
from layflat.web.people.shop import shown_day

_DAY: Final = datetime.timedelta(days=1)
_STRIP_MM: Final = 960.0


@dataclass(frozen=True, kw_only=True)
class Chip:
    """One booking in one cell.

    Attributes:
        booking: its row.
        title: what it is, without the job.
        times: from when until when on this day, by the shop's clock.
        concerns: what is wrong with it.
        left, width: where it lies along the day's strip of 960 units.
        goes_on: whether it began before this day or ends after it.
    """

    booking: Booking
    title: str
    times: str
    concerns: tuple[Concern, ...]
    left: float
    width: float
    goes_on: bool


@dataclass(frozen=True, kw_only=True)
class Cell:
    """One resource on one day."""

    day: datetime.date
    chips: tuple[Chip, ...]
    is_off: bool


@dataclass(frozen=True, kw_only=True)
class Row:
    """One resource: a bay, a plotter, a person, or what has none."""

    name: str
    kind: str
    cells: tuple[Cell, ...]


@dataclass(frozen=True, kw_only=True)
class Column:
    """One day of the table's head."""

    day: datetime.date
    name: str
    shown: str
    is_today: bool
    is_off: bool


@dataclass(frozen=True, kw_only=True)
class Table:
    """A drawn table.

    Attributes:
        columns: the days.
        rows: the resources.
        hours: marks along a day's strip: where, and the hour.
        concerns: what is wrong on these days, with the booking it is about.
        count: how many bookings are drawn.
    """

    columns: tuple[Column, ...]
    rows: tuple[Row, ...]
    hours: tuple[tuple[float, int], ...]
    concerns: tuple[tuple[Booking, Concern], ...]
    count: int


def booked(booking: Booking) -> Booked:
    """A booking as warnings read it; its people are there already."""
    return Booked(
        key=booking.pk,
        job=booking.job.number if booking.job else "",
        work=booking.work,
        title=title_of(booking),
        place=booking.place.name if booking.place else "",
        people={person.pk: person.shown for person in booking.people.all()},
        starts_at=booking.starts_at,
        ends_at=booking.ends_at,
    )


def concerns_of(bookings: Sequence[Booking], hours: Hours) -> dict[int, list[Concern]]:
    """What is wrong with bookings, by their keys."""
    promised = {
        booking.job.number: booking.job.promised
        for booking in bookings
        if booking.job and booking.job.promised
    }
    return warnings([booked(one) for one in bookings], hours=hours, promised=promised)


def table(
    first: datetime.date, days: int, *, hours: Hours, shop: Shop, today: datetime.date
) -> Table:
    """The calendar from a day on; five queries."""
    dates = [first + _DAY * number for number in range(days)]
    starts = at(first, datetime.time(0), hours.zone)
    ends = at(first + _DAY * days, datetime.time(0), hours.zone)
    drawn = meeting(starts, ends)
    jobs = [booking.job_id for booking in drawn if booking.job_id is not None]
    concerns = concerns_of([*drawn, *others_of(jobs, drawn)], hours)
    edges = _edges(dates, hours)
    rows = [
        Row(
            name=name,
            kind=kind,
            cells=tuple(
                Cell(
                    day=day,
                    chips=_chips(own, day, hours, edges, concerns),
                    is_off=hours.of(day) is None,
                )
                for day in dates
            ),
        )
        for name, kind, own in _resources(drawn)
    ]
    return Table(
        columns=tuple(_column(day, hours, shop, today) for day in dates),
        rows=tuple(rows),
        hours=_marks(edges),
        concerns=tuple(
            (booking, concern) for booking in drawn for concern in concerns.get(booking.pk, ())
        ),
        count=len(drawn),
    )


def _resources(drawn: Iterable[Booking]) -> list[tuple[str, str, list[Booking]]]:
    found = list(drawn)
    rows = []
    for place in Place.objects.all():
        own = [booking for booking in found if booking.place_id == place.pk]
        if own or not place.is_retired:
            rows.append((place.name, place.get_kind_display(), own))
    people = Person.objects.all().order_by("pk")
    with_people = [(b, {person.pk for person in b.people.all()}) for b in found]
    for person in people:
        own = [booking for booking, keys in with_people if person.pk in keys]
        if own or person.is_active:
            rows.append((person.shown, person.get_role_display(), own))
    lost = [booking for booking, keys in with_people if booking.place_id is None and not keys]
    if lost:
        rows.append(("Nowhere yet", "without place or people", lost))
    return rows


def _column(day: datetime.date, hours: Hours, shop: Shop, today: datetime.date) -> Column:
    return Column(
        day=day,
        name=WEEKDAYS[day.weekday()],
        shown=shown_day(day, shop),
        is_today=day == today,
        is_off=hours.of(day) is None,
    )


def _edges(dates: Iterable[datetime.date], hours: Hours) -> tuple[int, int]:
    """The first and the last hour that strips show: all working hours of these days."""
    spans = [hours.days[day.weekday()] for day in dates if day.weekday() in hours.days]
    if not spans:
        return 8, 17
    first = min(opens.hour for opens, _ in spans)
    last = max(closes.hour + (1 if closes.minute else 0) for _, closes in spans)
    return first, max(last, first + 1)


def _marks(edges: tuple[int, int]) -> tuple[tuple[float, int], ...]:
    first, last = edges
    per_hour = _STRIP_MM / (last - first)
    return tuple(((hour - first) * per_hour, hour) for hour in range(first, last + 1))


def _chips(
    bookings: Iterable[Booking],
    day: datetime.date,
    hours: Hours,
    edges: tuple[int, int],
    concerns: Mapping[int, Sequence[Concern]],
) -> tuple[Chip, ...]:
    begins = at(day, datetime.time(0), hours.zone)
    ends = at(day + _DAY, datetime.time(0), hours.zone)
    return tuple(
        _chip(booking, begins, ends, hours, edges, concerns.get(booking.pk, ()))
        for booking in bookings
        if booking.starts_at < ends and booking.ends_at > begins
    )


def _chip(
    booking: Booking,
    begins: datetime.datetime,
    ends: datetime.datetime,
    hours: Hours,
    edges: tuple[int, int],
    concerns: Sequence[Concern],
) -> Chip:
    work = BY_KEY.get(booking.work)
    from_, until = max(booking.starts_at, begins), min(booking.ends_at, ends)
    left, right = (_along(moment, begins, hours, edges) for moment in (from_, until))
    shown_until = until.astimezone(hours.zone)
    last = "24:00" if until == ends else f"{shown_until:%H:%M}"
    return Chip(
        booking=booking,
        title=work.title if work else booking.words or "Booked",
        times=f"{from_.astimezone(hours.zone):%H:%M}–{last}",
        concerns=tuple(concerns),
        left=left,
        width=max(right - left, 12.0),
        goes_on=booking.starts_at < begins or booking.ends_at > ends,
    )


def _along(
    moment: datetime.datetime,
    begins: datetime.datetime,
    hours: Hours,
    edges: tuple[int, int],
) -> float:
    """Where a moment lies along the strip, by the shop's clock."""
    local = moment.astimezone(hours.zone)
    is_next = local.date() > begins.astimezone(hours.zone).date()
    hour = 24.0 if is_next else local.hour + local.minute / 60
    first, last = edges
    share = min(max((hour - first) / (last - first), 0.0), 1.0)
    return round(share * _STRIP_MM, 1)


def of_job(job: Job, hours: Hours) -> list[tuple[Booking, list[Concern]]]:
    """A job's bookings with what is wrong with each; two to four queries."""
    own = [booking for booking in _own(job) if not booking.is_withdrawn]
    if not own:
        return []
    concerns = concerns_of(beside(own), hours)
    return [(booking, concerns.get(booking.pk, [])) for booking in own]


def _own(job: Job) -> Iterable[Booking]:
    return Booking.objects.filter(job=job).select_related("place", "job").prefetch_related("people")
