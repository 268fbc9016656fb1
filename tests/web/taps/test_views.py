"""The address of taps: what tablets are answered, and browsers without scripts."""

import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from layflat.web.jobs.models import Job
from layflat.web.jobs.pictures import MOST_BYTES
from layflat.web.people.models import Person, Role
from layflat.web.record.models import Event
from layflat.web.taps.models import Tap
from web.taps.conftest import DEVICE, Done, key

pytestmark = pytest.mark.on_sqlite

Browser = Callable[[Role], Client]
People = dict[Role, Person]
BAY = "/jobs/2031-0042/"


def fields(number: int = 1, /, **changes: Any) -> dict[str, Any]:
    found = {"tap": key(number), "act": "sample.write", "job": "2031-0042", "text": f"tap {number}"}
    return {**found, "next": BAY, **changes}


def from_tablet(
    client: Client, person: Person, number: int = 1, /, **changes: Any
) -> tuple[int, Any]:
    sent = {"device": DEVICE, "number": str(number), "age_s": "2.5", "who": str(person.pk)}
    form = fields(number, **{**sent, **changes})
    answer = client.post("/taps/", form, headers={"accept": "application/json"})
    return answer.status_code, answer.json()


def test_a_tablet_is_told_what_came_of_it(
    signed_in: Browser, people: People, job: Job, done: Done
) -> None:
    client, ines = signed_in(Role.INSTALLER), people[Role.INSTALLER]
    assert from_tablet(client, ines) == (200, {"state": "done", "says": "Wrote “tap 1”."})
    assert from_tablet(client, ines)[1]["state"] == "done"
    refused = {"state": "refused", "says": "Piece 3 is laid already."}
    assert from_tablet(client, ines, 2, text="refuse") == (200, refused)
    status, told = from_tablet(client, ines, 5)
    assert (status, told["state"], told["wanted"]) == (409, "earlier", 3)
    assert from_tablet(client, ines, 3, text="full")[0] == 507
    assert Tap.objects.count() == 2
    call = done.calls[0]
    assert dict(call.fields) == {"text": "tap 1"}


def test_a_fault_is_500_and_the_tap_may_be_sent_again(
    signed_in: Browser, people: People, job: Job, done: Done
) -> None:
    client, ines = signed_in(Role.INSTALLER), people[Role.INSTALLER]
    client.raise_request_exception = False
    form = fields(text="fault", device=DEVICE, number="1", who=str(ines.pk))
    headers = {"accept": "application/json"}
    assert client.post("/taps/", form, headers=headers).status_code == 500
    assert not Tap.objects.exists()
    assert from_tablet(client, ines)[1]["state"] == "done"


def test_taps_of_another_person_wait_for_that_person(
    signed_in: Browser, people: People, job: Job, done: Done
) -> None:
    ines = people[Role.INSTALLER]
    status, told = from_tablet(signed_in(Role.OWNER), ines)
    assert (status, told["state"]) == (401, "sign-in")
    assert told["says"] == "Kept taps go in when installer is signed in."
    status, told = from_tablet(Client(), ines)
    assert (status, told["state"]) == (401, "sign-in")
    assert "installer" not in told["says"]
    for wrong in ("", "999999", "x"):
        assert from_tablet(signed_in(Role.OWNER), ines, who=wrong)[0] == 401
    assert not Tap.objects.exists()
    assert from_tablet(signed_in(Role.INSTALLER), ines)[1]["state"] == "done"


@pytest.mark.parametrize(
    "wrong",
    [{"device": ""}, {"device": "x" * 32}, {"number": "0"}, {"number": "-1"}, {"number": "1" * 20}],
)
def test_a_count_that_no_tablet_sends_is_not_understood(
    signed_in: Browser, people: People, job: Job, done: Done, wrong: dict[str, str]
) -> None:
    client, ines = signed_in(Role.INSTALLER), people[Role.INSTALLER]
    form = fields(**{"device": DEVICE, "number": "1", "who": str(ines.pk), **wrong})
    answer = client.post("/taps/", form, headers={"accept": "application/json"})
    assert answer.status_code == 400
    assert not Tap.objects.exists()


@pytest.mark.parametrize("age", ["", "soon", "nan", "-5", "1e999"])
def test_an_age_that_cannot_be_believed_is_noted(
    signed_in: Browser, people: People, job: Job, done: Done, age: str
) -> None:
    from_tablet(signed_in(Role.INSTALLER), people[Role.INSTALLER], age_s=age)
    assert Tap.objects.get().clock_note.startswith("The tablet's clock was changed")


def test_without_scripts_a_form_leads_on_with_the_sentence(
    signed_in: Browser, people: People, job: Job, done: Done
) -> None:
    client = signed_in(Role.INSTALLER)
    form = fields(who=str(people[Role.INSTALLER].pk))
    for _ in range(2):
        answer = client.post("/taps/", form, follow=True)
        assert answer.redirect_chain == [(BAY, 302)]
        assert "Wrote “tap 1”." in answer.content.decode()
    assert Tap.objects.get().device is None
    refused = client.post("/taps/", fields(2, text="refuse"), follow=True)
    assert "Piece 3 is laid already." in refused.content.decode()
    full = client.post("/taps/", fields(3, text="full"), follow=True)
    assert "No space left" in full.content.decode()
    assert Tap.objects.count() == 2


def test_a_form_of_another_person_s_page_is_not_done(
    signed_in: Browser, people: People, job: Job, done: Done
) -> None:
    form = fields(who=str(people[Role.INSTALLER].pk))
    answer = signed_in(Role.OWNER).post("/taps/", form, follow=True)
    assert "did not open this page" in answer.content.decode()
    assert not Tap.objects.exists()
    asked = Client().post("/taps/", form)
    assert asked.headers["Location"].startswith("/sign-in/?next=/jobs/2031-0042/")


def test_a_form_leads_nowhere_outside(signed_in: Browser, job: Job, done: Done) -> None:
    form = fields(next="https://elsewhere.example/")
    assert signed_in(Role.INSTALLER).post("/taps/", form).headers["Location"] == "/"


def test_pictures_reach_the_act_and_stay_out_of_the_row(
    signed_in: Browser, people: People, job: Job, done: Done
) -> None:
    photo = SimpleUploadedFile("IMG_7.jpg", b"pixels", content_type="image/jpeg")
    ines = people[Role.INSTALLER]
    _, told = from_tablet(signed_in(Role.INSTALLER), ines, photo=photo)
    assert told["state"] == "done"
    assert list(done.calls[0].files) == ["photo"]
    assert Tap.objects.get().fields == {"text": "tap 1"}


def test_a_picture_of_60_mb_is_refused_in_one_sentence(
    signed_in: Browser, people: People, job: Job, done: Done
) -> None:
    client, ines = signed_in(Role.INSTALLER), people[Role.INSTALLER]
    photo = SimpleUploadedFile("IMG_8.jpg", bytes(60_000_000), content_type="image/jpeg")
    status, told = from_tablet(client, ines, photo=photo)
    assert (status, told["state"]) == (200, "refused")
    assert told["says"] == (
        f"The picture is larger than {MOST_BYTES // 1_000_000} MB; take it with a lower resolution."
    )
    assert not done.calls
    assert Tap.objects.get().fields == {"text": "tap 1"}
    assert from_tablet(client, ines, 2)[1]["state"] == "done"


def test_what_is_about_the_tap_is_not_handed_to_the_act(
    signed_in: Browser, people: People, job: Job, done: Done
) -> None:
    client = signed_in(Role.INSTALLER)
    form = fields(who=str(people[Role.INSTALLER].pk), kind=["lint", "water"], tap=uuid.uuid4().hex)
    client.post("/taps/", form)
    assert dict(done.calls[0].fields) == {"text": "tap 1", "kind": "lint,water"}
    assert Event.objects.get(kind="sample.wrote").who == people[Role.INSTALLER]
