"""Film of a roll adds up whatever is ticked, kept by hand, used, given back and taken back."""

import contextlib
from collections.abc import Callable

import pytest
from django.db import transaction
from django.utils import timezone
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from layflat.base import InputError
from layflat.web.cutting.account import account_of
from layflat.web.cutting.models import Layout, Offcut, Section
from layflat.web.cutting.offcuts import keep_offcut, reopen_offcut, throw_offcut
from layflat.web.cutting.pool import to_lay_out
from layflat.web.cutting.reserved import planned_of
from layflat.web.cutting.ticking import take_back_section, tick_cut, tick_spoiled
from layflat.web.people.models import Shop
from layflat.web.stock.beside import is_by_hand
from layflat.web.stock.booking import cut_offcut, give_back, take, uncut_offcut
from layflat.web.stock.models import Movement, Reservation, Roll
from layflat.web.stock.rolls import locked_roll
from web.bayed import a_roll
from web.cutting.patterned import a_job, only_section, to_be_cut

LENGTH_MM = 9_000


@pytest.fixture
def layout(shop: Shop) -> Layout:
    job, _ = a_job("2031-0042", "door-left", "hood")
    return to_be_cut(job, a_roll(length_mm=LENGTH_MM))


def kept_by_hand(roll: Roll, length_mm: int, width_mm: int) -> Roll:
    with transaction.atomic():
        return cut_offcut(
            locked_roll(roll.pk),
            width_mm=width_mm,
            length_mm=length_mm,
            place="",
            who=None,
            was_taken=True,
        )


def cut(layout: Layout) -> None:
    with transaction.atomic():
        tick_cut(only_section(layout), who=None, at=timezone.now())


def test_a_rest_kept_by_hand_is_an_offcut_and_no_waste(layout: Layout) -> None:
    cut(layout)
    before = account_of(Roll.objects.get(pk=layout.roll_id))
    offcut = kept_by_hand(layout.roll, 400, 300)
    roll = Roll.objects.get(pk=layout.roll_id)
    after = account_of(roll)
    assert before is not None
    assert after is not None
    moved = 400 * 300 / roll.width_mm
    assert after.offcuts_mm == pytest.approx(before.offcuts_mm + moved)
    assert after.waste_mm == pytest.approx(before.waste_mm - moved)
    assert (after.in_mm, after.left_mm) == (before.in_mm, before.left_mm)
    with pytest.raises(InputError, match=rf"\({offcut}\)"), transaction.atomic():
        take_back_section(only_section(layout), who=None, at=timezone.now())
    with transaction.atomic():
        uncut_offcut(offcut, who=None)
        take_back_section(only_section(layout), who=None, at=timezone.now())
    assert locked_left(roll) == LENGTH_MM


def locked_left(roll: Roll) -> int:
    with transaction.atomic():
        return locked_roll(roll.pk).left_mm


def test_a_rest_is_not_larger_than_pieces_and_offcuts_leave(layout: Layout) -> None:
    section = only_section(layout)
    with pytest.raises(InputError, match="no rest of"):
        kept_by_hand(layout.roll, 50, 300)
    cut(layout)
    with pytest.raises(InputError, match="less than"):
        kept_by_hand(layout.roll, section.film_mm, layout.roll.width_mm)
    one = Offcut.objects.filter(section=section).order_by("number").first()
    assert one is not None
    with transaction.atomic():
        keep_offcut(one, place="", who=None, at=timezone.now())
    account = account_of(Roll.objects.get(pk=layout.roll_id))
    assert account is not None
    waste_mm = int(account.waste_mm)
    kept_by_hand(layout.roll, waste_mm, layout.roll.width_mm)
    with pytest.raises(InputError, match="less than"):
        kept_by_hand(layout.roll, 1, layout.roll.width_mm)


def test_what_all_waste_kept_leaves_no_room_for_is_not_kept_twice(layout: Layout) -> None:
    """The rectangle of a section that somebody cut out and wrote down by hand already."""
    cut(layout)
    account = account_of(Roll.objects.get(pk=layout.roll_id))
    assert account is not None
    kept_by_hand(layout.roll, int(account.waste_mm), layout.roll.width_mm)
    one = Offcut.objects.filter(section__layout=layout).order_by("number").first()
    assert one is not None
    with pytest.raises(InputError, match="less than"), transaction.atomic():
        keep_offcut(one, place="", who=None, at=timezone.now())


def test_a_rest_of_spoiled_film_is_no_longer_spoiled(layout: Layout) -> None:
    with transaction.atomic():
        tick_spoiled(
            only_section(layout),
            reason="dirt",
            note="",
            lost=None,
            film_mm=1_000,
            who=None,
            at=timezone.now(),
        )
    kept_by_hand(layout.roll, 800, layout.roll.width_mm)
    account = account_of(Roll.objects.get(pk=layout.roll_id))
    assert account is not None
    assert (account.spoiled_mm, account.offcuts_mm, account.waste_mm) == (200, 800, 0)


NAMES = ["cut", "spoiled", "good", "back", "again", "hand", "not-kept", "keep", "throw", "reopen"]
NAMES += ["use", "give-back", "off", "cut", "back", "hand", "hand"]
ACTS = st.lists(
    st.tuples(
        st.sampled_from(NAMES),
        st.integers(0, 3),
        st.one_of(st.integers(1, 2_500), st.sampled_from([1, 20, 300, 700])),
        st.sampled_from([20, 300, 1_524]),
    ),
    min_size=3,
    max_size=14,
)


@pytest.mark.on_sqlite
@given(acts=ACTS)
@settings(
    max_examples=25,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
def test_film_adds_up_after_any_acts(layout: Layout, acts: list[tuple[str, int, int, int]]) -> None:
    with transaction.atomic():
        for name, which, mm, width in acts:
            with contextlib.suppress(InputError), transaction.atomic():
                _does(layout, name, which, mm, width)
            _adds_up(layout)
        transaction.set_rollback(True)


def _does(layout: Layout, name: str, which: int, mm: int, width: int) -> None:
    now = timezone.now()
    sections = list(
        Section.objects.filter(layout__roll=layout.roll)
        .select_related("layout__job", "layout__roll")
        .order_by("pk")
    )
    section = sections[which % len(sections)]
    rolls = list(Roll.objects.order_by("number"))
    roll = rolls[which % len(rolls)]
    offcuts = list(Offcut.objects.select_related("section__layout__job", "roll").order_by("pk"))
    offcut = offcuts[which % len(offcuts)]
    source = f"by hand {which}"
    lost = {section.cuts.values_list("pk", flat=True).order_by("pk")[0]} if which % 2 else None

    def spoil(good: float) -> None:
        tick_spoiled(
            section, reason="dirt", note="", lost=lost, film_mm=mm, good=good, who=None, at=now
        )

    def again() -> None:
        if to_lay_out(layout.job):
            to_be_cut(layout.job, layout.roll)

    acts: dict[str, Callable[[], object]] = {
        "cut": lambda: tick_cut(section, who=None, at=now),
        "spoiled": lambda: spoil(0.0),
        "good": lambda: spoil(0.4),
        "back": lambda: take_back_section(section, who=None, at=now),
        "again": again,
        "hand": lambda: kept_by_hand(roll, mm, min(width, roll.width_mm)),
        "not-kept": lambda: uncut_offcut(roll, who=None) if is_by_hand(roll) else None,
        "keep": lambda: keep_offcut(offcut, place="", who=None, at=now),
        "throw": lambda: throw_offcut(offcut, who=None, at=now),
        "reopen": lambda: reopen_offcut(offcut, who=None),
        "use": lambda: take(
            rolls[-1], mm, kind=Movement.Kind.CUT, job=None, who=None, source=source
        ),
        "give-back": lambda: give_back(source, reason="a slip", who=None),
        "off": lambda: cut_offcut(roll, width_mm=width, length_mm=mm, place="", who=None),
    }
    acts[name]()


def _adds_up(layout: Layout) -> None:
    roll = Roll.objects.get(pk=layout.roll_id)
    for one in Roll.objects.all():
        assert one.left_mm == sum(one.movements.values_list("delta_mm", flat=True)) >= 0
    standing = Reservation.objects.filter(roll=roll, ended_at__isnull=True)
    reserved_mm = sum(standing.values_list("length_mm", flat=True))
    assert reserved_mm <= min(planned_of(layout.job)[roll.pk], roll.left_mm)
    # What is in pieces of sections that are cut and what lies in stock was never more than came.
    done = Section.objects.filter(layout__roll=roll, state=Section.State.CUT)
    pieces_mm2 = sum(one.pieces_mm2 or 0.0 for one in done)
    stock_mm2 = sum(one.left_mm * one.width_mm for one in Roll.objects.all())
    assert pieces_mm2 + stock_mm2 <= LENGTH_MM * roll.width_mm
    account = account_of(roll)
    if account is None:
        return
    assert account.in_mm == LENGTH_MM
    parts = (account.pieces_mm, account.offcuts_mm, account.waste_mm, account.spoiled_mm)
    assert min(parts) >= -1e-6
    assert sum(parts) + account.thrown_mm + account.left_mm == pytest.approx(LENGTH_MM)
