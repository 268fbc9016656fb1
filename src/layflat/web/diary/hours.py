"""When the shop works, by its own clock, also where that clock is put forward or back."""

import datetime
import zoneinfo
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from layflat.base import InputError
from layflat.web.diary.models import WorkDay
from layflat.web.people.models import Person, Shop
from layflat.web.record.models import write_event

Span = tuple[datetime.datetime, datetime.datetime]
_MOST_DAYS: Final = 400
_USUAL: Final = (datetime.time(8), datetime.time(17))
_FREE: Final = frozenset({5, 6})
WEEKDAYS: Final = (
    "Monday",
    "Tuesday",
    "Wednesday",
    "Thursday",
    "Friday",
    "Saturday",
    "Sunday",
)


def at(day: datetime.date, time: datetime.time, zone: zoneinfo.ZoneInfo) -> datetime.datetime:
    """A moment of the shop's clock as UTC.

    A time that is there twice, when clocks go back, is the first one; one that is not there, when
    they go forward, is as much later as they went.
    """
    local = datetime.datetime.combine(day, time.replace(fold=0), tzinfo=zone)
    return local.astimezone(datetime.UTC)


def is_on_the_clock(day: datetime.date, time: datetime.time, zone: zoneinfo.ZoneInfo) -> bool:
    """Whether the shop's clock shows this time on this day at all."""
    shown = at(day, time, zone).astimezone(zone)
    return (shown.date(), shown.time()) == (day, time.replace(fold=0))


@dataclass(frozen=True)
class Hours:
    """Working hours by weekday (0 for Monday), and the zone of the clock that they are read from.

    A weekday that is missing is a day off.
    """

    zone: zoneinfo.ZoneInfo
    days: Mapping[int, tuple[datetime.time, datetime.time]]

    def of(self, day: datetime.date) -> Span | None:
        """From when until when a day is worked on, UTC; None on a day off."""
        found = self.days.get(day.weekday())
        if found is None:
            return None
        opens, closes = (at(day, time, self.zone) for time in found)
        return (opens, closes) if closes > opens else None

    def day_of(self, moment: datetime.datetime) -> datetime.date:
        """The day of a moment by the shop's clock."""
        return moment.astimezone(self.zone).date()

    def next_morning(self, moment: datetime.datetime) -> datetime.datetime:
        """When the next working day after a moment's opens."""
        day = self.day_of(moment)
        for _ in range(_MOST_DAYS):
            day += datetime.timedelta(days=1)
            found = self.of(day)
            if found is not None:
                return found[0]
        return moment

    def fit(self, moment: datetime.datetime, length: datetime.timedelta) -> list[Span]:
        """The next time from a moment on that holds a work, cut where it needs more than a day."""
        spans: list[Span] = []
        left, day = length, self.day_of(moment)
        for _ in range(_MOST_DAYS):
            found = self.of(day)
            if found is not None:
                opens, closes = max(found[0], moment), found[1]
                is_whole_day = found[1] - found[0] <= left
                if closes > opens and (closes - opens >= left or is_whole_day or spans):
                    ends = min(closes, opens + left)
                    spans.append((opens, ends))
                    left -= ends - opens
                    if left <= datetime.timedelta():
                        return spans
            day += datetime.timedelta(days=1)
        return [(moment, moment + length)]  # the shop never works: right away, for a person to move

    def is_outside(self, starts_at: datetime.datetime, ends_at: datetime.datetime) -> bool:
        """Whether some of a time lies outside the working hours of the day it begins on."""
        found = self.of(self.day_of(starts_at))
        return found is None or starts_at < found[0] or ends_at > found[1]


def hours_of(shop: Shop) -> Hours:
    """The shop's hours; Monday to Friday from eight to five where nobody has said (a default)."""
    rows = list(WorkDay.objects.all())
    zone = zoneinfo.ZoneInfo(shop.time_zone)
    if not rows:
        return Hours(zone, {day: _USUAL for day in range(7) if day not in _FREE})
    return Hours(
        zone,
        {row.weekday: (row.opens, row.closes) for row in rows if row.opens and row.closes},
    )


def set_hours(
    days: Mapping[int, tuple[datetime.time, datetime.time] | None], *, who: Person
) -> None:
    """Write down the hours of each weekday; None for a day off. Call it in a transaction.

    Raises:
        InputError: a day ends before it begins.
    """
    for weekday, found in days.items():
        if found is not None and found[1] <= found[0]:
            raise InputError(f"{WEEKDAYS[weekday]} ends before it begins.")
    for weekday, found in days.items():
        opens, closes = found or (None, None)
        WorkDay.objects.update_or_create(
            weekday=weekday, defaults={"opens": opens, "closes": closes}
        )
    worked = [
        f"{WEEKDAYS[day]} {found[0]:%H:%M} to {found[1]:%H:%M}"
        for day, found in sorted(days.items())
        if found is not None
    ]
    write_event("calendar.hours", f"Working hours: {', '.join(worked) or 'none'}.", who=who)
