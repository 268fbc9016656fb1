"""Money by hand: every expected amount here can be worked out on paper."""

from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from layflat.base import SettingError
from layflat.nest import Layout, Section, Stock
from layflat.plan import (
    Minutes,
    Price,
    Rates,
    Step,
    StepMinutes,
    film_metres,
    price,
    to_money,
)

RATES = Rates(
    currency="EUR",
    film_per_metre=Decimal("42.50"),
    per_hour=Decimal(72),
    consumables=Decimal("18.90"),
    tax=Decimal("0.2"),
)


def minutes(**by_step: float) -> Minutes:
    return Minutes(
        tuple(
            StepMinutes(step=Step(name.replace("_", "-")), minutes=value, source="test")
            for name, value in by_step.items()
        )
    )


def layout(length_mm: float) -> Layout:
    return Layout(
        stock=Stock(width_mm=1524.0, edge_margin_mm=20.0),
        gap_mm=4.0,
        placements=(),
        sections=(Section(start_mm=0.0, end_mm=length_mm),),
        length_mm=length_mm,
        piece_area_mm2=0.0,
        lower_bound_mm=0.0,
        seed=1,
        seconds=1.0,
    )


def test_a_job_worked_out_by_hand() -> None:
    made = price(metres=Decimal("7.35"), minutes=minutes(wash=90, lay=245), rates=RATES)
    # 7.35 × 42.50 = 312.375; 90 min at 72 per hour = 108; 245 min = 294; 18.90 consumables.
    assert [line.amount for line in made.lines] == [
        Decimal("312.38"),
        Decimal("108.00"),
        Decimal("294.00"),
        Decimal("18.90"),
    ]
    assert made.net == Decimal("733.28")
    assert made.tax == Decimal("146.66")  # 146.656
    assert made.gross == Decimal("879.94")


@pytest.mark.parametrize(
    ("amount", "coins"),
    [("0.005", "0.01"), ("0.0049999", "0.00"), ("2.675", "2.68"), ("1.005", "1.01")],
)
def test_half_a_coin_goes_up(amount: str, coins: str) -> None:
    assert to_money(Decimal(amount)) == Decimal(coins)


def test_a_coinless_currency_rounds_to_whole_numbers() -> None:
    assert to_money(Decimal("12.5"), decimals=0) == Decimal(13)


def test_rates_keep_the_number_that_a_person_wrote() -> None:
    rates = Rates.from_numbers(currency="EUR", film_per_metre=0.1, per_hour=19.99, tax=0.081)
    assert (rates.film_per_metre, rates.per_hour, rates.tax) == (
        Decimal("0.1"),
        Decimal("19.99"),
        Decimal("0.081"),
    )


def test_tax_is_rounded_once_on_the_sum() -> None:
    rates = Rates(
        currency="EUR",
        film_per_metre=Decimal(0),
        per_hour=Decimal(3),
        tax=Decimal("0.1"),
    )
    # Two lines of 0.05 would each carry 0.005 of tax, rounded up to 0.01; the sum carries 0.01.
    made = price(metres=Decimal(0), minutes=minutes(cut=1, weed=1), rates=rates)
    assert (made.net, made.tax) == (Decimal("0.10"), Decimal("0.01"))


@pytest.mark.parametrize(
    ("length_mm", "metres"), [(3000.0, "3.00"), (3000.1, "3.01"), (2995.0, "3.00"), (0.1, "0.01")]
)
def test_film_is_counted_up_to_the_next_centimetre(length_mm: float, metres: str) -> None:
    assert film_metres(layout(length_mm)) == Decimal(metres)


def test_steps_without_time_and_lumps_without_price_have_no_line() -> None:
    rates = Rates(currency="EUR", film_per_metre=Decimal(10), per_hour=Decimal(60))
    made = price(metres=Decimal(1), minutes=minutes(intake=0, lay=30), rates=rates)
    assert [line.unit for line in made.lines] == ["m", "min"]


@settings(derandomize=True, max_examples=60, deadline=None)
@given(
    metres=st.decimals(min_value=0, max_value=100, places=2),
    lay=st.integers(min_value=1, max_value=5000),
)
def test_the_sheet_adds_up_as_the_customer_adds_it_up(metres: Decimal, lay: int) -> None:
    made: Price = price(metres=metres, minutes=minutes(lay=lay), rates=RATES)
    assert sum(line.amount for line in made.lines) == made.net
    assert made.net + made.tax == made.gross
    assert all(amount == to_money(amount) for amount in (made.net, made.tax, made.gross))


@pytest.mark.parametrize("field", ["film_per_metre", "per_hour", "consumables", "tax"])
@pytest.mark.parametrize("value", ["-0.01", "NaN", "Infinity"])
def test_impossible_rates_are_refused_by_name(field: str, value: str) -> None:
    values = {"film_per_metre": Decimal(1), "per_hour": Decimal(1), field: Decimal(value)}
    with pytest.raises(SettingError, match=field):
        Rates(currency="EUR", **values)  # type: ignore[arg-type]


def test_a_tax_in_per_cent_is_refused_with_the_fraction_it_should_be() -> None:
    with pytest.raises(SettingError, match="as a fraction"):
        Rates(currency="EUR", film_per_metre=Decimal(1), per_hour=Decimal(1), tax=Decimal(20))


def test_negative_film_is_refused() -> None:
    with pytest.raises(SettingError, match="cannot be"):
        price(metres=Decimal(-1), minutes=minutes(lay=1), rates=RATES)


def test_numbers_of_numpy_are_taken_as_well() -> None:
    rates = Rates.from_numbers(
        currency="EUR", film_per_metre=float(np.float64(12.5)), per_hour=60.0
    )
    assert rates.film_per_metre == Decimal("12.5")
