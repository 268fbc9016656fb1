"""Laying: who has what in hand, what is refused, what is taken back."""

import io
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image

from layflat.web.cutting.models import Cut
from layflat.web.cutting.pool import to_lay_out
from layflat.web.gates.models import Kind, Step
from layflat.web.laying.done import layers_of, laying_of, time_of, why_not_all_laid
from layflat.web.laying.models import Laying
from layflat.web.people.models import Person, Role, Shop
from layflat.web.record.models import Event
from layflat.web.taps.models import Tap
from web.bayed import an_accepted_job, in_the_bay, some_cuts, steps_done
from web.laying.shop import PANELS, ready_to_lay, somebody, tap


@pytest.fixture
def ines(shop: Shop) -> Person:
    return somebody("Ines")


@pytest.fixture
def tam(shop: Shop) -> Person:
    return somebody("Tam")


def a_photo() -> SimpleUploadedFile:
    out = io.BytesIO()
    Image.new("RGB", (64, 48), "grey").save(out, "JPEG")
    return SimpleUploadedFile("photo.jpg", out.getvalue(), content_type="image/jpeg")


def lay(job: Any, cut: Cut, who: Person) -> None:
    assert tap("laying.began", who, job, cut=cut.pk).state == Tap.State.DONE
    assert tap("laying.ended", who, job, cut=cut.pk).state == Tap.State.DONE


def step(job: Any, kind: Kind = Kind.LAY) -> str:
    return Step.objects.get(job=job, kind=kind).state


def test_two_people_lay_a_piece(ines: Person, tam: Person) -> None:
    job, (hood, roof) = ready_to_lay()
    began = tap("laying.began", ines, job, cut=hood.pk, people=f"{ines.pk},{tam.pk}")
    assert began.says == "Ines and Tam began to lay piece 1, hood."
    assert step(job) == Step.State.BEGUN
    photo = {"photo": a_photo()}
    ended = tap("laying.ended", tam, job, photo, cut=hood.pk, hard=" the  left corner ")
    assert ended.says == "Piece 1, hood is laid."
    laying = Laying.objects.get()
    assert (laying.hard, laying.way) == ("the left corner", Laying.Way.LAID)
    assert laying.photo is not None
    assert laying.thumb is not None
    assert laying_of(hood) == laying
    assert time_of([laying]).total_seconds() >= 0
    assert layers_of(job) == {ines.pk, tam.pk}
    hood.refresh_from_db()
    assert hood.state == Cut.State.LAID
    assert why_not_all_laid(job) == "Piece 2 roof is not laid yet."
    assert step(job) == Step.State.BEGUN
    lay(job, roof, ines)
    assert why_not_all_laid(job) == ""
    assert step(job) == Step.State.DONE
    events = list(Event.objects.filter(job=job, kind__startswith="laying.").order_by("pk"))
    assert [event.kind for event in events] == ["laying.began", "laying.ended"] * 2
    assert events[1].sentence == ("Piece 1, hood is laid by Ines and Tam. Hard: the left corner")


@pytest.mark.parametrize(
    ("state", "words"),
    [
        (Cut.State.PLACED, "not cut yet"),
        (Cut.State.CUT, "not weeded yet"),
        (Cut.State.LAID, "is laid already"),
        (Cut.State.LOST, "was given up: torn"),
    ],
)
def test_a_piece_that_is_not_ready_is_refused(ines: Person, state: Cut.State, words: str) -> None:
    job, (hood, _) = ready_to_lay()
    Cut.objects.filter(pk=hood.pk).update(state=state, lost_because="torn")
    refused = tap("laying.began", ines, job, cut=hood.pk)
    assert refused.state == Tap.State.REFUSED
    assert words in refused.says
    assert not Laying.objects.exists()


def test_film_is_never_laid_before_iron_removal(ines: Person) -> None:
    """Common practice, no source: afterwards nobody can get at the paint."""
    job, outcome = an_accepted_job(panels=PANELS)
    hood, _ = some_cuts(job, outcome)
    in_the_bay(job)
    refused = tap("laying.began", ines, job, cut=hood.pk)
    assert refused.state == Tap.State.REFUSED
    assert "Film is laid after iron removal" in refused.says
    assert not Laying.objects.exists()
    steps_done(job, Kind.IRON, Kind.CUT)
    assert tap("laying.began", ines, job, cut=hood.pk).state == Tap.State.DONE


def test_film_is_not_laid_outside_the_bay(ines: Person) -> None:
    job, outcome = an_accepted_job(panels=PANELS)
    hood, _ = some_cuts(job, outcome)
    refused = tap("laying.began", ines, job, cut=hood.pk)
    assert refused.state == Tap.State.REFUSED
    assert "stands at “Accepted”" in refused.says


def test_the_second_of_two_is_told_who_has_the_piece(ines: Person, tam: Person) -> None:
    job, (hood, _) = ready_to_lay()
    tap("laying.began", ines, job, cut=hood.pk)
    refused = tap("laying.began", tam, job, cut=hood.pk)
    assert refused.state == Tap.State.REFUSED
    assert refused.says.startswith("Ines has piece 1, hood in hand since ")
    assert layers_of(job) == {ines.pk}


@pytest.mark.parametrize("people", ["x", "999999", "1,2,3,4"])
def test_odd_people_are_refused(ines: Person, people: str) -> None:
    job, (hood, _) = ready_to_lay()
    assert tap("laying.began", ines, job, cut=hood.pk, people=people).state == Tap.State.REFUSED
    assert not Laying.objects.exists()


def test_three_people_and_a_person_who_left_are_refused(ines: Person, tam: Person) -> None:
    job, (hood, _) = ready_to_lay()
    third = somebody("Odo")
    three = f"{ines.pk},{tam.pk},{third.pk}"
    refused = tap("laying.began", ines, job, cut=hood.pk, people=three)
    assert refused.says == "Choose who lays it: one person, or two."
    third.is_active = False
    third.save()
    refused = tap("laying.began", ines, job, cut=hood.pk, people=third.pk)
    assert "no longer works here" in refused.says


@pytest.mark.parametrize("cut", ["", "x", "-1", "999999", "1e9"])
def test_film_of_no_such_key_is_refused(ines: Person, cut: str) -> None:
    job, _ = ready_to_lay()
    for act in ("laying.began", "laying.ended", "laying.undone", "laying.remake"):
        assert "no such piece of film" in tap(act, ines, job, cut=cut, because="torn").says


def test_film_of_another_job_is_not_touched(ines: Person) -> None:
    job, _ = ready_to_lay()
    _, (hood, _) = ready_to_lay("2031-0043")
    assert "no such piece of film" in tap("laying.began", ines, job, cut=hood.pk).says


def test_ending_twice_and_what_was_never_begun(ines: Person) -> None:
    job, (hood, _) = ready_to_lay()
    assert "Nobody has piece 1, hood in hand" in tap("laying.ended", ines, job, cut=hood.pk).says
    lay(job, hood, ines)
    assert "is laid already" in tap("laying.ended", ines, job, cut=hood.pk).says
    assert Laying.objects.count() == 1


def test_a_broken_picture_leaves_the_piece_in_hand(ines: Person) -> None:
    job, (hood, _) = ready_to_lay()
    tap("laying.began", ines, job, cut=hood.pk)
    broken = {"photo": SimpleUploadedFile("photo.jpg", b"no picture", content_type="image/jpeg")}
    refused = tap("laying.ended", ines, job, broken, cut=hood.pk)
    assert "no picture" in refused.says
    assert Laying.objects.get().ended_at is None


def test_a_mistaken_tap_is_taken_back_step_by_step(ines: Person, tam: Person) -> None:
    job, (hood, roof) = ready_to_lay()
    lay(job, roof, ines)
    lay(job, hood, tam)
    assert step(job) == Step.State.DONE
    assert "is in hand again" in tap("laying.undone", tam, job, cut=hood.pk).says
    hood.refresh_from_db()
    assert hood.state != Cut.State.LAID
    assert step(job) == Step.State.BEGUN
    assert layers_of(job) == {ines.pk, tam.pk}
    assert "lies ready again" in tap("laying.undone", tam, job, cut=hood.pk).says
    assert layers_of(job) == {ines.pk}
    kept = Event.objects.filter(kind="laying.undone").last()
    assert kept is not None
    assert kept.before["people"] == [tam.pk]
    assert "nothing to take back" in tap("laying.undone", tam, job, cut=hood.pk).says


def test_nothing_is_taken_back_once_edges_are_begun(ines: Person) -> None:
    job, (hood, roof) = ready_to_lay()
    lay(job, hood, ines)
    lay(job, roof, ines)
    Step.objects.filter(job=job, kind=Kind.INSPECT).update(state=Step.State.BEGUN)
    refused = tap("laying.undone", ines, job, cut=hood.pk)
    assert refused.state == Tap.State.REFUSED
    assert "undo that first" in refused.says
    hood.refresh_from_db()
    assert hood.state == Cut.State.LAID


def test_a_remake_puts_the_piece_back_into_layout(ines: Person) -> None:
    job, (hood, roof) = ready_to_lay()
    lay(job, hood, ines)
    lay(job, roof, ines)
    assert tap("laying.remake", ines, job, cut=hood.pk).state == Tap.State.REFUSED
    tap("laying.remake", ines, job, cut=hood.pk, because="a finger that stays")
    hood.refresh_from_db()
    assert (hood.state, hood.lost_because) == (Cut.State.LOST, "a finger that stays")
    assert [piece.number for piece in to_lay_out(job)] == [1]
    assert step(job) == Step.State.BEGUN
    assert layers_of(job) == {ines.pk}
    again = tap("laying.remake", ines, job, cut=hood.pk, because="again")
    assert again.state == Tap.State.REFUSED


def test_a_piece_in_hand_is_given_up(ines: Person, tam: Person) -> None:
    job, (hood, _) = ready_to_lay()
    tap("laying.began", ines, job, cut=hood.pk)
    tap("laying.remake", tam, job, cut=hood.pk, because="torn")
    assert Laying.objects.get().ended_at is not None
    assert "given up meanwhile: torn" in tap("laying.ended", ines, job, cut=hood.pk).says
    assert "given up" in tap("laying.undone", ines, job, cut=hood.pk).says


def test_a_counter_person_lays_no_film(ines: Person) -> None:
    job, (hood, _) = ready_to_lay()
    corin = somebody("Corin", Role.COUNTER)
    assert tap("laying.began", corin, job, cut=hood.pk).state == Tap.State.REFUSED
