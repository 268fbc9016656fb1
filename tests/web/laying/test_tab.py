"""The tab "Lay", mixes, and pictures, as people of each role see them."""

from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from layflat.web.cover.models import Piece
from layflat.web.cutting.models import Cut
from layflat.web.gates.models import Kind, Step
from layflat.web.jobs.models import Job
from layflat.web.laying.bay_tab import AS_CUT, TOP_DOWN, read
from layflat.web.laying.models import Laying
from layflat.web.people.models import Person, Role, Shop
from web.bayed import an_accepted_job, in_the_bay, laid, some_cuts
from web.covered import details, kept, picture
from web.fit.rows import with_plan
from web.laying.shop import ready_to_lay, tap

pytestmark = pytest.mark.on_sqlite

Browser = Callable[[Role], Client]


def page(browser: Client, number: str = "2031-0042") -> str:
    answer = browser.get(f"/jobs/{number}/bay/")
    assert answer.status_code == 200
    text: str = answer.content.decode()
    return text


def test_a_piece_says_what_laying_it_asks_for(
    people: dict[Role, Person], signed_in: Browser
) -> None:
    _, (hood, _) = ready_to_lay()
    Piece.objects.filter(pk=hood.piece_id).update(
        effort="care", warnings=["Warm the film at the left corner."], title="Hood"
    )
    text = page(signed_in(Role.INSTALLER))
    for words in (
        "0 of 2 laid",
        "ready to lay",
        "needs care",
        "Warm the film at the left corner.",
        "Wrapped 8 mm: front",
        "1.5 mm short: left, right",
        "emblem, may stand over radar",
        "better two people",
        "Begin 1",
        "1 is laid",
    ):
        assert words in text, words
    assert "style=" not in text


def test_a_piece_says_how_it_is_laid_if_that_was_computed(
    people: dict[Role, Person], signed_in: Browser
) -> None:
    _, (hood, _) = ready_to_lay()
    piece = Piece.objects.get(pk=hood.piece_id)
    assert "How it is laid" not in page(signed_in(Role.INSTALLER))
    with_plan(piece)
    text = page(signed_in(Role.INSTALLER))
    assert text.count("How it is laid") == 1
    for words in (
        "Anchor at O: tack there.",
        "309 mm",
        "Strokes overlap by a third",
        "From O to the front.",
        "/1/plan.svg",
    ):
        assert words in text, words


def test_a_closed_gate_is_named_beside_each_piece(people: dict[Role, Person]) -> None:
    job, _ = ready_to_lay()
    who = people[Role.INSTALLER]
    assert [row.word for row in read(job, who)["lay_rows"]] == ["ready to lay"] * 2
    Step.objects.filter(job=job, kind=Kind.CUT).update(state=Step.State.OPEN)
    job = Job.objects.get(pk=job.pk)
    rows = read(job, who)["lay_rows"]
    assert [(row.shape, row.word) for row in rows] == [
        ("waiting", "weeded, waits for cutting and weeding")
    ] * 2


def test_lengths_stand_in_the_shops_unit(people: dict[Role, Person], shop: Shop) -> None:
    job, _ = ready_to_lay()
    Shop.objects.update(inches=True)
    found = read(job, people[Role.INSTALLER])
    assert found["lay_rows"][0].ends == ("Wrapped 0.31 in: front", "0.06 in short: left, right")


def test_the_order_is_that_of_laying_and_says_where_it_comes_from(
    people: dict[Role, Person],
) -> None:
    job, (hood, roof) = ready_to_lay()
    assert read(job, people[Role.OWNER])["lay_order"] == AS_CUT
    for cut, turn in ((hood, 2), (roof, 1)):
        Piece.objects.filter(pk=cut.piece_id).update(details=details(lay=turn))
    job = type(job).objects.get(pk=job.pk)
    found = read(job, people[Role.OWNER])
    assert found["lay_order"] == TOP_DOWN
    assert [row.film.piece.title for row in found["lay_rows"]] == ["roof", "hood"]


def test_states_of_pieces(people: dict[Role, Person], signed_in: Browser) -> None:
    job, (hood, roof) = ready_to_lay()
    ines = people[Role.INSTALLER]
    tap("laying.began", ines, job, cut=hood.pk)
    text = page(signed_in(Role.INSTALLER))
    assert "in hand: installer" in text
    assert "nobody has 1 in hand" in text
    tap("laying.ended", ines, job, cut=hood.pk, hard="the <b>corner</b>")
    Cut.objects.filter(pk=roof.pk).update(state=Cut.State.LOST)
    text = page(signed_in(Role.INSTALLER))
    assert "Laid by installer" in text
    assert "the &lt;b&gt;corner" in text
    assert "to be laid out" in text
    assert "Waits for its film" in text
    assert "1 of 2 laid" in text


def test_a_closed_gate_is_said(people: dict[Role, Person], signed_in: Browser) -> None:
    job, outcome = an_accepted_job()
    some_cuts(job, outcome)
    in_the_bay(job)
    assert "Film is laid after iron removal" in page(signed_in(Role.INSTALLER))


def test_a_counter_person_sees_the_list_without_what_is_tapped(
    people: dict[Role, Person], signed_in: Browser
) -> None:
    ready_to_lay()
    text = page(signed_in(Role.COUNTER))
    assert "ready to lay" in text
    assert "laying.began" not in text
    assert "laying.began" in page(signed_in(Role.OWNER))


def test_more_pieces_ask_no_more_of_the_database(people: dict[Role, Person]) -> None:
    asked = []
    for number, panels in (("2031-0042", ("a", "b")), ("2031-0043", tuple("abcdefgh"))):
        job, cuts = ready_to_lay(number, panels=panels)
        for cut in cuts:
            laid(cut, people[Role.INSTALLER])
        with CaptureQueriesContext(connection) as queries:
            assert len(read(job, people[Role.OWNER])["lay_rows"]) == len(panels)
        asked.append(len(queries))
    assert asked[0] == asked[1]
    assert asked[0] <= 11


def test_pictures_are_of_their_job_only(people: dict[Role, Person], signed_in: Browser) -> None:
    _, (hood, _) = ready_to_lay()
    ready_to_lay("2031-0043")
    photo = kept(picture("#123456"), "photo.jpg", "image/jpeg")
    laying = laid(hood, people[Role.INSTALLER])
    Laying.objects.filter(pk=laying.pk).update(photo=photo, thumb=photo)
    browser = signed_in(Role.COUNTER)
    assert browser.get(f"/jobs/2031-0042/laying/{photo.sha256}/").status_code == 200
    assert browser.get(f"/jobs/2031-0043/laying/{photo.sha256}/").status_code == 404
    assert browser.get(f"/jobs/2031-0042/laying/{hood.piece.map.sha256}/").status_code == 404
    assert Client().get(f"/jobs/2031-0042/laying/{photo.sha256}/").status_code == 302


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({}, ("5.0 ml", "995 ml", "214 ml", "786 ml", "suits 21 °C")),
        ({"amount": "2,5"}, ("How much is between 50 and 20000 ml",)),
        ({"amount": "ten"}, ("write a number",)),
        ({"tack": "30"}, ("between 10 and 25",)),
        ({"bottle": "nan"}, ("between 25 and 100",)),
        ({"amount": "500", "tack": "25", "bottle": "99.9"}, ("125 ml", "375 ml")),
        ({"bay": "31"}, ("warmer than the bay should be",)),
    ],
)
def test_mixes_are_worked_out_without_a_script(
    people: dict[Role, Person], signed_in: Browser, asked: dict[str, str], words: Any
) -> None:
    answer = signed_in(Role.INSTALLER).get("/mixes/", asked)
    text = answer.content.decode()
    assert answer.status_code == 200
    for word in words:
        assert word in text
    assert "no hot air until it has dried off" in text.lower()


def test_what_cannot_be_begun_yet_says_why_and_stays_within_reach(
    people: dict[Role, Person], signed_in: Browser
) -> None:
    job, _ = ready_to_lay()
    browser = signed_in(Role.INSTALLER)
    assert "data-lay-waits" not in page(browser)
    Step.objects.filter(job=job, kind=Kind.CUT).update(state=Step.State.OPEN)
    text = page(browser)
    assert 'id="lay-not-now"' in text
    shown = ' aria-describedby="lay-not-now">Begin 1</button>'
    assert shown in text
    assert text.count("data-lay-waits") == 2
