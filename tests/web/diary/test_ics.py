"""Feeds against RFC 5545, read here by rules written down from it once more.

The rules below are a reading of RFC 5545 (September 2009) from memory of its text, by section; no
other program's reader checks them.
"""

import datetime
import re
import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from hypothesis import example, given
from hypothesis import strategies as st

from layflat.web.diary import booking as doing
from layflat.web.diary import feeds
from layflat.web.diary.ics import Item, calendar
from layflat.web.diary.models import Booking, Feed, Place
from layflat.web.people.models import Person, Role
from web.covered import a_body, a_job

WHEN = datetime.datetime(2031, 5, 19, 6, 0, tzinfo=datetime.UTC)


def read(data: bytes) -> dict[str, Any]:
    """A calendar read by RFC 5545: its properties and events; fails where it breaks a rule."""
    assert data.endswith(b"\r\n")  # 3.1: every content line ends with CRLF
    raw = data.split(b"\r\n")[:-1]
    assert all(b"\n" not in line and b"\r" not in line for line in raw)
    # 3.1: no line longer than 75 octets, the break excluded; each is whole characters here.
    assert all(len(line) <= 75 for line in raw)
    lines: list[str] = []
    for line in raw:
        text = line.decode("utf-8")
        if text.startswith(" "):
            lines[-1] += text[1:]  # 3.1: unfolding takes the break and one blank away
        else:
            lines.append(text)
    assert lines[0] == "BEGIN:VCALENDAR"
    assert lines[-1] == "END:VCALENDAR"
    found: dict[str, Any] = {"events": []}
    event: dict[str, str] | None = None
    for line in lines[1:-1]:
        name, _, value = line.partition(":")
        assert re.fullmatch(r"[A-Z-]+", name), line
        # 3.1: no control characters but the tab in a value.
        assert not re.search(r"[\x00-\x08\x0a-\x1f\x7f]", value)
        if line == "BEGIN:VEVENT":
            assert event is None
            event = {}
        elif line == "END:VEVENT":
            assert event is not None
            found["events"].append(_event(event))
            event = None
        else:
            place = found if event is None else event
            assert name not in place, f"{name} stands twice"  # each of these at most once
            place[name] = value
    assert found["VERSION"] == "2.0"  # 3.7.4, and 3.7.3: both must be there
    assert found["PRODID"]
    return found


def _event(event: dict[str, str]) -> dict[str, Any]:
    # 3.6.1: UID and DTSTAMP must be there, DTSTART where there is no METHOD; 3.8.7.2: in UTC.
    assert {"UID", "DTSTAMP", "DTSTART"} <= set(event)
    read: dict[str, Any] = dict(event)
    for name in ("DTSTAMP", "DTSTART", "DTEND", "LAST-MODIFIED"):
        assert re.fullmatch(r"\d{8}T\d{6}Z", event[name])  # 3.3.5, form 2
        read[name] = datetime.datetime.strptime(f"{event[name]}+0000", "%Y%m%dT%H%M%SZ%z")
    assert read["DTEND"] > read["DTSTART"]  # 3.8.2.2: later than the start
    assert event["STATUS"] in ("TENTATIVE", "CONFIRMED", "CANCELLED")  # 3.8.1.11
    assert int(event["SEQUENCE"]) >= 0
    for name in ("SUMMARY", "LOCATION"):
        if name in event:
            read[name] = _text(event[name])
    return read


def _text(value: str) -> str:
    """3.3.11: a backslash before backslash, semicolon, comma, n or N; those are nowhere bare."""
    assert re.fullmatch(r"(?:[^\\;,]|\\[\\;,nN])*", value), value
    marks = {"\\\\": "\\", "\\;": ";", "\\,": ",", "\\n": "\n", "\\N": "\n"}
    return re.sub(r"\\.", lambda found: marks[found.group()], value)


def item(**values: Any) -> Item:
    return Item(
        **{
            "uid": uuid.UUID(int=7),
            "sequence": 0,
            "changed_at": WHEN,
            "starts_at": WHEN,
            "ends_at": WHEN + datetime.timedelta(hours=1),
            "summary": "Lay",
            **values,
        }
    )


@given(summary=st.text(max_size=200), location=st.text(max_size=60))
@example(summary="x" * 200, location="")
@example(summary="a" + "ö" * 120, location="\N{SQUARED CL}" * 50)
def test_whatever_is_written_is_read_again(summary: str, location: str) -> None:
    summary, location = (text.encode(errors="replace").decode() for text in (summary, location))
    (event,) = read(calendar([item(summary=summary, location=location)]))["events"]
    plain = re.sub(r"\r\n?", "\n", summary)
    kept = re.sub(r"[\x00-\x09\x0b-\x1f\x7f-\x9f]", " ", plain)
    assert event["SUMMARY"] == kept


def test_times_are_utc_wherever_they_were_meant() -> None:
    import zoneinfo

    vienna = WHEN.astimezone(zoneinfo.ZoneInfo("Europe/Vienna"))
    (event,) = read(calendar([item(starts_at=vienna)]))["events"]
    assert event["DTSTART"] == WHEN


@pytest.fixture
def placed(people: dict[Role, Person]) -> Booking:
    job = a_job(body=a_body(), customer="Perrin Oake")
    bay = Place.objects.create(name="Bay 1; left, by the door", kind=Place.Kind.BAY)
    now = datetime.datetime.now(datetime.UTC).replace(microsecond=0)
    wanted = doing.Wanted(
        job=job,
        work="lay",
        words="Perrin Oake brings the key",
        place=bay,
        people=[people[Role.INSTALLER]],
        starts_at=now + datetime.timedelta(days=1),
        ends_at=now + datetime.timedelta(days=1, hours=4),
    )
    return doing.place(wanted, who=people[Role.COUNTER])


def events(address: str) -> list[dict[str, Any]]:
    answer = Client().get(address)
    assert answer.status_code == 200
    assert answer.headers["Content-Type"] == "text/calendar; charset=utf-8"
    found: list[dict[str, Any]] = read(answer.content)["events"]
    return found


def test_a_feed_follows_its_bookings_and_tells_no_customer(
    people: dict[Role, Person], placed: Booking, signed_in: Callable[[Role], Client]
) -> None:
    browser = signed_in(Role.INSTALLER)
    form = {"once": "a" * 32, "whose": "shop"}  # an installer gets the own one only
    assert browser.post("/calendar/feeds/", form).status_code == 302
    feed = Feed.objects.get()
    assert feed.person == people[Role.INSTALLER]
    page = browser.get("/calendar/feeds/").content.decode()
    found = re.search(r'value="http://testserver(/calendar/feed/[^"]+)"', page)
    assert found is not None
    (event,) = events(found.group(1))
    assert event["UID"] == str(placed.uid)
    assert event["SEQUENCE"] == "0"
    assert event["STATUS"] == "CONFIRMED"
    assert event["LOCATION"] == "Bay 1; left, by the door"
    assert event["SUMMARY"] == "Lay: job 2031-0042, Tarnholm Siskwing"
    assert b"Perrin" not in Client().get(found.group(1)).content
    doing.withdraw(doing.locked_booking(placed.pk), withdrawn=True, who=people[Role.COUNTER])
    (event,) = events(found.group(1))
    assert (event["STATUS"], event["SEQUENCE"]) == ("CANCELLED", "1")
    assert event["UID"] == str(placed.uid)
    assert event["DTSTAMP"] >= placed.changed_at.replace(microsecond=0)
    # Taken back, unknown, altered, of somebody who left: all answered with the same bytes.
    address = found.group(1)
    unknown = Client().get("/calendar/feed/nothing.ics")
    people[Role.INSTALLER].is_active = False
    people[Role.INSTALLER].save()
    left = Client().get(address)
    people[Role.INSTALLER].is_active = True
    people[Role.INSTALLER].save()
    altered = Client().get(address.replace(".ics", "A.ics"))
    browser.post(f"/calendar/feeds/{feed.pk}/revoke/", {"once": "b" * 32})
    revoked = Client().get(address)
    for answer in (left, altered, revoked):
        assert answer.status_code == unknown.status_code == 404
        assert answer.content == unknown.content
        assert answer.headers.items() == unknown.headers.items()


def test_the_shop_s_feed_has_all_and_is_not_an_installer_s(
    people: dict[Role, Person], placed: Booking
) -> None:
    shop = feeds.make(None, who=people[Role.COUNTER])
    own = feeds.make(people[Role.COUNTER], who=people[Role.COUNTER])
    assert len(read(feeds.text_of(shop))["events"]) == 1
    assert read(feeds.text_of(own))["events"] == []
    assert feeds.feeds_of(people[Role.INSTALLER]) == []
    assert feeds.feeds_of(people[Role.COUNTER]) == [shop, own]
    with pytest.raises(Exception, match="no such feed"):
        feeds.revoke(own.pk, who=people[Role.INSTALLER])
