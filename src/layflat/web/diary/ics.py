"""Calendars as iCalendar text (RFC 5545); reads nothing but what it is handed.

Lines end with CRLF and are folded at 75 octets (3.1), text is escaped (3.3.11), times are UTC
(3.3.5, form 2), and each event has a UID that stays, a DTSTAMP and a SEQUENCE (3.8.4.7, 3.8.7.2,
3.8.7.4). What was taken out stays as a cancelled event, so that other calendars take it out too.
"""

import datetime
import uuid
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Final

MEDIA_TYPE: Final = "text/calendar; charset=utf-8"
_MOST_OCTETS: Final = 75
_HEAD: Final = (
    "BEGIN:VCALENDAR",
    "VERSION:2.0",
    "PRODID:-//Layflat//Calendar 1//EN",
    "CALSCALE:GREGORIAN",
)


@dataclass(frozen=True, kw_only=True)
class Item:
    """One event of a calendar.

    Attributes:
        uid: the same for as long as it exists.
        sequence: how often it was changed.
        changed_at: when it was changed last.
        starts_at, ends_at: when it lies.
        summary: what it is, in a few words.
        location: where, or "".
        is_cancelled: whether it was taken out.
    """

    uid: uuid.UUID
    sequence: int
    changed_at: datetime.datetime
    starts_at: datetime.datetime
    ends_at: datetime.datetime
    summary: str
    location: str = ""
    is_cancelled: bool = False


def calendar(items: Iterable[Item]) -> bytes:
    """A calendar of events."""
    lines = [*_HEAD]
    for item in items:
        lines.extend(_event(item))
    lines.append("END:VCALENDAR")
    return b"".join(folded(line) + b"\r\n" for line in lines)


def _event(item: Item) -> Iterator[str]:
    yield "BEGIN:VEVENT"
    yield f"UID:{item.uid}"
    yield f"DTSTAMP:{utc(item.changed_at)}"
    yield f"LAST-MODIFIED:{utc(item.changed_at)}"
    yield f"SEQUENCE:{item.sequence}"
    yield f"DTSTART:{utc(item.starts_at)}"
    yield f"DTEND:{utc(item.ends_at)}"
    yield f"SUMMARY:{escaped(item.summary)}"
    if item.location:
        yield f"LOCATION:{escaped(item.location)}"
    yield f"STATUS:{'CANCELLED' if item.is_cancelled else 'CONFIRMED'}"
    yield "END:VEVENT"


def utc(moment: datetime.datetime) -> str:
    """A moment as DATE-TIME in UTC; seconds are as fine as it goes."""
    return moment.astimezone(datetime.UTC).strftime("%Y%m%dT%H%M%SZ")


def escaped(text: str) -> str:
    """A text as a TEXT value; control characters, which none may hold, become blanks."""
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    text = "".join(one if one == "\n" or _is_allowed(one) else " " for one in text)
    for plain, mark in (("\\", "\\\\"), (";", "\\;"), (",", "\\,"), ("\n", "\\n")):
        text = text.replace(plain, mark)
    return text


def _is_allowed(one: str) -> bool:
    return one.isprintable() or (ord(one) > 0x9F and not 0xD800 <= ord(one) <= 0xDFFF)


def folded(line: str) -> bytes:
    """A line as octets, folded so that none of it is longer than 75; no character is torn."""
    parts: list[bytes] = []
    part = b""
    for one in line:
        octets = one.encode()
        # What follows a fold begins with a blank, which counts.
        room = _MOST_OCTETS - (1 if parts else 0)
        if len(part) + len(octets) > room:
            parts.append(part)
            part = b""
        part += octets
    parts.append(part)
    return b"\r\n ".join(parts)
