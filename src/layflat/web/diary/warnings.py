"""What is wrong with bookings, in words; nothing of it keeps a person from insisting.

`warnings` reads nothing but what it is handed.
"""

import datetime
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

from layflat.web.diary.hours import Hours
from layflat.web.diary.works import BY_KEY, REST, before

DOUBLE: Final = "double"
ORDER: Final = "order"
PROMISE: Final = "promise"
HOURS: Final = "hours"


@dataclass(frozen=True, kw_only=True)
class Booked:
    """A booking, as far as warnings depend on it.

    Attributes:
        key: its row's.
        job: number, or "" for none.
        work: a key of `works`, or "".
        title: for people, such as "Lay, job 2031-0042".
        place: name, or "".
        people: names by keys.
        starts_at, ends_at: UTC.
    """

    key: int
    job: str = ""
    work: str = ""
    title: str
    place: str = ""
    people: Mapping[int, str] = field(default_factory=dict)
    starts_at: datetime.datetime
    ends_at: datetime.datetime


@dataclass(frozen=True, kw_only=True)
class Concern:
    """Something that a person should look at.

    Attributes:
        kind: double, order, promise or hours.
        words: one sentence.
        other: key of the booking that it is about besides, or 0.
    """

    kind: str
    words: str
    other: int = 0


def warnings(
    bookings: Sequence[Booked],
    *,
    hours: Hours,
    promised: Mapping[str, datetime.date],
) -> dict[int, list[Concern]]:
    """What is wrong with each booking, by its key; those with nothing wrong are left out.

    Args:
        bookings: all that could meet: of the days looked at, and all of the jobs among them.
        hours: the shop's.
        promised: the promised days, by the jobs' numbers.
    """
    met, by_job = _met(bookings), defaultdict(list)
    for booked in bookings:
        by_job[booked.job].append(booked)
    found: dict[int, list[Concern]] = {}
    for place, booked in enumerate(bookings):
        of_job = by_job[booked.job] if booked.job else []
        said = [
            *_twice(booked, (bookings[other] for other in sorted(met[place]))),
            *_out_of_order(booked, of_job, hours),
            *_too_late(booked, of_job, hours, promised),
            *_outside(booked, hours),
        ]
        if said:
            found[booked.key] = said
    return found


def _met(bookings: Sequence[Booked]) -> list[set[int]]:
    """For each booking the indices of those that share its place or one of its people and time.

    One sweep through the starts, so that a full calendar is looked at in time that grows with it
    and with what meets in it, and not with its square.
    """
    met: list[set[int]] = [set() for _ in bookings]
    going_on: defaultdict[str | int, list[int]] = defaultdict(list)
    for index in sorted(range(len(bookings)), key=lambda index: bookings[index].starts_at):
        booked = bookings[index]
        for taken in (*booked.people, *([booked.place] if booked.place else ())):
            still = [i for i in going_on[taken] if booked.starts_at < bookings[i].ends_at]
            for other in still:
                if bookings[other].starts_at < booked.ends_at:
                    met[index].add(other)
                    met[other].add(index)
            going_on[taken] = [*still, index]
    return met


def _twice(booked: Booked, others: Iterable[Booked]) -> list[Concern]:
    found = []
    for other in others:
        # A car in a bay may have two works done on it there at once.
        is_same_car = bool(booked.job) and other.job == booked.job
        if booked.place and other.place == booked.place and not is_same_car:
            found.append(_of(DOUBLE, f"{booked.place} is taken by {other.title}.", other))
        both = [name for key, name in booked.people.items() if key in other.people]
        if both:
            found.append(_of(DOUBLE, f"{' and '.join(both)} also at {other.title}.", other))
    return found


def _out_of_order(booked: Booked, of_job: Iterable[Booked], hours: Hours) -> list[Concern]:
    work = BY_KEY.get(booked.work)
    if work is None:
        return []
    found, earlier = [], before(work)
    for other in of_job:
        if other.work not in earlier:
            continue
        title = BY_KEY[other.work].title.lower()
        if booked.starts_at < other.ends_at:
            found.append(_of(ORDER, f"{work.title} begins before {title} ends.", other))
        elif work.rests and other.work == "lay" and _no_night(other, booked, hours):
            found.append(_of(ORDER, f"{work.title} comes before film has rested a night.", other))
    return found


def _no_night(before: Booked, after: Booked, hours: Hours) -> bool:
    is_same_day = hours.day_of(before.ends_at) == hours.day_of(after.starts_at)
    return is_same_day or after.starts_at - before.ends_at < REST


def _too_late(
    booked: Booked,
    of_job: Iterable[Booked],
    hours: Hours,
    promised: Mapping[str, datetime.date],
) -> list[Concern]:
    day = promised.get(booked.job)
    if day is None or hours.day_of(booked.ends_at) <= day:
        return []
    last = max(other.ends_at for other in of_job)
    if booked.ends_at < last:
        return []
    return [Concern(kind=PROMISE, words="The last work ends after the day that is promised.")]


def _outside(booked: Booked, hours: Hours) -> list[Concern]:
    if not booked.work or not hours.is_outside(booked.starts_at, booked.ends_at):
        return []
    return [Concern(kind=HOURS, words="Some of it lies outside working hours.")]


def _of(kind: str, words: str, other: Booked) -> Concern:
    return Concern(kind=kind, words=words, other=other.key)
