"""A correction from another shop, and what is noted here on what it cuts."""

import re
from collections.abc import Callable

import numpy as np
import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from layflat.revise import History
from layflat.web.corrections.reading import facts_for, revisions_of
from layflat.web.corrections.taking import take_correction
from layflat.web.noting.bay_tab import read
from layflat.web.noting.correcting import (
    ask_correction,
    fill,
    is_new,
    keep_correction,
    noted_on,
    take_back,
)
from layflat.web.noting.models import FitNote
from layflat.web.noting.spots import drawn_at
from layflat.web.people.models import Person, Role
from revise.panel import fits, short
from web.noting.test_noting import HALF
from web.noting.three_cars import BELLIED, a_car, job_of, note, the_body
from web.shaping.brought import finish

pytestmark = pytest.mark.on_sqlite
People = dict[Role, Person]
THEIRS = [short(450.0, -24.0, 2.0, car="2", name="2"), fits(0.0, 300.0, car="2", name="3")]


def test_what_another_shop_noted_counts_until_its_revision_is_taken_back(people: People) -> None:
    ines, odile = people[Role.INSTALLER], people[Role.OWNER]
    theirs = History(BELLIED).revised(THEIRS)
    came = {"shop": "Mere Lane Film", "key": "00", "number": 1}
    taken = take_correction(
        the_body(), "hood", theirs, came=came, said="Came.", who=odile, at=timezone.now()
    )
    assert taken is not None
    cut = a_car("2031-2065", ines, pattern=theirs.pattern(), revision=1)
    note(cut, ines, "fits", np.array([900.0, 300.0]))
    assert is_new(the_body(), "hood", noted_on(the_body())[0], taken)
    done = finish(ask_correction(the_body(), "hood", who=odile))
    made = fill(the_body(), "hood")
    assert made is not None, done.error
    second = keep_correction(made, who=odile, at=timezone.now())
    assert [each["name"] for each in second.figures["notes"]] == [
        "Mere Lane Film no. 1 note 1",
        "Mere Lane Film no. 1 note 2",
        "2031-2065 note 1",
    ]
    # Where this shop noted nothing it is moved as the other shop's notes say.
    largest = theirs.revision(1).summary.largest_mm
    assert second.figures["largest_mm"] == pytest.approx(largest, abs=0.4)
    assert largest > 1.0
    assert not is_new(the_body(), "hood", noted_on(the_body())[0], second)
    for _ in range(2):
        take_back(the_body(), "hood", who=odile, at=timezone.now())
    assert not revisions_of(facts_for(the_body(), ["hood"]))
    finish(ask_correction(the_body(), "hood", who=odile))
    alone = fill(the_body(), "hood")
    assert alone is not None
    assert [each["name"] for each in alone.figures["notes"]] == ["2031-2065 note 1"]


def test_a_note_that_was_left_out_asks_for_no_other_revision(people: People) -> None:
    ines, odile = people[Role.INSTALLER], people[Role.OWNER]
    whole, half = a_car("2031-2064", ines), a_car("2031-2065", ines, pattern=HALF)
    note(whole, ines, "short", np.array([450.0, 0.0]), first_mm="1.5")
    note(half, ines, "short", np.array([200.0, 0.0]), first_mm="9")
    finish(ask_correction(the_body(), "hood", who=odile))
    made = fill(the_body(), "hood")
    assert made is not None
    kept = keep_correction(made, who=odile, at=timezone.now())
    assert kept.figures["left_out"] == ["2031-2065 note 1"]
    assert not is_new(the_body(), "hood", noted_on(the_body())[0], kept)
    note(whole, ines, "fits", np.array([900.0, 300.0]))
    assert is_new(the_body(), "hood", noted_on(the_body())[0], kept)


def test_a_note_is_drawn_where_it_is_meant_and_keeps_its_tap(people: People) -> None:
    ines = people[Role.INSTALLER]
    cut = a_car("2031-2064", ines)
    note(cut, ines, "fits", np.array([820.0, 310.0]))
    note(cut, ines, "corner", np.array([60.0, 70.0]), first_mm="1", second_mm="0.5")
    note(cut, ines, "shift", np.array([300.0, 300.0]), first_mm="1", second_mm="0")
    edge, corner, shifted = FitNote.objects.select_related("cut__piece__pattern").order_by("number")
    # The edge of 600 mm bellies by its bulge of 0.08 times half of that, 24 mm.
    assert drawn_at(edge) == pytest.approx((924.0, 310.0), abs=1.0)
    assert drawn_at(corner) == pytest.approx((0.0, 0.0), abs=1e-6)
    assert drawn_at(shifted) == (300.0, 300.0)
    assert (edge.x_mm, edge.y_mm) == (820.0, 310.0)
    (row,) = read(job_of(cut), ines)["fit_rows"]
    assert [one.number for one in row.marks] == [1, 2, 3]
    assert row.marks[1].x == pytest.approx(row.map.at(0.0, 0.0)[0], abs=0.1)


def test_a_note_is_taken_back_from_the_corrections_too(
    people: People, signed_in: Callable[[Role], Client]
) -> None:
    cut = a_car("2031-2064", people[Role.INSTALLER])
    note(cut, people[Role.INSTALLER], "fits", np.array([820.0, 310.0]))
    corin = signed_in(Role.COUNTER)
    address = reverse("noting:piece", args=[the_body().pk, "hood"])
    page = corin.get(address).content.decode()
    form = page[page.index('action="/taps/') :]
    fields = dict(re.findall(r'name="(\w+)" value="([^"]*)"', form[: form.index("</form>")]))
    assert (fields["act"], fields["fit_note"], fields["next"]) == (
        "noting.withdrawn",
        "1",
        address,
    )
    for _ in range(2):
        assert corin.post("/taps/", fields)["Location"] == address
    assert FitNote.objects.get().withdrawn_by == people[Role.COUNTER]
    assert "Nothing that counts." in corin.get(address).content.decode()
