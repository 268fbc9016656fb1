"""Faults in a roll: they stay where they are while film is cut off in front of them."""

import random
from collections.abc import Callable

import pytest
from django.db import transaction
from django.test import Client

from layflat.base import InputError
from layflat.web.people.models import Person, Role
from layflat.web.stock.booking import cut_offcut, give_back, take
from layflat.web.stock.faults import MOST, carry_over, correct_fault, note, places_of, put_back
from layflat.web.stock.models import Fault, Movement, Roll
from layflat.web.stock.setting_right import correct
from web.stock.test_booking import a_new_roll
from web.stock.test_pages import sent, text_of

pytestmark = pytest.mark.on_sqlite
Browser = Callable[[Role], Client]
CUT = Movement.Kind.CUT


def noted(roll: Roll, from_mm: int, to_mm: int | None, kind: str = "crease") -> Fault:
    with transaction.atomic():
        return note(roll, kind=kind, words="", from_mm=from_mm, to_mm=to_mm, who=None)


def lie(roll: Roll) -> list[tuple[int, int]]:
    roll.refresh_from_db()
    return [(place.start_mm, place.end_mm) for place in places_of(roll)]


def cut(roll: Roll, length_mm: int, source: str = "") -> None:
    take(roll, length_mm, kind=CUT, job=None, who=None, source=source)


def test_a_fault_comes_nearer_is_clipped_and_is_gone(roll: Roll) -> None:
    noted(roll, 2_000, 2_100)
    cut(roll, 1_500)
    assert lie(roll) == [(500, 600)]
    cut(roll, 550, "section 1")
    assert lie(roll) == [(0, 50)]
    cut(roll, 50, "section 2")
    assert lie(roll) == []
    # A tick taken back brings the film back, and the fault with it.
    give_back("section 2", reason="a slip", who=None)
    give_back("section 1", reason="a slip", who=None)
    assert lie(roll) == [(500, 600)]
    assert not places_of(roll)[0].is_loose


def test_a_random_walk_against_a_model_that_holds_the_roll_itself(roll: Roll) -> None:
    """The model keeps every millimetre of film as an item of a list, marked where it is faulty."""
    draw = random.Random(7)
    film = [False] * roll.left_mm
    for step in range(25):
        if draw.random() < 0.4:
            start = draw.randrange(len(film) - 200)
            noted(roll, start, start + draw.randrange(1, 200))
            there = Fault.objects.latest("pk")
            for mm in range(start, start + there.far_mm - there.near_mm):
                film[mm] = True
        else:
            length = draw.randrange(1, 700)
            cut(roll, length, f"section {step}")
            del film[:length]
        marked = set()
        for start, end in lie(roll):
            marked |= set(range(start, end))
        assert marked == {mm for mm, is_faulty in enumerate(film) if is_faulty}


@pytest.mark.parametrize(
    ("counted", "covered"), [(14_700, (1_700, 2_100)), (15_250, (2_000, 2_350))]
)
def test_once_the_length_is_corrected_both_places_count(
    roll: Roll, counted: int, covered: tuple[int, int]
) -> None:
    fault = noted(roll, 2_000, 2_100)
    correct(roll, counted, reason="measured", who=None)
    (place,) = places_of(roll)
    assert (place.start_mm, place.end_mm, place.is_loose) == (*covered, True)
    # Measured again it is where the tape says.
    with transaction.atomic():
        correct_fault(fault, kind="dirt", words="", from_mm=2_010, to_mm=2_090, who=None)
    (place,) = places_of(roll)
    assert (place.start_mm, place.end_mm, place.is_loose) == (2_010, 2_090, False)


def test_what_a_tick_gives_back_that_was_booked_before_makes_it_loose(roll: Roll) -> None:
    # Who measured it held the film in hand; whether the section was cut by then nobody knows.
    cut(roll, 1_000, "section 1")
    noted(roll, 2_000, 2_100)
    give_back("section 1", reason="a slip", who=None)
    assert lie(roll) == [(2_000, 3_100)]
    assert places_of(roll)[0].is_loose


def test_an_offcut_takes_its_faults_along(roll: Roll) -> None:
    noted(roll, 300, 400, "dirt")
    noted(roll, 900, 1_200)
    noted(roll, 5_000, 5_100)
    with transaction.atomic():
        offcut = cut_offcut(roll, width_mm=600, length_mm=1_000, place="", who=None)
    assert lie(offcut) == [(300, 400), (900, 1_000)]
    assert [place.fault.kind for place in places_of(offcut)] == ["dirt", "crease"]
    assert lie(roll) == [(0, 200), (4_000, 4_100)]
    # What was cut out beside pieces lay under none.
    take(roll, 900, kind=Movement.Kind.CUT, job=None, who=None, source="section 1")
    with transaction.atomic():
        beside = cut_offcut(roll, width_mm=600, length_mm=900, place="", who=None, was_taken=True)
    assert lie(beside) == []


def test_so_many_faults_are_no_film(roll: Roll) -> None:
    carry = a_new_roll(length_mm=2_000)
    for place in range(MOST):
        noted(roll, 100 * place, 100 * place + 10)
    with pytest.raises(InputError, match="has 40 faults already"):
        noted(roll, 9_000, 9_100)
    with transaction.atomic():
        carry_over(roll, carry, before_mm=15_000, who=None)
    assert len(lie(carry)) == 20


def test_noted_set_right_taken_back_and_there_all_the_same(
    signed_in: Browser, people: dict[Role, Person], roll: Roll
) -> None:
    installer, to = signed_in(Role.INSTALLER), f"/stock/{roll.pk}/"
    form = sent(roll, kind="crease", **{"from": "2.1", "to": "2150 mm"})
    # A glove that taps twice notes one fault.
    for _ in range(2):
        page = text_of(installer.post(f"{to}fault/", form, follow=True))
    fault = Fault.objects.get()
    assert lie(roll) == [(2_100, 2_150)]
    assert "2.100 m to 2.150 m from the cut end" in page
    assert "fault 1, crease, from 2.100 m to 2.150 m" in page
    assert fault.noted.who == people[Role.INSTALLER]
    own = {"fault": str(fault.pk)}
    # Whoever opened the page before is told, and loses nothing that was typed.
    late = sent(roll, kind="splice", words="tape", **own, **{"from": "9"})
    late["version"] = "1"
    page = text_of(signed_in(Role.COUNTER).post(f"{to}fault-right/", late))
    assert "installer (last: fault in the film) changed R1" in page
    assert 'value="tape"' in page
    late["version"] = str(roll.version)
    page = text_of(signed_in(Role.COUNTER).post(f"{to}fault-right/", late, follow=True))
    # One place alone counts a little to either side.
    assert "Set right: splice: tape, 8.990 m to 9.010 m" in page
    assert "it was noted as crease, 2.100 m to 2.150 m" in page
    (newer,) = Fault.objects.filter(gone=None)
    with pytest.raises(InputError, match="measured anew"), transaction.atomic():
        put_back(fault, who=None)
    for name, there in (("gone", []), ("gone", []), ("there", [(8_990, 9_010)])):
        installer.post(f"{to}fault-{name}/", sent(roll, fault=str(newer.pk)))
        assert lie(roll) == there
    assert [move.delta_mm for move in roll.movements.filter(kind="fault")] == [0] * 4


REFUSED: list[tuple[dict[str, str], str]] = [
    ({"from": "2"}, "Choose what it is"),
    ({"kind": "hole", "from": "2"}, "Choose what it is"),
    ({"kind": "other", "from": "2"}, "Say in a few words what it is"),
    ({"kind": "crease", "from": ""}, "The length is missing"),
    ({"kind": "crease", "from": "-1"}, "is no length"),
    ({"kind": "crease", "from": "3", "to": "2.5"}, "before it begins at 3.000 m"),
    ({"kind": "crease", "from": "3", "to": "3"}, "before it begins"),
    ({"kind": "crease", "from": "14", "to": "15.001"}, "has 15.000 m left, so it has no place"),
    ({"kind": "crease", "from": "15"}, "no place 15.000 m from the cut end"),
    ({"kind": "crease", "from": "2", "words": "w" * 81}, "at most 80"),
]


def test_what_cannot_be_a_fault_is_said_in_a_sentence(signed_in: Browser, roll: Roll) -> None:
    installer = signed_in(Role.INSTALLER)
    for values, words in REFUSED:
        page = text_of(installer.post(f"/stock/{roll.pk}/fault/", sent(roll, **values)))
        assert words in page, values
    assert not Fault.objects.exists()


def test_a_fault_of_another_roll_is_not_this_one_s(signed_in: Browser, roll: Roll) -> None:
    fault = noted(a_new_roll(), 100, 200)
    installer = signed_in(Role.INSTALLER)
    for key in (str(fault.pk), "", "9" * 13, "x"):
        page = text_of(installer.post(f"/stock/{roll.pk}/fault-gone/", sent(roll, fault=key)))
        assert "There is no such fault of this roll" in page
    fault.refresh_from_db()
    assert fault.gone is None


def test_a_label_names_the_offcut_and_leads_back_to_it(signed_in: Browser, roll: Roll) -> None:
    installer = signed_in(Role.INSTALLER)
    answer = installer.get(f"/stock/{roll.pk}/label.pdf")
    assert answer.headers["Content-Type"] == "application/pdf"
    assert installer.get(f"/find/?q={roll}").headers["Location"] == f"/stock/{roll.pk}/"
    # A hand scanner types the whole address into the box.
    typed = "http://192.168.2.7:8000/find/?q=R1"
    assert installer.get("/find/", {"q": typed}).headers["Location"] == f"/stock/{roll.pk}/"
    assert installer.get("/stock/99/label.pdf").status_code == 404
