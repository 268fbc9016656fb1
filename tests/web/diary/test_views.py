"""Placing works through the pages: who may, two editors, double taps, bad input, undo."""

import datetime
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client

from layflat.web.diary.models import Booking, Place, WorkDay
from layflat.web.diary.on_job import concerned_jobs
from layflat.web.jobs.models import Job
from layflat.web.people.models import Person, Role
from layflat.web.record.models import Event
from web.bayed import an_accepted_job

pytestmark = pytest.mark.on_sqlite

Browser = Callable[[Role], Client]
ONCE = "a" * 32


def form(**values: Any) -> dict[str, Any]:
    return {
        "once": ONCE,
        "work": "",
        "words": "Day off",
        "starts_day": "2031-05-19",
        "starts_time": "08:00",
        "ends_day": "2031-05-19",
        "ends_time": "10:00",
        "place": "",
        **values,
    }


@pytest.fixture
def job(people: dict[Role, Person]) -> Job:
    return an_accepted_job()[0]


def test_a_booking_is_placed_once_changed_and_taken_out(signed_in: Browser, job: Job) -> None:
    counter = signed_in(Role.COUNTER)
    sent = form(job=job.number, work="wash", words="")
    for _ in range(2):
        assert counter.post("/calendar/new/", sent).status_code == 302
    made = Booking.objects.get()
    assert made.job == job
    change = f"/calendar/booking/{made.pk}/change/"
    counter.post(change, form(once="b" * 32, work="wash", ends_time="11:00", seen="1"))
    stale = counter.post(change, form(once="c" * 32, work="wash", ends_time="12:00", seen="1"))
    assert "Somebody changed it meanwhile" in stale.content.decode()
    made.refresh_from_db()
    assert (made.version, made.ends_at.hour) == (2, 11)
    out = f"/calendar/booking/{made.pk}/out/"
    counter.post(out, {"once": "d" * 32, "withdrawn": "yes"})
    gone = counter.post(change, form(once="e" * 32, work="wash", ends_time="12:00", seen="3"))
    assert "put it back first" in gone.content.decode()
    counter.post(out, {"once": "f" * 32, "withdrawn": "no"})
    kinds = Event.objects.filter(job=job, kind__startswith="calendar.").order_by("pk")
    assert [event.kind.removeprefix("calendar.") for event in kinds] == [
        "placed",
        "changed",
        "withdrawn",
        "restored",
    ]
    assert "Take out or move" in counter.get(f"/jobs/{job.number}/").content.decode()


@pytest.mark.parametrize(
    ("values", "said"),
    [
        ({"ends_time": "08:00"}, "It ends before it starts"),
        ({"ends_day": "2031-08-19"}, "longer than a month"),
        ({"words": " "}, "Say what it is"),
        ({"starts_day": "9999-12-31", "ends_day": "9999-12-31"}, "too far away"),
        ({"job": "2099-0001"}, "There is no job 2099-0001"),
        ({"work": "fly"}, "Select a valid choice"),
        ({"place": "99"}, "Select a valid choice"),
        ({"people": ["99"]}, "Select a valid choice"),
        ({"starts_time": "soon"}, "Enter a valid time"),
    ],
)
def test_what_makes_no_booking_is_refused_in_words(
    signed_in: Browser, people: dict[Role, Person], values: dict[str, Any], said: str
) -> None:
    answer = signed_in(Role.COUNTER).post("/calendar/new/", form(**values))
    assert answer.status_code == 200
    assert said in answer.content.decode()
    assert not Booking.objects.exists()


def test_installers_look_and_move_nothing(signed_in: Browser, job: Job) -> None:
    signed_in(Role.COUNTER).post("/calendar/new/", form(job=job.number, work="lay"))
    made = Booking.objects.get()
    installer = signed_in(Role.INSTALLER)
    page = installer.get(f"/calendar/booking/{made.pk}/").content.decode()
    assert "The counter or the owner moves it." in page
    assert installer.post(f"/calendar/booking/{made.pk}/change/", form()).status_code == 403
    assert installer.post(f"/calendar/booking/{made.pk}/out/").status_code == 403
    assert installer.get("/calendar/new/").status_code == 403
    assert "Place something" not in installer.get("/calendar/").content.decode()


def test_all_works_are_placed_and_the_rest_is_proposed_again(signed_in: Browser, job: Job) -> None:
    counter = signed_in(Role.COUNTER)
    address = f"/calendar/job/{job.number}/"
    page = counter.get(f"{address}?day=2031-05-19")
    assert "Times come from the computed cover." in page.content.decode()
    rows = page.context["rows"]
    sent: dict[str, Any] = {"once": ONCE, "rows": str(len(rows))}
    for place, row in enumerate(rows):
        if row["planned"].work.key == "hand-back":
            continue
        first = row["form"].initial
        sent |= {
            f"{place}-take": "yes",
            f"{place}-work": first["work"],
            f"{place}-starts_day": first["starts_day"].isoformat(),
            f"{place}-starts_time": f"{first['starts_time']:%H:%M}",
            f"{place}-ends_day": first["ends_day"].isoformat(),
            f"{place}-ends_time": f"{first['ends_time']:%H:%M}",
            f"{place}-place": first["place"] or "",
        }
    for _ in range(2):
        assert counter.post(address, sent).status_code == 302
    assert Booking.objects.count() == len(rows) - 1
    (left,) = counter.get(address).context["rows"]
    assert left["planned"].work.key == "hand-back"
    assert left["planned"].starts_at >= max(b.ends_at for b in Booking.objects.all())
    nothing = counter.post(address, {"once": "b" * 32, "rows": "x"}, follow=True)
    assert "Tick the works" in nothing.content.decode()
    # With nothing wrong the board has nothing to say; a promise at risk it says.
    assert concerned_jobs() == {}
    day = datetime.datetime.now(datetime.UTC)
    Booking.objects.update(starts_at=day, ends_at=day + datetime.timedelta(hours=1))
    Job.objects.update(promised=day.date() - datetime.timedelta(days=1))
    assert job.pk in concerned_jobs()


def test_hours_and_places_are_the_shop_s(signed_in: Browser, people: dict[Role, Person]) -> None:
    counter = signed_in(Role.COUNTER)
    assert "These are a default" in counter.get("/calendar/settings/").content.decode()
    wrong = {"once": ONCE, "opens-0": "17:00", "closes-0": "08:00"}
    answer = counter.post("/calendar/settings/hours/", wrong)
    assert "Monday ends before it begins." in answer.content.decode()
    assert not WorkDay.objects.exists()
    right = {"once": "b" * 32, "opens-5": "09:00", "closes-5": "12:30"}
    counter.post("/calendar/settings/hours/", right)
    assert Event.objects.filter(sentence="Working hours: Saturday 09:00 to 12:30.").exists()
    counter.post("/calendar/settings/", {"once": "c" * 32, "name": "Bay 2", "kind": "bay"})
    again = counter.post("/calendar/settings/", {"once": "d" * 32, "name": "bay 2", "kind": "bay"})
    assert "There is a “bay 2” already." in again.content.decode()
    bay = Place.objects.get(name="Bay 2")
    counter.post(f"/calendar/settings/place/{bay.pk}/", {"once": "e" * 32, "retired": "yes"})
    bay.refresh_from_db()
    assert bay.is_retired


@pytest.mark.parametrize("day", ["", "yesterday", "0001-01-01", "9999-12-31", "2031-02-30"])
def test_a_day_that_is_none_is_today(
    signed_in: Browser, people: dict[Role, Person], day: str
) -> None:
    assert signed_in(Role.INSTALLER).get(f"/calendar/?day={day}").status_code == 200
