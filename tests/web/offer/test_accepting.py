"""The customer's yes: once, for what was seen, within its time, by a link or at the counter."""

import threading
from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection, transaction
from django.db.models import QuerySet
from django.test import Client

from layflat.base import InputError, LayflatError
from layflat.web.jobs.models import Job, Stage
from layflat.web.jobs.views.common import locked_job
from layflat.web.links.models import PrivateLink
from layflat.web.links.private import revoke
from layflat.web.offer.accepting import accept
from layflat.web.offer.models import Acceptance, Offer
from layflat.web.offer.money import OwnLine
from layflat.web.offer.standing import State, today, versions_of
from layflat.web.people.models import Person, Role, Shop
from web.covered import a_cover, a_job, an_outcome
from web.offer.conftest import yes

Browser = Callable[[Role], Client]
Made = Callable[..., Offer]
Sent = Callable[..., dict[str, Any]]


def test_a_customer_accepts_in_a_browser_of_his_own(
    made: Made, job: Job, page: str, link: PrivateLink
) -> None:
    offer = made(message="As discussed.")
    stranger = Client(enforce_csrf_checks=True)
    shown = stranger.get(page).content.decode()
    for words in (
        "Nose only",
        "Nose and doors",
        "EUR 1\u00a0825.92",
        "As discussed.",
        "What stays free of film",
    ):
        assert words in shown
    answer = stranger.post(page, yes(offer), headers={"origin": "null"})
    assert answer.headers["Location"] == page
    acceptance = Acceptance.objects.get()
    assert (acceptance.offer, acceptance.alternative, acceptance.sha256) == (offer, 2, offer.sha256)
    assert (acceptance.name, acceptance.through, acceptance.heard_by) == ("Perrin Oake", link, None)
    job.refresh_from_db()
    assert job.stage == Stage.ACCEPTED
    event = job.events.get(kind="offer.accepted")
    assert (event.who, event.by) == (None, "Perrin Oake (customer)")
    assert "accepted “Nose and doors” of version 1" in event.sentence
    assert "EUR" not in event.sentence
    # From now on the page shows exactly that.
    shown = stranger.get(page).content.decode()
    assert "What you accepted" in shown
    assert "Nose only" not in shown
    assert " ".join(offer.sha256[start : start + 4] for start in (0, 4, 8)) in shown
    assert "<form" not in shown
    assert stranger.get(f"{page}1/offer.pdf").headers["Content-Type"] == "application/pdf"


def test_a_double_tap_does_nothing_twice(made: Made, job: Job, page: str, client: Client) -> None:
    offer = made()
    for _ in range(3):
        assert client.post(page, yes(offer)).headers["Location"] == page
    assert Acceptance.objects.count() == 1
    assert job.events.filter(kind="offer.accepted").count() == 1
    # The other alternative is not taken in its place.
    other = client.post(page, yes(offer, alternative="1")).content.decode()
    assert "has been accepted already" in other
    assert Acceptance.objects.get().alternative == 2


@pytest.mark.parametrize(
    ("change", "refused"),
    [
        ({"agreed": ""}, "Tick that you have read it"),
        ({"name": "  "}, "Type the name"),
        ({"alternative": ""}, "Choose one"),
        ({"alternative": "3"}, "Choose one"),
        ({"alternative": "99999"}, "Choose one"),
        ({"sha256": ""}, "changed in the meantime"),
    ],
)
def test_what_is_missing_is_said(
    made: Made, page: str, client: Client, change: dict[str, str], refused: str
) -> None:
    offer = made()
    answer = client.post(page, yes(offer, **change))
    assert refused in answer.content.decode()
    assert not Acceptance.objects.exists()
    if "name" not in change:
        assert 'value="Perrin Oake"' in answer.content.decode()


def test_what_was_read_before_a_newer_version_is_not_accepted(
    made: Made, job: Job, page: str, client: Client
) -> None:
    old = made()
    new = made(covers=tuple(cover.pk for cover in job.covers.all()[:1]))
    shown = client.post(page, yes(old, alternative="1")).content.decode()
    assert "Please read version 2 below" in shown
    assert "No longer offered: “Nose and doors”." in shown
    assert not Acceptance.objects.exists()
    assert client.post(page, yes(new, alternative="1")).status_code == 302
    states = [version.state for version in versions_of(job, Shop.objects.get())]
    assert states == [State.ACCEPTED, State.SUPERSEDED]


def test_an_offer_that_ran_out_is_read_and_not_accepted(
    made: Made, job: Job, page: str, client: Client, shop: Shop
) -> None:
    offer = made()
    QuerySet(Offer).update(valid_until=today(shop))
    assert versions_of(job, shop)[0].state is State.OPEN
    QuerySet(Offer).update(valid_until=today(shop) - timedelta(days=1))
    shown = client.get(page).content.decode()
    assert "This offer ran out" in shown
    assert "<form" not in shown
    assert "has run out" in client.post(page, yes(offer)).content.decode()
    assert not Acceptance.objects.exists()


def test_a_withdrawn_offer_is_neither_shown_nor_accepted(
    made: Made, job: Job, page: str, client: Client, signed_in: Browser, sent: Sent
) -> None:
    offer = made()
    signed_in(Role.OWNER).post(f"/jobs/{job.number}/back/", sent(reason="A mistake."))
    shown = client.get(page)
    assert shown.status_code == 200
    assert "No offer is open" in shown.content.decode()
    assert "1\u00a0825.92" not in shown.content.decode()
    assert "was taken back" in client.post(page, yes(offer)).content.decode()
    assert client.get(f"{page}1/offer.pdf").status_code == 404
    assert client.get(f"{page}1/1/vehicle.glb").status_code == 404
    assert not Acceptance.objects.exists()


def test_a_closed_job_s_offer_is_not_accepted(
    made: Made, job: Job, page: str, client: Client
) -> None:
    offer = made()
    Job.objects.update(stage=Stage.CLOSED)
    assert "No offer is open" in client.get(page).content.decode()
    client.post(page, yes(offer))
    assert not Acceptance.objects.exists()


def test_after_a_change_the_customer_sees_what_differs_from_the_yes(
    made: Made, job: Job, page: str, client: Client, signed_in: Browser, sent: Sent
) -> None:
    client.post(page, yes(made()))
    signed_in(Role.COUNTER).post(f"/jobs/{job.number}/back/", sent(reason="One door more"))
    shown = client.get(page).content.decode()
    assert "is preparing a new version" in shown
    assert "What you accepted" in shown
    second = made(message="With the other door.")
    shown = client.get(page).content.decode()
    assert "What changed since version 1, which was accepted" in shown
    assert "The message: “With the other door” instead of nothing." in shown
    assert client.get(f"{page}1/offer.pdf").status_code == 200
    client.post(page, yes(second))
    assert Acceptance.objects.count() == 2
    assert [v.state for v in versions_of(job, Shop.objects.get())] == [State.ACCEPTED] * 2


def test_a_yes_is_heard_at_the_counter(
    made: Made, job: Job, signed_in: Browser, sent: Sent, people: dict[Role, Person]
) -> None:
    offer = made()
    counter = signed_in(Role.COUNTER)
    form = sent(sha256=offer.sha256, alternative="1", name="Perrin Oake")
    counter.post(f"/jobs/{job.number}/offer/hear/", form)
    counter.post(f"/jobs/{job.number}/offer/hear/", form)
    acceptance = Acceptance.objects.get()
    assert (acceptance.heard_by, acceptance.through) == (people[Role.COUNTER], None)
    event = job.events.get(kind="offer.accepted")
    assert (event.who, event.by) == (people[Role.COUNTER], "Perrin Oake (customer)")
    assert "as counter heard" in event.sentence
    # An older page of the counter's accepts nothing either.
    Job.objects.update(stage=Stage.COVER)
    newer = made(message="Other.")
    counter.post(f"/jobs/{job.number}/offer/hear/", sent(**{**form, "once": "", **sent()}))
    assert not Acceptance.objects.filter(offer=newer).exists()


@pytest.mark.django_db(transaction=True)
def test_two_at_once_cannot_both_accept(
    made: Made, job: Job, link: PrivateLink, shop: Shop, database: str
) -> None:
    offer = made()
    # SQLite's database of tests lies in memory and takes one at a time; the browser tests send two
    # at once to one in a file.
    at_once = database == "postgres"
    begin, told = threading.Barrier(2 if at_once else 1), []

    def say_yes(alternative: int) -> None:
        try:
            begin.wait(120)
            with transaction.atomic():
                accept(
                    locked_job(job.number),
                    seen=offer.sha256,
                    alternative=alternative,
                    name=f"Number {alternative}",
                    shop=shop,
                    through=link,
                )
            told.append("yes")
        except LayflatError as error:
            told.append(str(error))
        finally:
            connection.close()

    threads = [threading.Thread(target=say_yes, args=[place]) for place in (1, 2)]
    for thread in threads:
        thread.start()
        if not at_once:
            thread.join(120)
    for thread in threads:
        thread.join(120)
    assert sorted(told) == ["This version has been accepted already; see below what was.", "yes"]
    assert Acceptance.objects.count() == 1
    assert job.events.filter(kind="offer.accepted").count() == 1


def test_a_job_without_an_offer_has_nothing_to_accept(job: Job, shop: Shop) -> None:
    with pytest.raises(InputError, match="There is no offer yet"):
        accept(job, seen="", alternative=1, name="P", shop=shop)


def test_a_link_opens_the_files_of_what_is_shown_and_no_others(
    made: Made, job: Job, page: str, client: Client, link: PrivateLink
) -> None:
    old = made()
    made(covers=tuple(cover.pk for cover in job.covers.all()[:1]))
    other_job = a_job("2031-0099", body=job.vehicle.body, plate="LW 1")
    other = an_outcome(a_cover(other_job, "Other"))
    data = client.get(f"{page}2/1/vehicle.glb")
    assert data.headers["Content-Type"] == "model/gltf-binary"
    assert data.content == b"glb of %d" % job.covers.all()[0].pk
    assert client.get(f"{page}2/1/lines.json").status_code == 200
    assert client.get(f"{page}2/1/picture.png").headers["Content-Type"] == "image/png"
    for what in (
        f"{old.version}/offer.pdf",
        "1/1/vehicle.glb",
        "2/2/vehicle.glb",
        "2/0/vehicle.glb",
        "2/1/report.json",
        f"2/1/{other.shown.sha256}",
        "3/offer.pdf",
    ):
        assert client.get(page + what).status_code == 404, what
    revoke(link, who=None)
    assert client.get(f"{page}2/1/vehicle.glb").status_code == 404
    assert client.get(page).status_code == 404


def test_a_long_difference_shows_its_beginning(
    made: Made, job: Job, page: str, client: Client
) -> None:
    made()
    own = tuple(OwnLine(f"Line {number}", Decimal(number)) for number in range(1, 6))
    made(own=own)
    shown = client.get(page).content.decode()
    first, rest = shown.split("All that changed")
    # Of each alternative the sum and five new lines.
    assert first.count("new line: Line") == 6
    assert rest.count("new line: Line") == 4


def test_a_page_without_an_offer_says_so(page: str, client: Client, job: Job) -> None:
    shown = client.get(page)
    assert shown.status_code == 200
    assert "Keep this link: the next version appears here." in shown.content.decode()


def test_a_link_that_is_taken_back_while_the_customer_reads_accepts_nothing(
    made: Made, job: Job, shop: Shop, link: PrivateLink
) -> None:
    offer = made()
    seen = PrivateLink.objects.get(pk=link.pk)
    revoke(link, who=None)
    job.refresh_from_db()
    with pytest.raises(InputError, match="This link has run out; nothing was accepted"):
        accept(job, seen=offer.sha256, alternative=1, name="Perrin Oake", shop=shop, through=seen)
    assert not Acceptance.objects.exists()
    assert Job.objects.get(pk=job.pk).stage == Stage.OFFERED


@pytest.mark.parametrize(("form", "looks"), [("iso", "%Y-%m-%d"), ("month", "%m/%d/%Y")])
def test_the_customer_reads_days_of_a_difference_as_the_shop_writes_them(
    made: Made, shop: Shop, page: str, form: str, looks: str
) -> None:
    made(valid_days=10)
    until = made(valid_days=20).valid_until
    shop.date_form = form
    shop.save()
    shown = Client().get(page).content.decode()
    assert f"The offer is valid until: “{until:{looks}}” instead of" in shown


def test_a_refusal_stands_where_what_is_missing_goes(made: Made, page: str) -> None:
    offer = made()
    shown = Client().post(page, yes(offer, name="")).content.decode()
    accept_at = shown.index('id="accept"')
    assert f'action="{page}#not-yet"' in shown
    assert shown.index('id="not-yet"') > accept_at
    # Another version than the one that was read is said before it is read.
    made(message="Other.")
    shown = Client().post(page, yes(offer)).content.decode()
    assert shown.index('id="not-yet"') < shown.index('id="accept"')
    assert shown.count('id="not-yet"') == 1
