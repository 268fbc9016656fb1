"""The works of a job in the calendar, how long each takes by default, and when they usually lie.

Common practice, no source: a whole front done by two people takes about three working days: intake,
wash, cut and weed; then laying; then, after a night's rest, edges, inspection, handing back.
"""

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from layflat.web.diary.hours import Hours, at
from layflat.web.diary.models import Place


@dataclass(frozen=True, kw_only=True)
class Work:
    """One work of a job.

    Attributes:
        key: as bookings name it.
        title: for people.
        steps: of `layflat.plan.Step`, by value, whose minutes it takes.
        usual_min: minutes of one person where no cover was computed: a whole front.
        people: how many usually do it.
        place: where it is done.
        after: keys of works that come before it.
        fresh_after_min: from how many minutes on it begins on a new working day; None for never.
        rests: whether a night lies between it and what comes before.
        is_asked: whether it belongs only to jobs that ordered it.
    """

    key: str
    title: str
    steps: tuple[str, ...]
    usual_min: float
    people: int = 1
    place: Place.Kind = Place.Kind.BAY
    after: tuple[str, ...] = ()
    fresh_after_min: float | None = None
    rests: bool = False
    is_asked: bool = False


WORKS: Final = (
    Work(key="intake", title="Intake", steps=("intake",), usual_min=30.0),
    Work(key="wash", title="Wash, iron removal", steps=("wash",), usual_min=120.0),
    Work(
        key="cut",
        title="Cut and weed",
        steps=("cut", "weed"),
        usual_min=75.0,
        place=Place.Kind.PLOTTER,
    ),
    Work(
        key="lay",
        title="Lay",
        steps=("lay",),
        usual_min=480.0,
        people=2,
        after=("wash", "cut"),
        fresh_after_min=120.0,
    ),
    Work(
        key="edges",
        title="Heat the edges",
        steps=("edges",),
        usual_min=40.0,
        after=("lay",),
        rests=True,
    ),
    Work(
        key="inspect",
        title="Inspection",
        steps=("inspect",),
        usual_min=45.0,
        after=("lay", "edges"),
    ),
    Work(
        key="coat",
        title="Coating over film",
        steps=(),
        usual_min=120.0,
        after=("lay", "inspect"),
        is_asked=True,
    ),
    Work(
        key="hand-back",
        title="Hand back",
        steps=("hand-back",),
        usual_min=30.0,
        after=("inspect", "coat"),
    ),
)
"""In the order of work."""
BY_KEY: Final = {work.key: work for work in WORKS}
REST: Final = datetime.timedelta(hours=12)
"""The least between laying and heating edges: a night."""
_ROUND_MIN: Final = 15


def before(work: Work) -> frozenset[str]:
    """The keys of all works that come before one, also through others."""
    found = set(work.after)
    for key in work.after:
        found |= before(BY_KEY[key])
    return frozenset(found)


@dataclass(frozen=True, kw_only=True)
class Planned:
    """A work, or a part of it, as it would lie in the calendar.

    Attributes:
        work: which.
        starts_at, ends_at: UTC.
        part, parts: which part of how many, where it takes more than one day.
    """

    work: Work
    starts_at: datetime.datetime
    ends_at: datetime.datetime
    part: int = 1
    parts: int = 1


def durations(minutes: Mapping[str, Any] | None, *, coating: bool = False) -> dict[str, int]:
    """How long each work of a job takes by the clock, in whole quarters of an hour.

    Args:
        minutes: of one person for each step, as `Outcome.minutes`; None where no cover was
            computed: then a whole front is assumed.
        coating: whether a coating was ordered.
    """
    found = {}
    for work in WORKS:
        if work.is_asked and not coating:
            continue
        known = [_minutes(minutes, step) for step in work.steps] if minutes else []
        total = sum(known) if known else work.usual_min
        found[work.key] = max(_ROUND_MIN, _up(total / work.people))
    return found


def _minutes(minutes: Mapping[str, Any], step: str) -> float:
    return float(minutes.get(step, {}).get("minutes", 0.0))


def _up(minutes: float) -> int:
    return int(-(-minutes // _ROUND_MIN)) * _ROUND_MIN


def arrange(
    lasts: Mapping[str, int], *, first_day: datetime.date, hours: Hours, now: datetime.datetime
) -> list[Planned]:
    """When the works of a job would lie, one after another, within working hours.

    Laying that takes long begins on a fresh morning; edges are heated on the working day after it.

    Args:
        lasts: minutes of each work by its key, as from `durations`.
        first_day: no work lies before it.
        hours: the shop's.
        now: no work lies before it, either.
    """
    found: list[Planned] = []
    cursor = max(at(first_day, datetime.time(0), hours.zone), now)
    for work in WORKS:
        if work.key not in lasts:
            continue
        length = datetime.timedelta(minutes=lasts[work.key])
        is_fresh = work.fresh_after_min is not None and lasts[work.key] > work.fresh_after_min
        if found and (is_fresh or work.rests):
            cursor = hours.next_morning(cursor)
        if found and work.rests:
            cursor = max(cursor, found[-1].ends_at + REST)
        pieces = hours.fit(cursor, length)
        for part, (starts_at, ends_at) in enumerate(pieces, start=1):
            found.append(
                Planned(
                    work=work, starts_at=starts_at, ends_at=ends_at, part=part, parts=len(pieces)
                )
            )
        cursor = found[-1].ends_at
    return found


def working_days(planned: Sequence[Planned], hours: Hours) -> int:
    """On how many days something of it lies."""
    return len({one.starts_at.astimezone(hours.zone).date() for one in planned})
