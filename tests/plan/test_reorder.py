"""The reorder point against worked examples of a textbook.

S. Chopra and P. Meindl, *Supply Chain Management*, the chapters on cycle and on safety inventory;
the examples' numbers are from memory, the results follow from them.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from layflat.base import SettingError
from layflat.plan import Usual, reorder, usual_of
from nest.pieces import bounded


def test_safety_for_a_wanted_service_level() -> None:
    """2500 a week with a deviation of 500, two weeks' lead time, 0.90: 907 (906.2 exactly)."""
    found = reorder(Usual(per_day_m=2500, per_day_sd_m=500, lead_days=2), there_m=0, service=0.9)
    assert found.safety_m == pytest.approx(907, abs=1)
    assert found.mean_m == 5000
    assert found.point_m == pytest.approx(5906, abs=1)


def test_safety_when_the_lead_time_varies() -> None:
    """2500 a day, deviation 500, lead time 7 days with a deviation of 7, 0.90: 22 491."""
    usual = Usual(per_day_m=2500, per_day_sd_m=500, lead_days=7, lead_sd_days=7)
    assert reorder(usual, there_m=0, service=0.9).safety_m == pytest.approx(22491, abs=5)


def test_the_economic_order_quantity() -> None:
    """12 000 a year, 4000 an order, 500 a piece, holding 0.2: 980 (979.8) in a lot."""
    usual = Usual(per_day_m=12000 / 365, per_day_sd_m=0, lead_days=0)
    found = reorder(usual, there_m=1e6, order_cost=4000, metre_cost=500, holding=0.2, roll_m=1.0)
    assert found.order_m == 980


def test_what_is_promised_is_not_free() -> None:
    usual = usual_of([0.0, 4.0, 2.0, 2.0], [10, 10])
    assert (usual.per_day_m, usual.lead_sd_days) == (2.0, 0.0)
    calm = reorder(usual, there_m=60)
    assert not calm.is_due
    assert calm.sentence("clear gloss").startswith("No need to order clear gloss yet: 60.0 m")
    due = reorder(usual, there_m=60, promised_m=40)
    assert due.is_due
    assert due.days_left == 0
    assert due.order_m == 15.2
    assert reorder(usual, there_m=60, promised_m=40, on_order_m=40).is_due is False


@bounded
@given(
    st.floats(0, 20), st.floats(0, 10), st.floats(0, 60), st.floats(0, 20), st.floats(0.5, 0.999)
)
def test_less_chance_of_running_out_asks_for_more_film(day, sd, lead, spread, service) -> None:
    usual = Usual(per_day_m=day, per_day_sd_m=sd, lead_days=lead, lead_sd_days=spread)
    found = reorder(usual, there_m=5, promised_m=30, service=service)
    assert found.point_m >= reorder(usual, there_m=5, service=0.5).point_m - 1e-9
    assert found.is_due == (found.free_m <= found.point_m)
    if found.is_due:
        assert found.free_m + found.order_m >= found.point_m - 1e-6


@pytest.mark.parametrize(
    ("wrong", "sentence"),
    [
        ({"service": 1.0}, "chance not to run out is 1"),
        ({"promised_m": -1.0}, "film promised is -1"),
        ({"roll_m": 0.0}, "roll is 0; it must be above 0"),
    ],
)
def test_impossible_values_are_refused(wrong, sentence) -> None:
    with pytest.raises(SettingError, match=sentence):
        reorder(Usual(per_day_m=1, per_day_sd_m=1, lead_days=5), **({"there_m": 5.0} | wrong))
    with pytest.raises(SettingError, match="lead_days"):
        Usual(per_day_m=1, per_day_sd_m=1, lead_days=-5)
    with pytest.raises(SettingError, match="at least two days"):
        usual_of([1.0], [])
