"""Film that comes and goes: what is left is the sum of the movements, whatever people do."""

import datetime
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from django.db import IntegrityError, transaction
from django.db.models import Sum
from django.utils import timezone
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from layflat.base import InputError
from layflat.web.jobs.models import Job
from layflat.web.people.models import Person, Role, Shop
from layflat.web.stock.booking import (
    GIVEN_BACK,
    USED,
    cut_offcut,
    free_mm,
    give_back,
    receive,
    release,
    reserve,
    take,
)
from layflat.web.stock.models import Movement, Reservation, Roll
from layflat.web.stock.rolls import locked_roll, usable_rolls
from layflat.web.stock.setting_right import correct, discard, put_elsewhere
from web.covered import a_body, a_job

DAY = datetime.date(2026, 4, 2)
CUT, SPOILED = Movement.Kind.CUT, Movement.Kind.SPOILED


def a_new_roll(**values: Any) -> Roll:
    usual: dict[str, Any] = {
        "film": "Clear 150",
        "lot": "LW-7731",
        "width_mm": 1524,
        "length_mm": 15_000,
        "cost": None,
        "place": "rack 2",
        "received_on": DAY,
        "who": None,
    }
    return receive(**{**usual, **values})


@pytest.fixture
def jobs(shop: Shop) -> list[Job]:
    body = a_body()
    return [a_job(f"2031-000{n}", body=body) for n in (1, 2)]


class Ledger:
    """What should be left, by plain sums, beside what the app books."""

    def __init__(self, rolls: list[Roll], jobs: list[Job]) -> None:
        self.rolls, self.jobs = list(rolls), jobs
        self.left = {roll.pk: 5_000 for roll in rolls}
        self.held: dict[tuple[int, int], int] = {}
        self.taken: dict[str, tuple[int, int, int, int]] = {}

    def free(self, roll: Roll, but: int | None = None) -> int:
        held = sum(v for (r, j), v in self.held.items() if r == roll.pk and j != but)
        return self.left[roll.pk] - held

    def check(self) -> None:
        for roll in Roll.objects.all():
            moved = roll.movements.aggregate(sum=Sum("delta_mm"))["sum"]
            held = roll.reservations.filter(ended_at__isnull=True).aggregate(s=Sum("length_mm"))
            assert roll.left_mm == moved == self.left[roll.pk]
            assert 0 <= (held["s"] or 0) <= roll.left_mm
            assert roll.is_finished == (roll.left_mm == 0)
        stands = Reservation.objects.filter(ended_at__isnull=True)
        found = {(row.roll_id, row.job_id): row.length_mm for row in stands}
        assert found == {key: mm for key, mm in self.held.items() if mm}


LENGTHS = st.one_of(st.integers(-5, 5_200), st.sampled_from([0, 1, 2_500, 5_000, 10**9]))
ACTS = st.lists(
    st.tuples(
        st.sampled_from(
            ["take", "take", "give back", "reserve", "release", "offcut", "correct", "discard"]
        ),
        st.integers(0, 3),
        st.integers(0, 2),
        LENGTHS,
        st.integers(0, 3),
    ),
    max_size=14,
)


def does(book: Ledger, act: tuple[str, int, int, int, int]) -> None:
    """Do one thing in the app and, when it was not refused, in the ledger."""
    name, which, whose, mm, source = act
    # An old copy of the roll, as a page that was opened before holds it.
    roll = book.rolls[which % len(book.rolls)]
    job = book.jobs[whose] if whose < len(book.jobs) else None
    key = (roll.pk, job.pk if job else 0)
    if name == "take":
        said = f"section {source}"
        is_again = said in book.taken
        free = book.free(roll, job.pk if job else None)
        take(roll, mm, kind=CUT, job=job, who=None, source=said)
        if is_again:
            return
        assert 0 < mm <= free
        covered = min(mm, book.held.get(key, 0)) if job else 0
        book.left[roll.pk] -= mm
        if job:
            book.held[key] = book.held.get(key, 0) - covered
        book.taken[said] = (roll.pk, mm, key[1], covered)
    elif name == "give back":
        said = f"section {source}"
        give_back(said, reason="a slip", who=None)
        if said not in book.taken:
            return
        pk, mm, owner, covered = book.taken.pop(said)
        book.left[pk] += mm
        newest = Reservation.objects.filter(roll=pk, job=owner or None).order_by("-id").first()
        if covered and newest is not None and newest.ended_at is None:
            book.held[pk, owner] = book.held.get((pk, owner), 0) + covered
    elif name == "reserve" and job:
        free = book.free(roll)
        reserve(roll, job, mm, who=None)
        assert 0 < mm <= free
        book.held[key] = book.held.get(key, 0) + mm
    elif name == "release" and job:
        assert release(roll, job, how=GIVEN_BACK, who=None) == book.held.pop(key, 0)
    elif name == "offcut":
        free = book.free(roll)
        offcut = cut_offcut(roll, width_mm=600, length_mm=mm, place="", who=None)
        assert 0 < mm <= free
        book.left[roll.pk] -= mm
        book.left[offcut.pk] = mm
        book.rolls.append(offcut)
    elif name == "correct":
        correct(roll, mm, reason="measured", who=None)
        assert mm >= book.left[roll.pk] - book.free(roll)
        book.left[roll.pk] = mm
    elif name == "discard":
        free = book.free(roll)
        discard(roll, length_mm=mm, reason="dirty", who=None)
        assert 0 < mm <= free
        book.left[roll.pk] -= mm


@pytest.mark.on_sqlite
@given(acts=ACTS)
@settings(
    max_examples=50,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
def test_whatever_is_booked_what_is_left_is_the_sum(
    db: None, jobs: list[Job], acts: list[tuple[str, int, int, int, int]]
) -> None:
    with transaction.atomic():
        book = Ledger([a_new_roll(length_mm=5_000) for _ in range(2)], jobs)
        for act in acts:
            before, said = Movement.objects.count(), ""
            try:
                with transaction.atomic():
                    does(book, act)
            except InputError as refused:
                said = str(refused)
            if said:
                assert said.endswith(".")
                assert Movement.objects.count() == before
            book.check()
        transaction.set_rollback(True)


def test_the_same_source_books_once_and_again_after_it_was_given_back(
    jobs: list[Job], people: dict[Role, Person]
) -> None:
    roll, who = a_new_roll(), people[Role.INSTALLER]
    taken = [
        take(roll, 2_000, kind=CUT, job=jobs[0], who=who, source="section 12") for _ in range(2)
    ]
    assert taken[0] == taken[1]
    assert locked_roll(roll.pk).left_mm == 13_000
    back = [give_back("section 12", reason="ticked too soon", who=who) for _ in range(2)]
    assert back[0] == back[1]
    assert locked_roll(roll.pk).left_mm == 15_000
    again = take(roll, 2_100, kind=CUT, job=jobs[0], who=who, source="section 12")
    assert (again.turn, locked_roll(roll.pk).left_mm) == (2, 12_900)
    with pytest.raises(InputError, match="No film was taken for this"):
        give_back("section 13", reason="a slip", who=who)
    # The database refuses it too, should a caller go round these functions.
    with pytest.raises(IntegrityError), transaction.atomic():
        Movement.objects.create(roll=roll, delta_mm=-1, kind=CUT, source="section 12", turn=2)


def test_a_job_uses_up_what_it_reserved_and_gets_it_again_with_a_tick_taken_back(
    jobs: list[Job],
) -> None:
    roll = a_new_roll()
    reserve(roll, jobs[0], 6_000, who=None)
    reserve(roll, jobs[1], 8_000, who=None)
    assert (free_mm(roll), free_mm(roll, job=jobs[0])) == (1_000, 7_000)
    with pytest.raises(InputError, match=r"reserved 8\.000 m; 7\.001 m is more"):
        take(roll, 7_001, kind=CUT, job=jobs[0], who=None, source="s")
    take(roll, 6_000, kind=CUT, job=jobs[0], who=None, source="section 1")
    assert not roll.reservations.filter(job=jobs[0], ended_at__isnull=True).exists()
    assert free_mm(roll) == 1_000
    give_back("section 1", reason="a slip", who=None)
    assert (free_mm(roll), free_mm(roll, job=jobs[0])) == (1_000, 7_000)
    # What the job itself let go in the meantime is not reserved behind its back.
    take(roll, 2_000, kind=SPOILED, job=jobs[0], who=None, source="section 2")
    assert release(roll, jobs[0], how=GIVEN_BACK, who=None) == 4_000
    give_back("section 2", reason="a slip", who=None)
    assert free_mm(roll) == 7_000


def test_a_part_of_a_reservation_is_let_go(jobs: list[Job]) -> None:
    roll = a_new_roll()
    reserve(roll, jobs[0], 3_000, who=None)
    reserve(roll, jobs[0], 2_000, who=None)
    assert Reservation.objects.get().length_mm == 5_000
    assert release(roll, jobs[0], how=USED, who=None, length_mm=4_000) == 4_000
    assert free_mm(roll) == 14_000
    assert release(roll, jobs[0], how=USED, who=None) == 1_000
    assert release(roll, jobs[0], how=USED, who=None) == 0
    assert free_mm(roll) == 15_000


def test_an_offcut_has_the_lot_of_where_it_came_from(jobs: list[Job]) -> None:
    roll = a_new_roll(cost=Decimal("900.00"))
    offcut = cut_offcut(roll, width_mm=700, length_mm=1_200, place="box", who=None)
    assert (offcut.film, offcut.lot, offcut.cost) == (roll.film, roll.lot, None)
    assert (offcut.number, offcut.cut_from) == (roll.number + 1, roll)
    assert (roll.left_mm, offcut.left_mm) == (13_800, 1_200)
    # A strip beside pieces that were cut already takes nothing more from the roll.
    take(roll, 2_000, kind=CUT, job=None, who=None, source="section 1")
    cut_offcut(roll, width_mm=300, length_mm=2_000, place="box", who=None, was_taken=True)
    assert locked_roll(roll.pk).left_mm == 11_800
    with pytest.raises(InputError, match="wider than R1"):
        cut_offcut(roll, width_mm=1_600, length_mm=100, place="", who=None)


def test_rolls_that_can_be_used_are_told_with_what_is_free(jobs: list[Job]) -> None:
    wide, narrow = a_new_roll(), a_new_roll(width_mm=610, received_on=DAY.replace(day=1))
    offcut = cut_offcut(wide, width_mm=1_524, length_mm=2_000, place="", who=None)
    discard(a_new_roll(), reason="torn", who=None)
    reserve(wide, jobs[0], 13_000, who=None)
    found = {usable.roll: usable for usable in usable_rolls()}
    assert list(found) == [offcut, narrow]
    mine = {usable.roll: usable for usable in usable_rolls(width_mm=1_524, job=jobs[0])}
    assert list(mine) == [offcut, wide]
    assert (mine[wide].own_mm, mine[wide].reserved_mm, mine[wide].free_mm) == (13_000, 0, 13_000)
    others = usable_rolls(width_mm=1_524, job=jobs[1])
    assert [usable.roll for usable in others] == [offcut]


WRONG: list[tuple[dict[str, Any], str]] = [
    ({"film": " "}, "which film"),
    ({"lot": "\t"}, "lot number"),
    ({"lot": "x" * 61}, "at most 60"),
    ({"width_mm": 0}, "between 20 mm and 3000 mm wide"),
    ({"width_mm": 10**12}, "wide"),
    ({"length_mm": -1}, "lies between 1 mm and"),
    ({"length_mm": 10**15}, "lies between"),
    ({"cost": Decimal(-1)}, "less than nothing"),
    ({"received_on": datetime.date(2999, 1, 1)}, "future"),
]


@pytest.mark.parametrize(("values", "words"), WRONG)
def test_what_no_roll_has_is_refused(shop: Shop, values: dict[str, Any], words: str) -> None:
    with pytest.raises(InputError, match=words):
        a_new_roll(**values)
    assert not Roll.objects.exists()


def test_today_is_today_by_the_shop_s_clock(shop: Shop) -> None:
    # Fourteen hours ahead of UTC it is tomorrow already for more than half of the day.
    Shop.objects.update(time_zone="Pacific/Kiritimati")
    ahead = (timezone.now() + datetime.timedelta(hours=14)).date()
    assert a_new_roll(received_on=ahead).received_on == ahead
    with pytest.raises(InputError, match="future"):
        a_new_roll(received_on=ahead + datetime.timedelta(days=1))


@pytest.mark.parametrize("act", ["correct", "discard", "give back"])
def test_what_is_set_right_needs_a_reason(jobs: list[Job], act: str) -> None:
    roll = a_new_roll()
    take(roll, 100, kind=CUT, job=None, who=None, source="section 1")
    acts: dict[str, Callable[[], object]] = {
        "correct": lambda: correct(roll, 10, reason=" ", who=None),
        "discard": lambda: discard(roll, reason="", who=None),
        "give back": lambda: give_back("section 1", reason="", who=None),
    }
    with pytest.raises(InputError, match="Say why"):
        acts[act]()
    assert locked_roll(roll.pk).left_mm == 14_900


def test_a_roll_is_not_counted_below_what_is_reserved(jobs: list[Job]) -> None:
    roll = a_new_roll()
    reserve(roll, jobs[0], 6_000, who=None)
    with pytest.raises(InputError, match="give a reservation back first"):
        correct(roll, 5_999, reason="measured", who=None)
    with pytest.raises(InputError, match="jobs have reserved"):
        discard(roll, reason="a crease", who=None)
    with pytest.raises(InputError, match="in the record already"):
        correct(roll, 15_000, reason="measured", who=None)


def test_a_roll_that_was_used_up_comes_back_with_what_is_given_back(jobs: list[Job]) -> None:
    roll = a_new_roll()
    take(roll, 15_000, kind=CUT, job=jobs[0], who=None, source="section 1")
    assert roll.is_finished
    assert not usable_rolls()
    with pytest.raises(InputError, match="Nothing is left"):
        discard(roll, reason="a rest", who=None)
    give_back("section 1", reason="a slip", who=None)
    assert [usable.free_mm for usable in usable_rolls()] == [15_000]


def test_where_a_roll_lies_is_kept_as_a_movement_of_nothing(shop: Shop) -> None:
    roll = a_new_roll()
    assert put_elsewhere(roll, "rack 2", who=None) is None
    moved = put_elsewhere(roll, "by the plotter", who=None)
    assert moved is not None
    assert (moved.delta_mm, moved.reason) == (0, "from rack 2 to by the plotter")
    assert locked_roll(roll.pk).place == "by the plotter"


def test_there_is_no_such_roll(shop: Shop) -> None:
    with pytest.raises(InputError, match="no such roll"):
        locked_roll(99)
