"""Recall by lot: every car that carries film of it, and nothing else, in one step."""

import html
from collections.abc import Callable

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from layflat.web.cutting.models import Cut
from layflat.web.finding.lots import recall
from layflat.web.handback.models import Passport
from layflat.web.jobs.models import Customer, Job
from layflat.web.people.models import Person, Role, Shop
from layflat.web.stock.booking import cut_offcut
from layflat.web.stock.models import Roll
from web.bayed import a_roll, an_accepted_job, laid, some_cuts
from web.covered import kept

Browser = Callable[[Role], Client]
PANELS = ("hood", "door-left")


def a_cut_job(number: str, roll: Roll, *people: Person, laid_count: int = 2) -> list[Cut]:
    """A job whose pieces are cut from a roll; the first of them are laid."""
    job, outcome = an_accepted_job(number, plate=f"LW {number[-3:]}", customer=f"Customer {number}")
    cuts = some_cuts(job, outcome, roll=roll)
    for cut in cuts[:laid_count]:
        laid(cut, *people)
    return cuts


def test_every_car_with_film_of_the_lot_is_found_and_no_other(
    people: dict[Role, Person],
) -> None:
    ines = people[Role.INSTALLER]
    roll, other = a_roll(lot="LW-7731"), a_roll(lot="LW-7732")
    offcut = cut_offcut(roll, width_mm=700, length_mm=2_000, place="box", who=None)
    a_cut_job("2031-0101", roll, ines)
    a_cut_job("2031-0102", other, ines)
    half = a_cut_job("2031-0103", offcut, ines, laid_count=1)
    found = recall("LW-7731")
    assert found is not None
    assert [car.job.number for car in found.cars] == ["2031-0103", "2031-0101"]
    assert [len(car.pieces) for car in found.cars] == [1, 2]
    assert found.cars[0].pieces[0].laid_by == ("installer",)
    assert found.cars[0].pieces[0].roll == offcut
    assert [one.cut for one in found.at_hand] == [half[1]]
    assert found.rolls == (roll, offcut)
    assert found.left_mm == 15_000
    assert recall("LW-77") is None


def test_film_that_came_off_again_is_carried_no_more(people: dict[Role, Person]) -> None:
    cuts = a_cut_job("2031-0101", a_roll(), people[Role.INSTALLER])
    Cut.objects.filter(pk=cuts[0].pk).update(state=Cut.State.LOST, lost_because="remade")
    found = recall("LW-7731")
    assert found is not None
    assert [piece.cut for piece in found.cars[0].pieces] == [cuts[1]]
    Cut.objects.filter(pk=cuts[1].pk).update(state=Cut.State.LOST, lost_because="remade")
    found = recall("LW-7731")
    assert found is not None
    assert not found.cars
    assert not found.at_hand


def test_a_lot_that_is_written_in_two_ways_is_one(people: dict[Role, Person]) -> None:
    for number, lot in enumerate(("LW-7731", "lw 7731"), start=1):
        a_cut_job(f"2031-010{number}", a_roll(lot=lot), people[Role.INSTALLER])
    found = recall("lw 7731")
    assert found is not None
    assert len(found.cars) == 2
    assert found.written == ("lw 7731", "LW-7731")


STATES = [Cut.State.PLACED, Cut.State.CUT, Cut.State.WEEDED, Cut.State.LAID, Cut.State.LOST]


@given(
    states=st.lists(
        st.tuples(st.integers(0, 2), st.sampled_from(STATES), st.sampled_from(STATES)), max_size=4
    )
)
@settings(
    max_examples=12,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
def test_whatever_became_of_the_pieces_those_on_cars_are_told(
    shop: Shop, states: list[tuple[int, Cut.State, Cut.State]]
) -> None:
    for model in (Cut,):
        model.objects.all().delete()
    rolls = [a_roll(lot=lot) for lot in ("A1", "A-1", "B1")]
    start = Job.objects.count()
    carried, at_hand = set(), set()
    for place, (which, *of_pieces) in enumerate(states):
        cuts = a_cut_job(f"2031-{start + place:04d}", rolls[which], laid_count=0)
        for cut, state in zip(cuts, of_pieces, strict=True):
            Cut.objects.filter(pk=cut.pk).update(state=state)
            if which < 2 and state == Cut.State.LAID:
                carried.add(cut.pk)
            if which < 2 and state in (Cut.State.CUT, Cut.State.WEEDED):
                at_hand.add(cut.pk)
    found = recall("a1")
    assert found is not None
    assert {piece.cut.pk for car in found.cars for piece in car.pieces} == carried
    assert {one.cut.pk for one in found.at_hand} == at_hand


def test_the_page_says_who_to_call_to_those_who_call(
    signed_in: Browser, people: dict[Role, Person]
) -> None:
    cuts = a_cut_job("2031-0101", a_roll(), people[Role.INSTALLER], laid_count=1)
    Customer.objects.update(phone="555 0143", email="wendla@example.org")
    job = cuts[0].section.layout.job
    pdf = kept(b"%PDF-1.7", "passport.pdf", "application/pdf")
    for version in (1, 2):
        Passport.objects.create(job=job, version=version, content={}, sha256="0" * 64, pdf=pdf)
    for role in Role:
        page = signed_in(role).get("/lots/LW-7731/").content.decode()
        for words in ("2031-0101", "LW 101", "Customer 2031-0101", "passport version 2"):
            assert words in page
        assert "by installer" in page
        for contact in ("555 0143", "wendla@example.org"):
            assert (contact in page) == (role is not Role.INSTALLER)


@pytest.mark.parametrize("lot", ["77/31", "Ü 5 & 6", "100%", "a?b#c"])
def test_a_lot_may_be_written_with_any_sign(
    signed_in: Browser, people: dict[Role, Person], lot: str
) -> None:
    roll = a_roll(lot=lot)
    a_cut_job("2031-0101", roll, people[Role.INSTALLER])
    browser = signed_in(Role.OWNER)
    link = browser.get("/find/", {"q": lot}).headers["Location"]
    assert browser.get(link).context["recall"].cars[0].job.number == "2031-0101"
    assert link in html.unescape(browser.get(f"/stock/{roll.pk}/").content.decode())


def test_there_is_no_such_lot(signed_in: Browser) -> None:
    assert signed_in(Role.OWNER).get("/lots/LW-1/").status_code == 404


def test_it_asks_the_same_of_the_database_however_many_cars_there_are(
    signed_in: Browser, people: dict[Role, Person]
) -> None:
    browser, roll, asked = signed_in(Role.OWNER), a_roll(), []
    for turn in range(2):
        for place in range(2):
            number = f"2031-02{turn}{place}"
            a_cut_job(number, roll, people[Role.INSTALLER], people[Role.COUNTER])
        with CaptureQueriesContext(connection) as queries:
            assert len(browser.get("/lots/LW-7731/").context["recall"].cars) == 2 * turn + 2
        asked.append(len(queries))
    assert asked[0] == asked[1] <= 12
