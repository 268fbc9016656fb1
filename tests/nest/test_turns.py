import numpy as np
import pytest
from shapely import Polygon

from layflat.base import SettingError
from layflat.nest import parse_turns
from layflat.nest.turns import extents, flush_turns, hull_points, turn_between


@pytest.mark.parametrize(
    ("text", "turns"),
    [
        ("0", (0.0,)),
        ("0,180", (0.0, 180.0)),
        (" 180 , 0 ", (0.0, 180.0)),
        ("-90,270", (270.0,)),
        ("12.5", (12.5,)),
        ("quarter", (0.0, 90.0, 180.0, 270.0)),
        ("ANY", None),
    ],
)
def test_turns_are_read(text: str, turns: tuple[float, ...] | None) -> None:
    assert parse_turns(text) == turns


@pytest.mark.parametrize("text", ["", "0;180", "half", "nan", "inf", "0,,180"])
def test_what_is_no_turn_is_refused_with_what_would_be(text: str) -> None:
    with pytest.raises(SettingError, match="quarter and any"):
        parse_turns(text)


def test_extents_of_a_rectangle() -> None:
    hull = hull_points(Polygon([(0, 0), (30, 0), (30, 40), (0, 40)]))
    along, across = extents(hull, np.array([0.0, 90.0, 45.0]))
    np.testing.assert_allclose(along, [30, 40, 70 / np.sqrt(2)])
    np.testing.assert_allclose(across, [40, 30, 70 / np.sqrt(2)])


def test_a_flush_turn_gives_the_least_width_of_a_triangle() -> None:
    """An equilateral triangle is least wide across its height."""
    triangle = hull_points(Polygon([(0, 0), (2, 0), (1, np.sqrt(3))]))
    _, across = extents(triangle, np.array(flush_turns(triangle)))
    assert across.min() == pytest.approx(np.sqrt(3))


def test_turns_are_compared_round_the_circle() -> None:
    assert turn_between(359.0, 1.0) == pytest.approx(-2.0)
    assert turn_between(1.0, 359.0) == pytest.approx(2.0)
