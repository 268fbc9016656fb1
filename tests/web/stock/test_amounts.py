"""Lengths and widths as people type and read them.

The inch is 25.4 mm exactly, the foot 12 inches: international yard and pound agreement, 1959.
Rolls are sold in 50 and 100 ft, 60 and 72 in (common practice, no source).
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from layflat.base import InputError
from layflat.web.people.models import Shop
from layflat.web.stock.amounts import MOST_LENGTH_MM, film_length, read_length, read_width

METRIC, INCHES = Shop(name="Yard"), Shop(name="Yard", inches=True)


@pytest.mark.parametrize(
    ("shop", "typed", "mm"),
    [
        (METRIC, "15.2", 15_200),
        (METRIC, "15,2", 15_200),
        (METRIC, " 15.2 m", 15_200),
        (METRIC, "15200 mm", 15_200),
        (METRIC, "50 ft", 15_240),
        (METRIC, "600 in", 15_240),
        (INCHES, "50", 15_240),
        (INCHES, "12 ft 6 in", 3_810),
        (INCHES, "12' 6\"", 3_810),
        (INCHES, "12′6″", 3_810),
        (INCHES, '30"', 762),
        (INCHES, "15.2M", 15_200),
        (METRIC, "0", 0),
    ],
)
def test_lengths_are_read_in_the_shop_s_unit_or_the_one_that_is_written(
    shop: Shop, typed: str, mm: int
) -> None:
    assert read_length(typed, shop) == mm


@pytest.mark.parametrize(
    ("shop", "typed", "mm"),
    [
        (METRIC, "1524", 1_524),
        (METRIC, "60 in", 1_524),
        (INCHES, "72", 1_829),
        (INCHES, "5ft", 1_524),
    ],
)
def test_widths_are_read_likewise(shop: Shop, typed: str, mm: int) -> None:
    assert read_width(typed, shop) == mm


@pytest.mark.parametrize(
    ("shop", "typed", "words"),
    [
        (METRIC, "", "is missing; write it such as 15.2 m"),
        (METRIC, "-3", "is no length"),
        (METRIC, "much", "“much” is no length"),
        (METRIC, "1e3", "is no length"),
        (METRIC, "nan", "is no length"),
        (METRIC, "٣", "is no length"),
        (METRIC, "15,200", "can be read in two ways"),
        (METRIC, "15200", "lies between nothing and 150.000 m"),
        # Inches typed where feet are asked for: no roll is so long.
        (INCHES, "600", "lies between nothing and 492 ft 1.5 in"),
        (METRIC, "9" * 40, "is no length"),
        (METRIC, "5 m 3 in", "is no length"),
        (METRIC, "5 ft 3 ft", "is no length"),
        (METRIC, "'; DROP TABLE", "is no length"),
    ],
)
def test_what_is_no_length_is_refused_in_words(shop: Shop, typed: str, words: str) -> None:
    with pytest.raises(InputError, match=words):
        read_length(typed, shop)


def test_a_width_in_the_wrong_unit_is_refused() -> None:
    # 60 inches typed without the unit in a shop that has millimetres stay possible; metres do not.
    with pytest.raises(InputError, match="between 20 mm and 3000 mm wide"):
        read_width("1.524", METRIC)
    with pytest.raises(InputError, match="wide"):
        read_width("1524", INCHES)


@given(st.integers(0, MOST_LENGTH_MM))
def test_what_is_shown_can_be_typed_again(mm: int) -> None:
    assert read_length(film_length(mm, METRIC), METRIC) == mm
    # A tenth of an inch is 2.54 mm, so what is shown lies within half of it, and rounding.
    shown = film_length(mm, INCHES)
    assert shown == "492 ft 1.5 in" or abs(read_length(shown, INCHES) - mm) <= 2


@pytest.mark.parametrize(
    ("mm", "metric", "inches"),
    [
        (15_240, "15.240 m", "50 ft"),
        (15_205, "15.205 m", "49 ft 10.6 in"),
        (762, "0.762 m", "2 ft 6 in"),
        (100, "0.100 m", "3.9 in"),
        (0, "0.000 m", "0 in"),
        (3_047, "3.047 m", "10 ft"),
    ],
)
def test_lengths_are_shown_as_the_shop_writes_them(mm: int, metric: str, inches: str) -> None:
    assert film_length(mm, METRIC) == metric
    assert film_length(mm, INCHES) == inches
