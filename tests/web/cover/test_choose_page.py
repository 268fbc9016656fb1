"""The page of a cover: who may look and change, what it shows, what it asks of the database."""

import re

import pytest
from django.test import Client
from django.utils import timezone
from pytest_django import DjangoAssertNumQueries
from pytest_django.fixtures import Settings

from layflat.web.cover.models import Cover
from layflat.web.people.models import Role
from layflat.web.work.models import State
from web.cover.domes import Domes
from web.cover.the_page import KEEP_TEXT, LINE_TEXT, Browser, Send, at, last_event, now

pytestmark = pytest.mark.on_sqlite

MOST_QUERIES = 15
GETS = ["", "?panel=left", "part/?panel=left", "vehicle.png"]
POSTS = [
    "change/",
    "back/1/",
    "compute/",
    "trace/",
    "copy/",
    "rename/",
    "drop/",
    "save/",
]


@pytest.mark.parametrize("what", GETS)
def test_everybody_of_the_shop_looks_and_strangers_do_not(
    cover: Cover, signed_in: Browser, what: str
) -> None:
    for role in Role:
        assert signed_in(role).get(at(cover, what)).status_code == 200
    asked = Client().get(at(cover, what))
    assert asked.headers["Location"].startswith("/sign-in/")


@pytest.mark.parametrize("what", POSTS)
def test_installers_and_strangers_change_nothing(
    cover: Cover, signed_in: Browser, what: str
) -> None:
    before = now(cover)
    form = {"kind": "whole", "panel": "right", "title": "Mine", "dropped": "yes"}
    assert signed_in(Role.INSTALLER).post(at(cover, what), form).status_code == 403
    asked = Client().post(at(cover, what), form)
    assert asked.headers["Location"].startswith("/sign-in/")
    assert signed_in(Role.COUNTER).get(at(cover, what)).status_code == 405
    assert now(cover) == before
    assert (cover.title, cover.is_dropped) == ("Nose only", False)


def test_an_installer_sees_no_price_and_no_form(cover: Cover, signed_in: Browser) -> None:
    seen = {role: signed_in(role).get(at(cover, "?panel=left")).content.decode() for role in Role}
    assert "Price" in seen[Role.COUNTER]
    assert "EUR" in seen[Role.COUNTER]
    installer = seen[Role.INSTALLER]
    assert "Price" not in installer
    assert "EUR" not in installer
    assert 'id="panel-title">Left' in installer
    assert "stays free" in installer
    assert at(cover, "change/") not in re.findall(r'action="([^"]*)"', installer)


def test_what_is_not_there_is_not_found(cover: Cover, signed_in: Browser) -> None:
    counter = signed_in(Role.COUNTER)
    for address in (
        f"/jobs/{cover.job.number}/cover/7/",
        "/jobs/2031-9999/cover/1/",
        f"/jobs/{cover.job.number}/cover/7/part/?panel=left",
        f"/jobs/{cover.job.number}/cover/1/of/1/layout.svg",
    ):
        assert counter.get(address).status_code == 404


def test_a_line_is_traced_while_it_is_drawn(cover: Cover, signed_in: Browser) -> None:
    counter = signed_in(Role.COUNTER)
    found = counter.post(at(cover, "trace/"), {"panel": "right", "line": LINE_TEXT}).json()
    assert len(found["line"]) > 10
    fault = counter.post(at(cover, "trace/"), {"panel": "right", "line": "[[1,2,3]]"}).json()
    assert "two points" in fault["fault"]
    assert now(cover).of("right") is None


def test_a_part_comes_as_triangles_for_the_viewer(
    cover: Cover, signed_in: Browser, send: Send
) -> None:
    counter = signed_in(Role.COUNTER)
    assert counter.get(at(cover, "part/?panel=left")).json() == {}
    send("line", "right", line=LINE_TEXT, keep=KEEP_TEXT)
    found = counter.get(at(cover, "part/?panel=right")).json()
    assert len(found["positions"]) % 3 == 0
    assert max(found["indices"]) == len(found["positions"]) // 3 - 1
    assert 0.3 < found["share"] < 0.8
    page = counter.get(at(cover)).content.decode()
    assert "&quot;parts&quot;: [{&quot;panel&quot;: &quot;right&quot;" in page


def test_the_picture_shows_film_where_it_is(cover: Cover, signed_in: Browser, send: Send) -> None:
    counter = signed_in(Role.COUNTER)
    bare = counter.get(at(cover, "vehicle.png"))
    assert bare.content[:4] == b"\x89PNG"
    assert bare.headers["Cache-Control"] == "no-store"
    send("whole", "right")
    more = counter.get(at(cover, "vehicle.png"))
    assert more.content != bare.content
    page = counter.get(f"/jobs/{cover.job.number}/cover/").content.decode()
    (named,) = re.findall(r'src="([^"]*vehicle.png[^"]*)"', page)
    assert "max-age" in counter.get(named).headers["Cache-Control"]


def test_computed_figures_stand_until_something_changes(
    cover: Cover, domes: Domes, signed_in: Browser, send: Send
) -> None:
    counter = signed_in(Role.COUNTER)
    asked = counter.post(at(cover, "compute/"), headers={"HX-Request": "true"}).content.decode()
    cover.refresh_from_db()
    assert cover.computation is not None
    assert f"computation-{cover.computation.pk}" in asked
    assert "quick estimate" in asked
    domes.finish(cover.computation)
    page = counter.get(at(cover)).content.decode()
    assert 'data-figures="computed"' in page
    assert "quick estimate" not in page
    assert at(cover, "fit/") in page
    layout = counter.get(at(cover, "of/1/layout.svg"))
    assert layout.headers["Content-Type"] == "image/svg+xml"
    assert "sandbox" in layout.headers["Content-Security-Policy"]
    later = send("whole", "right").content.decode()
    assert 'data-figures="estimate"' in later
    assert "computed before, for other choices" in later
    # Back at what was computed, its figures count again.
    counter.post(at(cover, f"back/{last_event().pk}/"))
    assert 'data-figures="computed"' in counter.get(at(cover)).content.decode()


def test_a_computation_that_failed_says_so_and_can_be_asked_again(
    cover: Cover, signed_in: Browser
) -> None:
    counter = signed_in(Role.COUNTER)
    counter.post(at(cover, "compute/"), headers={"HX-Request": "true"})
    cover.refresh_from_db()
    assert cover.computation is not None
    cover.computation.state, cover.computation.error = State.FAILED, "The disk is full."
    cover.computation.ended_at = timezone.now()
    cover.computation.save()
    page = counter.get(at(cover)).content.decode()
    assert "The disk is full." in page
    assert "Compute again" in page


def test_pages_ask_the_database_little(
    cover: Cover,
    signed_in: Browser,
    send: Send,
    domes: Domes,
    django_assert_max_num_queries: DjangoAssertNumQueries,
    settings: Settings,
) -> None:
    domes.measure()
    for i in range(2, 5):
        Cover.objects.create(
            job=cover.job,
            number=i,
            title=f"Alternative {i}",
            body=domes.revision,
            choices=cover.choices,
        )
    send("whole", "right")
    counter = signed_in(Role.COUNTER)
    number = cover.job.number
    for address in (
        at(cover, "?panel=left"),
        f"/jobs/{number}/cover/",
        f"/jobs/{number}/covers/",
        at(cover, "part/?panel=left"),
    ):
        with django_assert_max_num_queries(MOST_QUERIES):
            assert counter.get(address).status_code == 200


def test_the_sheet_alone_is_never_taken_for_the_page(cover: Cover, signed_in: Browser) -> None:
    counter = signed_in(Role.COUNTER)
    page, sheet = counter.get(at(cover)), counter.get(at(cover), headers={"HX-Request": "true"})
    for answer in (page, sheet):
        # What an answer depends on is named, so that caches keep both apart (RFC 9110, 12.5.5).
        assert "HX-Request" in answer.headers["Vary"]
    assert b"<title>" in page.content
    assert b"<title>" not in sheet.content
