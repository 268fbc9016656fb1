"""Which roll stands ticked before anybody has looked."""

import pytest

from layflat.web.cutting.page import Free, with_first_choice
from layflat.web.stock.models import Roll


def free(name: str, *, film: str = "Clear", width_mm: int = 1524, free_mm: int = 5000) -> Free:
    return Free(roll=Roll(pk=int(name), film=film, width_mm=width_mm), free_mm=free_mm)


def chosen(rolls: list[Free], *, roll: Roll | None = None) -> int:
    found = with_first_choice(rolls, width_mm=1200.0, film_mm=3000.0, roll=roll)
    (first,) = [one.roll.pk for one in found if one.is_first_choice]
    assert [one.roll.pk for one in found] == [one.roll.pk for one in rolls]
    return int(first)


@pytest.mark.parametrize(
    ("rolls", "first"),
    [
        ([free("1"), free("2")], 1),
        ([free("1", free_mm=2000), free("2")], 2),
        ([free("1", width_mm=610), free("2")], 2),
        ([free("1", width_mm=610, free_mm=90_000), free("2", free_mm=100)], 2),
        ([free("1", film="Matt"), free("2", free_mm=4000), free("3", free_mm=4000)], 2),
        ([free("1", film="Matt"), free("2", free_mm=2000), free("3", free_mm=4000)], 3),
        ([free("1", width_mm=500), free("2", width_mm=610)], 2),
    ],
)
def test_the_usual_film_wide_and_long_enough(rolls: list[Free], first: int) -> None:
    assert chosen(rolls) == first


def test_the_roll_that_is_asked_for() -> None:
    rolls = [free("1"), free("2", film="Matt", free_mm=10)]
    assert chosen(rolls, roll=rolls[1].roll) == 2


def test_of_none_none_is_chosen() -> None:
    assert with_first_choice([], width_mm=1200.0) == []
