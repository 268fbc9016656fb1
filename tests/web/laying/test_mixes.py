"""Slip and tack against worked dilutions, and their bounds."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from layflat.base import InputError
from layflat.web.laying.mixes import (
    AMOUNT_ML,
    BOTTLE_PERCENT,
    SHAMPOO_ML_PER_L,
    TACK_PERCENT,
    shampoo_for,
    slip,
    tack,
    temperature_hint,
)


def within(bounds: tuple[float, float]) -> st.SearchStrategy[float]:
    return st.floats(*bounds)


def test_a_worked_dilution() -> None:
    """By the rule V1 · C1 = V2 · C2 of schoolbooks on chemistry; both examples from memory.

    100 ml of 10 % from 50 % takes 20 ml and 80 ml; a litre of 25 % from 96 % takes 260 ml.
    """
    assert tack(1000.0, percent=25.0, bottle_percent=96.0).alcohol_ml == pytest.approx(
        260.4, abs=0.1
    )
    found = tack(100.0, percent=10.0, bottle_percent=50.0)
    assert (found.alcohol_ml, found.water_ml) == (pytest.approx(20.0), pytest.approx(80.0))


def test_slip_by_the_litre() -> None:
    """Common practice, no source: 3 to 8 ml of shampoo in a litre."""
    found = slip(2000.0, shampoo_ml_per_l=8.0)
    assert (found.shampoo_ml, found.water_ml) == (pytest.approx(16.0), pytest.approx(1984.0))


@given(within(AMOUNT_ML), within(TACK_PERCENT), within(BOTTLE_PERCENT))
def test_alcohol_is_neither_lost_nor_gained(amount: float, percent: float, bottle: float) -> None:
    found = tack(amount, percent=percent, bottle_percent=bottle)
    assert found.alcohol_ml * bottle == pytest.approx(amount * percent)
    assert found.alcohol_ml + found.water_ml == pytest.approx(amount)
    assert found.water_ml >= -1e-9 * amount


@given(within(AMOUNT_ML), within(SHAMPOO_ML_PER_L))
def test_slip_fills_the_amount(amount: float, shampoo: float) -> None:
    found = slip(amount, shampoo_ml_per_l=shampoo)
    assert found.shampoo_ml + found.water_ml == pytest.approx(amount)
    assert found.shampoo_ml == pytest.approx(amount * shampoo / 1000)


@pytest.mark.parametrize("value", [math.nan, math.inf, -1.0, 0.0, 1e9])
def test_what_is_out_of_bounds_is_refused(value: float) -> None:
    with pytest.raises(InputError, match="between 50 and 20000"):
        slip(value)
    with pytest.raises(InputError, match="between 50 and 20000"):
        tack(value)
    with pytest.raises(InputError, match="between 3 and 8"):
        slip(100.0, shampoo_ml_per_l=value)
    with pytest.raises(InputError, match="between 10 and 25"):
        tack(100.0, percent=value)
    with pytest.raises(InputError, match="between 25 and 100"):
        tack(100.0, bottle_percent=value)


@given(st.floats(0, 45), st.floats(0, 45))
def test_more_shampoo_in_warmth(one: float, other: float) -> None:
    """Common practice, no source."""
    low, high = sorted((one, other))
    assert SHAMPOO_ML_PER_L[0] <= shampoo_for(low) <= shampoo_for(high) <= SHAMPOO_ML_PER_L[1]


@pytest.mark.parametrize(
    ("celsius", "words"), [(12.0, "cooler"), (21.0, "suits"), (30.0, "warmer")]
)
def test_a_bay_that_is_too_warm_or_cold_is_said(celsius: float, words: str) -> None:
    assert words in temperature_hint(celsius)
