"""Which roll stands ticked before anybody has looked."""

import pytest

from layflat.web.cutting.choosing import Free, with_first_choice
from layflat.web.cutting.first import side_by_side
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
        # As wide and as long as is asked for, to the millimetre, is enough.
        ([free("1", width_mm=1200), free("2")], 1),
        ([free("1", free_mm=3000), free("2")], 1),
        # The usual film comes before a roll that holds all of it, and it goes by length.
        ([free("1", film="Matt"), free("2", free_mm=2900), free("3", free_mm=2900)], 2),
        ([free("1", film="Matt", free_mm=500), free("2", film="Matt", free_mm=500), free("3")], 3),
        # Of those that hold all of it the first, not the longest.
        ([free("1", free_mm=4000), free("2", free_mm=9000)], 1),
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


@pytest.mark.parametrize(
    ("boxes", "taken"),
    [
        # 790 by 760 mm are left of 800 by 800 once the margins are off.
        ({1: (790, 760)}, (1,)),
        ({1: (791, 760)}, ()),
        # Quarter turns are allowed, so a piece may lie across.
        ({1: (760, 790)}, (1,)),
        # Two beside each other with a gap of 4 mm between.
        ({1: (700, 378), 2: (700, 378)}, (1, 2)),
        ({1: (750, 379), 2: (750, 412)}, (2,)),
        # Turned, one behind the other.
        ({1: (750, 379), 2: (750, 407)}, (1, 2)),
        # One behind the other, and a small one beside.
        ({1: (390, 760), 2: (396, 700), 3: (100, 56)}, (1, 2, 3)),
        ({1: (390, 760), 2: (397, 700), 3: (100, 56)}, (1, 3)),
        ({}, ()),
    ],
)
def test_what_goes_side_by_side(boxes: dict[int, tuple[float, float]], taken: object) -> None:
    assert side_by_side(boxes, 800.0, 800.0) == taken
