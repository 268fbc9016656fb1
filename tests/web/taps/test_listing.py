"""Taps that did not go in are shown until a person has settled them."""

from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection, transaction
from django.http import Http404
from django.test import Client
from django.test.utils import CaptureQueriesContext

from layflat.base import InputError
from layflat.web.jobs.models import Job
from layflat.web.people.models import Person, Role
from layflat.web.record.models import Event
from layflat.web.taps.doing import do
from layflat.web.taps.listing import count_unsettled, settle_tap
from layflat.web.taps.models import Tap
from layflat.web.taps.order import Sent
from web.taps.conftest import DEVICE, Done, key

Browser = Callable[[Role], Client]
People = dict[Role, Person]


def refused(people: People, number: int = 1, *, sent: Sent | None = None) -> Tap:
    fields = {"text": "refuse this", "left_empty": "", "cut": "4711"}
    who = people[Role.INSTALLER]
    return do("sample.write", key=key(number), who=who, job="2031-0042", fields=fields, sent=sent)


def listed(client: Client, more: str = "") -> str:
    answer: Any = client.get("/taps/" + more)
    assert answer.status_code == 200
    return str(answer.content.decode())


def test_each_is_shown_with_who_when_what_and_why(
    signed_in: Browser, people: People, job: Job, done: Done
) -> None:
    assert "Everything went in" in listed(signed_in(Role.COUNTER))
    late = Sent(device=DEVICE, number=1, age_s=-5.0)
    refused(people, sent=late)
    do("sample.write", key=key(2), who=people[Role.OWNER], job=job.number, fields={"text": "well"})
    text = listed(signed_in(Role.COUNTER))
    for shown in (
        "installer wanted to write something down",
        "Piece 3 is laid already.",
        "installer",
        "2031-0042",
        "refuse this",
        "The tablet&#x27;s clock was changed",
    ):
        assert shown in text
    assert "left empty" not in text.lower()
    assert "4711" not in text
    assert "well" not in text


def test_the_board_says_that_something_did_not_go_in(
    signed_in: Browser, people: People, job: Job, done: Done
) -> None:
    counter = signed_in(Role.COUNTER)
    assert "did not go in" not in counter.get("/").content.decode()
    refused(people)
    assert "1 tap in the bay did not go in" in counter.get("/").content.decode()


def test_a_person_settles_it_with_words(
    signed_in: Browser, people: People, job: Job, done: Done
) -> None:
    row, owner = refused(people), signed_in(Role.OWNER)
    form = {"once": "1" * 32, "how": "  laid  anew "}
    for _ in range(2):
        assert owner.post(f"/taps/{row.pk}/settled/", form).headers["Location"] == "/taps/"
    row.refresh_from_db()
    assert (row.settled_how, row.settled_by) == ("laid anew", people[Role.OWNER])
    assert "Everything went in" in listed(owner)
    assert "laid anew (owner," in listed(owner, "?all=yes")
    event = Event.objects.get(kind="taps.settled")
    assert (event.job, event.who) == (job, people[Role.OWNER])
    assert event.sentence == "Settled what did not go in (write something down): laid anew"


def test_the_second_to_settle_is_told_of_the_first(
    people: People, job: Job, done: Done, signed_in: Browser
) -> None:
    row = refused(people)
    first = {"once": "1" * 32, "how": "laid anew"}
    signed_in(Role.OWNER).post(f"/taps/{row.pk}/settled/", first)
    second = {"once": "2" * 32, "how": "not needed"}
    told = signed_in(Role.COUNTER).post(f"/taps/{row.pk}/settled/", second, follow=True)
    assert "owner has settled that already: “laid anew”." in told.content.decode()
    row.refresh_from_db()
    assert row.settled_how == "laid anew"


def test_without_words_it_is_not_settled(people: People, job: Job, done: Done) -> None:
    row = refused(people)
    with pytest.raises(InputError, match="Say how it was settled"), transaction.atomic():
        settle_tap(row.pk, how="  ", who=None)
    assert count_unsettled() == 1


def test_what_was_done_cannot_be_settled(people: People, job: Job, done: Done) -> None:
    row = do("sample.free", key=key(1), who=people[Role.OWNER])
    with pytest.raises(Http404), transaction.atomic():
        settle_tap(row.pk, how="x", who=None)


def test_a_tap_that_is_set_aside_is_not_done_and_shown(
    people: People, job: Job, done: Done, signed_in: Browser
) -> None:
    """The server fails on it again and again; a person gives it up so that the others go in."""
    ines = people[Role.INSTALLER]
    form = {"tap": key(1), "act": "sample.write", "job": job.number, "text": "fault"}
    tablet = {"device": DEVICE, "number": "1", "age_s": "1", "who": str(ines.pk)}
    answer = signed_in(Role.INSTALLER).post(
        "/taps/", {**form, **tablet, "set_aside": "yes"}, headers={"accept": "application/json"}
    )
    assert answer.json()["state"] == "refused"
    assert not done.calls
    row = Tap.objects.get()
    assert (row.number, row.job, row.fields) == (1, job, {"text": "fault"})
    assert row.says.startswith("The server failed on it again and again")


def test_the_list_asks_little_of_the_database(
    people: People, job: Job, done: Done, signed_in: Browser
) -> None:
    for number in range(1, 30):
        refused(people, number)
    owner = signed_in(Role.OWNER)
    with CaptureQueriesContext(connection) as queries:
        listed(owner)
    assert len(queries) <= 6
