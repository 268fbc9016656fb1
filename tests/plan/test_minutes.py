"""Minutes: the sum written out, and what must make a job longer."""

from dataclasses import fields, replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from layflat.base import SettingError
from layflat.plan import Pace, PieceWork, Step, estimate_minutes

HOOD = PieceWork(name="hood", area_mm2=1.5e6, outline_mm=5000, wrap_mm=2000, cut_outs=2)
CAP = PieceWork(name="cap", area_mm2=4e4, outline_mm=800, strained_share=0.5)


def test_the_sum_written_out() -> None:
    pace = Pace(
        intake=30,
        wash=120,
        cut_set_up=15,
        weed_per_piece=2,
        weed_per_cut_out=0.5,
        weed_per_m=0.5,
        lay_per_piece=10,
        lay_per_m2=35,
        lay_per_wrap_m=6,
        lay_strain_factor=1,
        edges_per_piece=2,
        edges_per_wrap_m=3,
        inspect_set_up=10,
        inspect_per_piece=3,
        hand_back=30,
    )
    made = estimate_minutes((HOOD, CAP), pace=pace, cutting_s=90)
    expected = {
        Step.INTAKE: 30,
        Step.WASH: 120,
        Step.CUT: 15 + 1.5,
        Step.WEED: 2 * 2 + 2 * 0.5 + 5.8 * 0.5,
        Step.LAY: (10 + 1.5 * 35 + 2 * 6) + 1.5 * (10 + 0.04 * 35),
        Step.EDGES: 2 * 2 + 2 * 3,
        Step.INSPECT: 10 + 2 * 3,
        Step.HAND_BACK: 30,
    }
    assert {item.step: item.minutes for item in made.steps} == pytest.approx(expected)
    assert made.total == pytest.approx(sum(expected.values()))


def test_steps_come_in_the_order_of_work() -> None:
    assert [item.step for item in estimate_minutes((HOOD,)).steps] == list(Step)


def test_assumptions_say_so_and_the_shops_own_numbers_do_too() -> None:
    made = estimate_minutes((HOOD,), given={"lay": 200})
    sources = {item.step: item.source for item in made.steps}
    assert sources[Step.LAY] == "given in the job"
    assert made.of(Step.LAY) == 200
    assert "assumption of this program" in sources[Step.WASH]
    own = estimate_minutes((HOOD,), pace=Pace())
    assert {item.source for item in own.steps} == {"the shop's own pace"}


def test_a_step_that_nobody_knows_is_refused_with_the_known_ones() -> None:
    with pytest.raises(SettingError, match="“polish” is not known; known are intake"):
        estimate_minutes((HOOD,), given={"polish": 10})


@pytest.mark.parametrize("field", ["area_mm2", "outline_mm", "wrap_mm", "cut_outs"])
@pytest.mark.parametrize("value", [-1, float("nan"), float("inf")])
def test_impossible_pieces_are_refused_by_name(field: str, value: float) -> None:
    with pytest.raises(SettingError, match="hood"):
        replace(HOOD, **{field: value})


@settings(derandomize=True, max_examples=60, deadline=None)
@given(
    field=st.sampled_from(["area_mm2", "outline_mm", "wrap_mm"]),
    more=st.floats(min_value=1.0, max_value=1e6),
)
def test_more_film_never_takes_less_time(field: str, more: float) -> None:
    larger = replace(HOOD, **{field: getattr(HOOD, field) + more})
    assert estimate_minutes((larger,)).total > estimate_minutes((HOOD,)).total


def test_every_number_of_the_pace_counts() -> None:
    strained = replace(HOOD, strained_share=0.5)
    base = estimate_minutes((strained,), pace=Pace()).total
    for item in fields(Pace):
        slower = replace(Pace(), **{item.name: getattr(Pace(), item.name) + 1})
        assert estimate_minutes((strained,), pace=slower).total > base, item.name
