"""Fit notes by the app's own acts, and the corrections that come of them."""

from collections.abc import Callable

import numpy as np
import pytest
from django.db.models import ProtectedError
from django.test import Client
from django.utils import timezone

from layflat.base import FloatArray, InputError
from layflat.pattern import Curve, Pattern, place
from layflat.revise import Outline, apply, same_shape
from layflat.web.corrections.models import Correction
from layflat.web.corrections.reading import current_of, facts_for, past_of, revisions_of
from layflat.web.noting.correcting import (
    ask_correction,
    fill,
    keep_correction,
    noted_on,
    take_back,
)
from layflat.web.noting.models import FitNote
from layflat.web.people.models import Person, Role
from layflat.web.record.models import Event
from layflat.web.taps.models import Tap
from revise.panel import outline_of
from web.laying.shop import tap
from web.noting.three_cars import BELLIED, a_car, job_of, note, noted_by, the_body
from web.shaping.brought import finish

pytestmark = pytest.mark.on_sqlite
Browser = Callable[[Role], Client]
People = dict[Role, Person]
LOW, RIGHT = np.array([450.0, 0.0]), np.array([900.0, 300.0])


def found(who: Person) -> Correction:
    """The next correction of the hood, made at once."""
    done = finish(ask_correction(the_body(), "hood", who=who))
    made = fill(the_body(), "hood")
    assert made is not None, done.error
    return made


def cut_now(pattern: Pattern) -> Pattern:
    """What the next car's hood is cut by, where *pattern* was computed for it."""
    revision = revisions_of(facts_for(the_body(), ["hood"])).get("hood")
    return pattern if revision is None else apply(revision, pattern).pattern


def test_three_cars_make_the_next_pattern_right_and_it_is_taken_back(people: People) -> None:
    """Notes of a known warp with 0.5 mm of reading noise, as typed: under 0.3 mm afterwards."""
    ines, odile = people[Role.INSTALLER], people[Role.OWNER]
    rng = np.random.default_rng(1)
    ways, phase = rng.normal(size=(4, 2)) / 400.0, rng.uniform(0, 6, 4)
    high = rng.normal(size=(4, 2)) * 2.0

    def warp(points: FloatArray) -> FloatArray:
        return np.asarray(np.cos(points @ ways.T + phase) @ high)

    cars = [a_car(f"2031-{2064 + i}", ines) for i in range(3)]
    for cut in cars:
        noted_by(cut, ines, warp, rng)
    kept = keep_correction(found(odile), who=odile, at=timezone.now())
    assert (kept.number, kept.figures["cars"]) == (1, 3)
    outline = outline_of(BELLIED)
    along = outline.points(np.arange(0.0, outline.length_mm, 10.0))
    goal = along + warp(along)

    def misfit(pattern: Pattern) -> float:
        shape = Outline(pattern.outline, pattern.outline_corners)
        return float(np.sqrt(np.mean(shape.nearest(goal)[1] ** 2)))

    assert misfit(BELLIED) > 1.0
    corrected = cut_now(BELLIED)
    assert misfit(corrected) < 0.3
    # The next car's scan may bring the same piece elsewhere in the flat; only shapes count.
    lie = {"turn_deg": 140.0, "x_mm": 300.0, "y_mm": -90.0}
    there = cut_now(place(BELLIED, **lie))
    away = Outline(place(corrected, **lie).outline, None)
    assert away.nearest(there.outline.points_mm)[1].max() < 0.02
    # What is noted on the next car counts from what was laid there.
    later = a_car("2031-2067", ines, pattern=corrected, revision=1)
    assert note(later, ines, "fits", corrected.outline.points_mm[1]).state == Tap.State.DONE
    second = keep_correction(found(odile), who=odile, at=timezone.now())
    assert second.number == 2
    assert misfit(cut_now(BELLIED)) < 0.35
    # Taken back one after the other; at last the first pattern, to the last bit.
    assert take_back(the_body(), "hood", who=odile, at=timezone.now()).number == 2
    assert same_shape(cut_now(BELLIED), corrected)
    take_back(the_body(), "hood", who=odile, at=timezone.now())
    assert cut_now(BELLIED) is BELLIED
    assert past_of(the_body(), "hood").last == 2
    with pytest.raises(InputError, match="nothing to take back"):
        take_back(the_body(), "hood", who=odile, at=timezone.now())
    # Numbers are never given twice.
    third = keep_correction(found(odile), who=odile, at=timezone.now())
    assert third.number == 3
    kinds = Event.objects.filter(kind__startswith="correction.").values_list("kind", flat=True)
    assert list(kinds.order_by("pk")) == [
        "correction.kept",
        "correction.kept",
        "correction.back",
        "correction.back",
        "correction.kept",
    ]


def test_a_cut_out_is_moved_as_it_was_seen_on_the_picture(people: People) -> None:
    ines, odile = people[Role.INSTALLER], people[Role.OWNER]
    hole = Curve(np.array([[430.0, 300.0], [470.0, 300.0]]), np.array([-1.0, -1.0]))
    cut = a_car("2031-2064", ines, pattern=Pattern("hood", BELLIED.outline, cut_outs=(hole,)))
    said = note(cut, ines, "shift", np.array([446.0, 304.0]), first_mm="-2", second_mm="1,5")
    assert said.says.endswith("cut-out off by 2 mm to the left and 1.5 mm to the top.")
    kept = keep_correction(found(odile), who=odile, at=timezone.now())
    (moved,) = revisions_of(facts_for(the_body(), ["hood"]))["hood"].pattern.cut_outs
    # Up on the picture is x of the pattern, left is y.
    shift = (moved.points_mm - hole.points_mm).mean(axis=0)
    assert shift == pytest.approx([1.5, 2.0], abs=0.35)
    assert kept.figures["notes"][0]["where"] == "at cut-out 1"


@pytest.mark.parametrize(
    ("kind", "fields", "says"),
    [
        ("", {}, "Choose how it fits"),
        ("loose", {"first_mm": "1"}, "Choose how it fits"),
        ("short", {}, "Say how much: “Short by”"),
        ("short", {"first_mm": "-1"}, "must lie between 0 and 50 mm"),
        ("short", {"first_mm": "51"}, "must lie between 0 and 50 mm"),
        ("short", {"first_mm": "nan"}, "as a number"),
        ("short", {"first_mm": "a lot"}, "as a number"),
        ("short", {"first_mm": "1", "x_mm": ""}, "Tap the place"),
        ("short", {"first_mm": "1", "x_mm": "1e9"}, "not on the piece"),
        ("finger", {"first_mm": "1"}, "how long the stretch is"),
        ("over", {"first_mm": "1", "along_mm": "2001"}, "between 0 and 2000 mm"),
        ("corner", {"first_mm": "1"}, "Over the edge after it"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_noted(
    people: People, kind: str, fields: dict[str, str], says: str
) -> None:
    ines = people[Role.INSTALLER]
    cut = a_car("2031-2064", ines)
    sent = {"x_mm": 450.0, "y_mm": 0.0, **fields}
    refused = tap("noting.noted", ines, job_of(cut), cut=cut.pk, fit=kind, **sent)
    assert refused.state == Tap.State.REFUSED
    assert says in refused.says
    assert not FitNote.objects.exists()


def test_a_note_that_is_taken_back_counts_no_more(people: People) -> None:
    ines = people[Role.INSTALLER]
    cut = a_car("2031-2064", ines)
    note(cut, ines, "short", LOW, first_mm="1.5", note=" by  the left ")
    note(cut, ines, "fits", RIGHT, along_mm="200")
    (noted,) = noted_on(the_body())
    assert [one.kind for one in noted.notes] == ["short", "fits"]
    assert noted.notes[0].words == "by the left"
    back = tap("noting.withdrawn", ines, job_of(cut), fit_note=1)
    assert back.says == "Fit note 1 is taken back; no correction rests on it from now on."
    assert [one.number for one in noted_on(the_body())[0].notes] == [2]
    again = tap("noting.withdrawn", ines, job_of(cut), fit_note=1)
    assert "was taken back already" in again.says
    assert "no such fit note" in tap("noting.withdrawn", ines, job_of(cut), fit_note="x²").says
    # The third is no second one.
    note(cut, ines, "fits", LOW)
    assert FitNote.objects.last() == FitNote.objects.get(number=3)


def test_a_glove_s_tap_is_meant_for_the_nearest_edge_or_corner(people: People) -> None:
    ines, odile = people[Role.INSTALLER], people[Role.OWNER]
    cut = a_car("2031-2064", ines)
    note(cut, ines, "fits", np.array([820.0, 310.0]))
    note(cut, ines, "corner", np.array([60.0, 70.0]), first_mm="1", second_mm="0.5")
    made = found(odile)
    fits, corner = (one["where"] for one in made.figures["notes"])
    places = revisions_of({"hood": {"number": 1, "history": made.history.sha256}})["hood"].places_mm
    # The edge of 600 mm bellies by its bulge of 0.08 times half of that, 24 mm.
    assert places[0] == pytest.approx([924.0, 310.0], abs=1.0)
    assert places[1] == pytest.approx([0.0, 0.0], abs=1e-6)
    assert fits.startswith("on ")
    assert corner.startswith("at the corner between ")


def test_a_stretch_is_half_to_each_side_of_the_place(people: People) -> None:
    ines = people[Role.INSTALLER]
    cut = a_car("2031-2064", ines)
    note(cut, ines, "short", LOW, first_mm="1.5", along_mm="200")
    note(cut, ines, "finger", RIGHT, first_mm="1", along_mm="120")
    history = found(people[Role.OWNER]).history.sha256
    notes = revisions_of({"hood": {"number": 1, "history": history}})["hood"].notes
    outline = outline_of(BELLIED)
    for one, place_mm, length in zip(notes, (LOW, RIGHT), (200.0, 120.0), strict=True):
        assert one.to is not None
        ends, _ = outline.nearest(np.array([one.at.point_mm, one.to.point_mm]))
        (middle,), _ = outline.nearest(place_mm[None])
        # Stations run counter-clockwise, so that the stretch begins behind its middle.
        assert (middle - ends[0]) % outline.length_mm == pytest.approx(0.5 * length, abs=0.1)
        assert (ends[1] - middle) % outline.length_mm == pytest.approx(0.5 * length, abs=0.1)


def test_film_that_is_not_on_the_car_is_not_noted(people: People) -> None:
    ines = people[Role.INSTALLER]
    cut = a_car("2031-2064", ines)
    cut.state = "weeded"
    cut.save(update_fields=["state"])
    assert "is not on the car" in note(cut, ines, "fits", LOW).says


def test_a_piece_of_half_the_panel_is_left_out_and_said(people: People) -> None:
    ines = people[Role.INSTALLER]
    whole, half = a_car("2031-2064", ines), a_car("2031-2065", ines, pattern=HALF)
    note(whole, ines, "short", LOW, first_mm="1.5")
    note(half, ines, "short", np.array([200.0, 0.0]), first_mm="9")
    made = found(people[Role.OWNER])
    assert made.said[0].startswith("1 note of 2031-2065 left out: “hood” lies ")
    assert made.figures["cars"] == 1
    assert made.figures["largest_mm"] < 2.5


HALF = Pattern(
    "hood",
    Curve(np.array([[0, 0], [400, 0], [400, 600], [0, 600]], float), np.zeros(4)),
    outline_corners=np.arange(4),
)


def test_one_of_two_who_keep_at_once_is_told(people: People) -> None:
    ines, odile = people[Role.INSTALLER], people[Role.OWNER]
    cut = a_car("2031-2064", ines)
    note(cut, ines, "short", LOW, first_mm="1.5")
    first = found(odile)
    note(cut, ines, "short", RIGHT, first_mm="1")
    second = found(odile)
    keep_correction(second, who=odile, at=timezone.now())
    with pytest.raises(InputError, match="kept or taken back since"):
        keep_correction(first, who=odile, at=timezone.now())
    # Tapped twice, it is kept once.
    assert keep_correction(second, who=odile, at=timezone.now()).number == 1
    assert list(current_of(the_body())) == ["hood"]
    with pytest.raises(ProtectedError):
        FitNote.objects.first().job.covers.get().outcomes.get().pieces.get().cuts.all().delete()  # type: ignore[union-attr]


def test_from_the_bay_to_the_body_s_page_and_back(people: People, signed_in: Browser) -> None:
    ines = people[Role.INSTALLER]
    cut = a_car("2031-2064", ines)
    note(cut, ines, "short", LOW, first_mm="1.5", along_mm="120")
    bay = signed_in(Role.INSTALLER).get("/jobs/2031-2064/bay/").content.decode()
    assert "Too short by 1.5" in bay
    assert f"/bodies/{the_body().pk}/corrections/" in bay
    corin, address = signed_in(Role.COUNTER), f"/bodies/{the_body().pk}/corrections-of/hood/"

    def page() -> str:
        text: str = corin.get(address).content.decode()
        return text

    assert "Make the next revision of these notes" in page()
    assert corin.post(f"{address}make/").status_code == 302
    assert "is being made" in page()
    finish(ask_correction(the_body(), "hood", who=ines))
    assert "Cut it so from now on" in page()
    assert "Cut it so" not in signed_in(Role.INSTALLER).get(address).content.decode()
    made = Correction.objects.get()
    picture = corin.get(f"/bodies/corrections/{made.pk}/picture.svg")
    assert picture.content.startswith(b"<svg")
    assert corin.post(f"/bodies/corrections/{made.pk}/settle/", {"act": "no"}).status_code == 302
    assert not current_of(the_body())
    corin.post(f"{address}make/")
    assert "Cut it so from now on" in page()
    corin.post(f"/bodies/corrections/{made.pk}/settle/", {"act": "keep"})
    assert "Cut by revision 1 since" in page()
    assert "rests on all notes that count" in page()
    of_body = corin.get(f"/bodies/{the_body().pk}/corrections/").content.decode()
    assert "cut by revision 1" in of_body
    corin.post(f"{address}back/")
    assert "Cut as it is computed." in page()
    assert "nothing to take back" in corin.post(f"{address}back/", follow=True).content.decode()
    assert signed_in(Role.INSTALLER).post(f"{address}back/").status_code == 403
