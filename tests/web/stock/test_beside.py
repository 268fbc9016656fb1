"""Rests beside pieces that are kept as offcuts: no more of them than there was film."""

import contextlib

import pytest
from django.db import connection, transaction
from django.db.migrations.executor import MigrationExecutor
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from layflat.base import InputError
from layflat.web.people.models import Shop
from layflat.web.stock import additions
from layflat.web.stock.beside import kept_mm2
from layflat.web.stock.booking import cut_offcut, give_back, take, uncut_offcut
from layflat.web.stock.models import Movement, Roll
from layflat.web.stock.rolls import locked_roll
from web.stock.test_booking import a_new_roll

CUT, SPOILED, DISCARDED = Movement.Kind.CUT, Movement.Kind.SPOILED, Movement.Kind.DISCARDED
WIDE = 1_524


def kept(roll: Roll, length_mm: int, width_mm: int = WIDE) -> Roll:
    with transaction.atomic():
        return cut_offcut(
            roll, width_mm=width_mm, length_mm=length_mm, place="", who=None, was_taken=True
        )


def test_no_rest_is_longer_or_larger_than_what_was_cut(roll: Roll) -> None:
    take(roll, 1_000, kind=CUT, job=None, who=None, source="section 1")
    take(roll, 500, kind=SPOILED, job=None, who=None, source="section 2")
    take(roll, 3_000, kind=DISCARDED, job=None, who=None, source="", reason="dirty")
    with pytest.raises(InputError, match=r"^1\.500 m of R1 are booked .* no rest of 1\.501 m "):
        kept(roll, 1_501, 100)
    kept(roll, 1_500, WIDE - 300)
    with pytest.raises(InputError, match=r"leave 1\.495 m in this width .* less than 1\.500 m\.$"):
        kept(roll, 1_500, 301)
    kept(roll, 1_500, 300)
    with pytest.raises(InputError, match=r"leave 0\.000 m"):
        kept(roll, 1, 20)
    assert kept_mm2(roll) == 1_500 * WIDE
    assert locked_roll(roll.pk).left_mm == 10_500


def test_the_strip_beside_a_narrower_offcut_is_a_rest(roll: Roll) -> None:
    first = cut_offcut(roll, width_mm=700, length_mm=2_000, place="", who=None)
    kept(roll, 2_000, WIDE - 700)
    with pytest.raises(InputError, match=r"leave 0\.000 m"):
        kept(roll, 1, 20)
    assert locked_roll(roll.pk).left_mm == 13_000
    # Of an offcut's own film nothing was cut off until now.
    with pytest.raises(InputError, match=r"^0\.000 m of R2"):
        kept(first, 1, 20)


def test_pieces_are_no_rest(roll: Roll, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(additions, "_measures", {lambda _: 600.0 * WIDE: None})
    take(roll, 1_000, kind=CUT, job=None, who=None, source="section 1")
    with pytest.raises(InputError, match=r"leave 0\.400 m"):
        kept(roll, 401)
    kept(roll, 400)


def test_film_is_not_given_back_of_which_a_rest_is_kept(roll: Roll) -> None:
    take(roll, 1_000, kind=CUT, job=None, who=None, source="section 1")
    offcut = kept(roll, 800)
    said = rf"\({offcut}\), more than there is without this; say "
    with pytest.raises(InputError, match=said), transaction.atomic():
        give_back("section 1", reason="a slip", who=None)
    assert locked_roll(roll.pk).left_mm == 14_000
    uncut_offcut(offcut, who=None)
    give_back("section 1", reason="a slip", who=None)
    assert locked_roll(roll.pk).left_mm == 15_000


def test_a_rest_of_which_film_was_used_and_given_back_is_taken_back(roll: Roll) -> None:
    take(roll, 1_000, kind=CUT, job=None, who=None, source="section 1")
    offcut = kept(roll, 800)
    take(offcut, 300, kind=CUT, job=None, who=None, source="section 2")
    with pytest.raises(InputError, match="was used, reserved or set right since"):
        uncut_offcut(offcut, who=None)
    give_back("section 2", reason="a slip", who=None)
    uncut_offcut(offcut, who=None)
    assert offcut.is_finished
    assert kept(roll, 1_000).number == offcut.number + 1


def test_what_was_cut_off_a_roll_is_not_taken_back_as_a_rest(roll: Roll) -> None:
    offcut = cut_offcut(roll, width_mm=WIDE, length_mm=500, place="", who=None)
    with pytest.raises(InputError, match="no rest of cut film"):
        uncut_offcut(offcut, who=None)
    assert locked_roll(roll.pk).left_mm + locked_roll(offcut.pk).left_mm == 15_000


ACTS = st.lists(
    st.tuples(
        st.sampled_from(["cut", "spoiled", "keep", "keep", "not kept", "use", "back", "off"]),
        st.integers(0, 3),
        st.integers(1, 2_500),
        st.sampled_from([20, 700, WIDE]),
    ),
    max_size=16,
)


@pytest.mark.on_sqlite
@given(acts=ACTS)
@settings(
    max_examples=60,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
def test_film_never_comes_out_of_nothing(shop: Shop, acts: list[tuple[str, int, int, int]]) -> None:
    """Whatever is cut, kept, used and given back, no more film is on hand than ever came."""
    with transaction.atomic():
        roll = a_new_roll(length_mm=5_000)
        for name, which, mm, width in acts:
            stock = list(Roll.objects.order_by("number"))
            offcut = stock[which % len(stock)]
            with contextlib.suppress(InputError), transaction.atomic():
                if name in ("cut", "spoiled"):
                    kind = CUT if name == "cut" else SPOILED
                    take(roll, mm, kind=kind, job=None, who=None, source=f"section {which}")
                elif name == "use":
                    take(offcut, mm, kind=CUT, job=None, who=None, source=f"section {which}")
                elif name == "keep":
                    kept(offcut, mm, min(width, offcut.width_mm))
                elif name == "off":
                    cut_offcut(offcut, width_mm=width, length_mm=mm, place="", who=None)
                elif name == "not kept":
                    uncut_offcut(offcut, who=None)
                else:
                    give_back(f"section {which}", reason="a slip", who=None)
            _holds()
        transaction.set_rollback(True)


def _holds() -> None:
    on_hand = sum(one.left_mm * one.width_mm for one in Roll.objects.all())
    assert on_hand <= 5_000 * WIDE
    for one in Roll.objects.all():
        kinds = (CUT, SPOILED, Movement.Kind.OFFCUT)
        moves = one.movements.filter(kind__in=kinds, delta_mm__lt=0, given_back=None)
        took = -sum(move.delta_mm for move in moves)
        rests = one.offcuts.filter(is_finished=False)
        assert sum(rest.left_mm * rest.width_mm for rest in rests) <= took * one.width_mm


@pytest.mark.django_db(transaction=True)
def test_rests_from_before_are_known_by_the_migration() -> None:
    Shop.objects.create(name="Lampwick Yard")
    with transaction.atomic():
        roll = a_new_roll()
        take(roll, 2_000, kind=CUT, job=None, who=None, source="section 1")
        beside, gone = kept(roll, 300), kept(roll, 400)
        off = cut_offcut(roll, width_mm=700, length_mm=500, place="", who=None)
        uncut_offcut(gone, who=None)
    executor = MigrationExecutor(connection)
    new = executor.loader.graph.leaf_nodes()
    try:
        executor.migrate([("stock", "0005_faults")])
    finally:
        executor = MigrationExecutor(connection)
        executor.migrate(new)
    marked = dict(Roll.objects.values_list("pk", "kept"))
    assert marked == {roll.pk: "", beside.pk: "beside", gone.pk: "undone", off.pk: "off"}
