"""Private links: their tokens, who opens them, and that all that open nothing look alike."""

import datetime
import hashlib
import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pytest_django.fixtures import DjangoAssertNumQueries, Settings

from layflat.base import InputError
from layflat.web.jobs.models import Fault, Job, Stage
from layflat.web.links.models import PrivateLink, Purpose
from layflat.web.links.private import find, make, revoke, token_of
from layflat.web.people.models import Person, Role
from web.covered import a_job, kept, picture

Browser = Callable[[Role], Client]


@pytest.fixture
def job(people: dict[Role, Person]) -> Job:
    found = a_job(stage=Stage.INTAKE)
    thumb = kept(picture(), "thumb.jpg", "image/jpeg")
    kinds = [("repaint", True), ("old film", True), ("chip", False)]
    for number, (kind, is_warning) in enumerate(kinds, start=1):
        Fault.objects.create(
            job=found, number=number, kind=kind, panel="hood", is_warning=is_warning, thumb=thumb
        )
    return found


@pytest.fixture
def link(job: Job, people: dict[Role, Person]) -> PrivateLink:
    return make(job, Purpose.WARNINGS, days=30, who=people[Role.COUNTER])


def at(link: PrivateLink) -> str:
    return f"/for-you/vehicle/{token_of(link)}/"


def test_a_token_has_256_bits_and_is_not_kept(link: PrivateLink, job: Job) -> None:
    token = token_of(link)
    # 43 letters of base64url hold 258 bits: 32 bytes without padding (RFC 4648, 5).
    assert len(token) == 43
    assert set(token) <= set("ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_")
    assert link.digest == hashlib.sha256(token.encode()).hexdigest()
    row = PrivateLink.objects.values().get()
    assert token not in map(str, row.values())
    assert token_of(link) == token
    others = {token_of(make(job, Purpose.WARNINGS, days=1, who=None)) for _ in range(20)}
    assert len(others | {token}) == 21


def test_another_secret_key_opens_nothing(link: PrivateLink, settings: Settings) -> None:
    token = token_of(link)
    assert find(token, Purpose.WARNINGS) == link
    settings.SECRET_KEY = "another one"
    assert token_of(link) == ""
    assert find(token, Purpose.WARNINGS) is None


def test_whoever_can_only_write_rows_cannot_make_a_token(link: PrivateLink) -> None:
    forged = "A" * 43
    PrivateLink.objects.update(digest=hashlib.sha256(forged.encode()).hexdigest())
    assert find(forged, Purpose.WARNINGS) is None


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(token=st.text(max_size=60))
def test_no_other_text_is_a_token(link: PrivateLink, token: str) -> None:
    assert (find(token, Purpose.WARNINGS) is not None) == (token == token_of(link))


def test_links_that_open_nothing_look_alike(
    client: Client, job: Job, link: PrivateLink, people: dict[Role, Person]
) -> None:
    assert client.get(at(link)).status_code == 200
    revoked, expired, other = (
        make(job, purpose, days=1, who=None)
        for purpose in (Purpose.WARNINGS, Purpose.WARNINGS, Purpose.OFFER)
    )
    revoke(revoked, who=people[Role.OWNER])
    past = timezone.now() - datetime.timedelta(seconds=1)
    PrivateLink.objects.filter(pk=expired.pk).update(expires_at=past)
    token = token_of(link)
    altered = ("B" if token[0] == "A" else "A") + token[1:]
    addresses = [
        at(revoked),
        at(expired),
        at(other),
        f"/for-you/vehicle/{altered}/",
        f"/for-you/vehicle/{token}x/",
        "/for-you/vehicle/unknown/",
        f"/for-you/vehicle/{altered}/1/picture.jpg",
        f"{at(link)}3/picture.jpg",
        f"{at(link)}99/picture.jpg",
        f"/for-you/offer/{token}/",
        f"/for-you/offer/{altered}/1/offer.pdf",
    ]
    answers = [client.get(address) for address in addresses]
    assert {answer.status_code for answer in answers} == {404}
    assert len({answer.content for answer in answers}) == 1
    assert len({tuple(sorted(answer.headers.items())) for answer in answers}) == 1
    assert "Please ask <strong>Lampwick Yard</strong>" in answers[0].content.decode()
    # A form that is sent there gets the same.
    sent = [client.post(address, {"name": "x"}) for address in (at(revoked), addresses[5])]
    assert {answer.content for answer in sent} == {answers[0].content}


def test_private_pages_keep_to_themselves(client: Client, link: PrivateLink) -> None:
    for address in (at(link), f"{at(link)}1/picture.jpg", "/for-you/vehicle/unknown/"):
        headers = client.get(address).headers
        assert headers["Referrer-Policy"] == "no-referrer"
        assert headers["Cache-Control"] == "no-store, private"
        assert headers["X-Robots-Tag"].startswith("noindex")
        assert "Set-Cookie" not in headers
        assert "unsafe" not in headers["Content-Security-Policy"]
    assert not client.cookies


def test_a_token_opens_nothing_but_its_own_page(
    client: Client, link: PrivateLink, people: dict[Role, Person]
) -> None:
    client.get(at(link))
    other = a_job("2031-0099", body=link.job.vehicle.body, customer="Other", plate="LW 1")
    Fault.objects.create(job=other, number=7, kind="repaint", is_warning=True)
    assert client.get(f"{at(link)}7/picture.jpg").status_code == 404
    assert "2031-0099" not in client.get(at(link)).content.decode()
    for address in (
        "/",
        f"/jobs/{link.job.number}/",
        f"/jobs/{link.job.number}/links/",
        f"/jobs/{link.job.number}/offer/",
        f"/jobs/{link.job.number}/warnings/",
    ):
        assert client.get(address).headers["Location"].startswith("/sign-in/")


def test_the_customer_acknowledges_without_an_account(link: PrivateLink, job: Job) -> None:
    stranger = Client(enforce_csrf_checks=True)
    page = stranger.get(at(link)).content.decode()
    assert "Old film" in page
    assert "chip" not in page.lower()
    form = {"once": uuid.uuid4().hex, "fault": ["1", "2"], "name": "Perrin Oake"}
    # What a browser sends as origin from a page that gives no referrer.
    answer = stranger.post(at(link), form, headers={"origin": "null"})
    assert answer.headers["Location"] == at(link)
    # A second tap finds the first one's answer.
    assert stranger.post(at(link), form).headers["Location"] == at(link)
    events = job.events.filter(kind="warning.acknowledged")
    assert [(event.by, event.who) for event in events] == [("Perrin Oake (customer)", None)] * 2
    assert all("through a private link" in event.sentence for event in events)
    assert "Nothing waits for you here" in stranger.get(at(link)).content.decode()


@pytest.mark.parametrize(
    ("form", "refused"),
    [
        ({"fault": ["1"], "name": " "}, "Type the name"),
        ({"name": "P"}, "Tick each warning"),
        ({"fault": ["3"], "name": "P"}, "Fault 3 has no warning that waits"),
        ({"fault": ["99999999999"], "name": "P"}, "Tick each warning"),
    ],
)
def test_what_is_missing_is_said_and_nothing_is_lost(
    client: Client, link: PrivateLink, job: Job, form: dict[str, Any], refused: str
) -> None:
    answer = client.post(at(link), {"once": uuid.uuid4().hex, **form})
    assert answer.status_code == 200
    assert refused in answer.content.decode()
    assert not job.events.filter(kind="warning.acknowledged").exists()


def test_openings_by_strangers_are_counted(
    client: Client, signed_in: Browser, link: PrivateLink
) -> None:
    client.get(at(link))
    client.get(at(link))
    signed_in(Role.COUNTER).get(at(link))
    link.refresh_from_db()
    assert link.opened == 2
    assert link.last_opened_at is not None


def test_the_shop_makes_shows_and_takes_back_links(
    signed_in: Browser, client: Client, job: Job
) -> None:
    counter = signed_in(Role.COUNTER)
    make_it = f"/jobs/{job.number}/links/make/"
    form = {"once": uuid.uuid4().hex, "purpose": "warnings", "days": "7"}
    assert counter.post(make_it, form).headers["Location"] == f"/jobs/{job.number}/links/#links"
    counter.post(make_it, form)  # a double tap
    made = PrivateLink.objects.get()
    shown = counter.get(f"/jobs/{job.number}/links/").content.decode()
    assert f"http://testserver{at(made)}" in shown
    assert abs(made.expires_at - timezone.now() - datetime.timedelta(days=7)).seconds < 60
    back = f"/jobs/{job.number}/links/{made.pk}/revoke/"
    counter.post(back, {"once": uuid.uuid4().hex})
    counter.post(back, {"once": uuid.uuid4().hex})
    assert client.get(at(made)).status_code == 404
    shown = counter.get(f"/jobs/{job.number}/links/").content.decode()
    assert "taken back" in shown
    assert at(made) not in shown
    kinds = list(job.events.values_list("kind", flat=True))
    assert kinds == ["link.made", "link.revoked"]


@pytest.mark.parametrize("days", ["0", "366", "", "x", "99999999999", "-1"])
def test_days_beyond_the_bounds_are_refused(signed_in: Browser, job: Job, days: str) -> None:
    form = {"once": uuid.uuid4().hex, "purpose": "warnings", "days": days}
    signed_in(Role.COUNTER).post(f"/jobs/{job.number}/links/make/", form)
    form = {"once": uuid.uuid4().hex, "purpose": "everything", "days": "3"}
    signed_in(Role.COUNTER).post(f"/jobs/{job.number}/links/make/", form)
    assert not PrivateLink.objects.exists()


def test_a_link_has_bounds(job: Job) -> None:
    with pytest.raises(InputError, match="1 to 365 days"):
        make(job, Purpose.OFFER, days=0, who=None)


def test_another_job_s_link_is_not_taken_back(signed_in: Browser, link: PrivateLink) -> None:
    a_job("2031-0099", body=link.job.vehicle.body)
    answer = signed_in(Role.OWNER).post(f"/jobs/2031-0099/links/{link.pk}/revoke/")
    assert answer.status_code == 404


@pytest.mark.parametrize("role", [*Role, None])
def test_who_may_open_the_list_of_links(
    signed_in: Browser, client: Client, link: PrivateLink, role: Role | None
) -> None:
    browser = signed_in(role) if role else client
    at_job = f"/jobs/{link.job.number}/links/"
    statuses = [
        browser.get(at_job).status_code,
        browser.post(f"{at_job}make/").status_code,
        browser.post(f"{at_job}{link.pk}/revoke/").status_code,
    ]
    expected = {None: [302] * 3, Role.INSTALLER: [403] * 3}
    assert statuses == expected.get(role, [200, 302, 302])


def test_lists_of_links_ask_little_of_the_database(
    signed_in: Browser, job: Job, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    for _ in range(30):
        make(job, Purpose.OFFER, days=30, who=None)
    browser = signed_in(Role.COUNTER)
    with django_assert_max_num_queries(6):
        browser.get(f"/jobs/{job.number}/links/")
    with django_assert_max_num_queries(6):
        Client().get(at(make(job, Purpose.WARNINGS, days=3, who=None)))


@pytest.mark.parametrize(
    ("host", "is_local"),
    [
        ("127.0.0.1:8017", True),
        ("localhost", True),
        ("[::1]:8017", True),
        ("yard.example:8017", False),
        ("192.0.2.7", False),
    ],
)
def test_an_address_that_no_phone_reaches_is_said_to_be_one(
    link: PrivateLink, signed_in: Browser, settings: Settings, host: str, is_local: bool
) -> None:
    settings.ALLOWED_HOSTS = ["*"]
    counter = signed_in(Role.COUNTER)
    shown = counter.get(f"/jobs/{link.job.number}/links/", HTTP_HOST=host).content.decode()
    assert f"http://{host}/for-you/vehicle/" in shown
    assert ("This address works on this computer only" in shown) == is_local
