"""What a person says which line is the outline, and the places that refusals name."""

from functools import cache

import numpy as np
import pytest

from layflat.pattern import curve_area_mm2
from layflat.photo import Outline, PhotoError, Plane, trace
from layflat.photo.correct import outline_said
from photo.bad import BAD, seen, small
from photo.scenes import mirror_cap

LEFT, RIGHT = np.array([-15.0, 0.0]), np.array([122.0, 0.0])
"""On two rings of pen: 55 mm about (-70, 0), and 52 mm about (70, 0)."""


@cache
def two() -> Plane:
    return BAD["two outlines of like size"][0]()


def test_of_two_like_lines_that_is_the_outline_of_which_a_person_says_so() -> None:
    for said, radius in (([LEFT], 55.0), ([LEFT, RIGHT], 52.0)):
        (curve,) = trace(two(), corrections=[Outline(at) for at in said]).curves
        assert curve.kind == "outline"
        assert curve_area_mm2(curve.curve) == pytest.approx(np.pi * radius**2, rel=0.005)


def test_the_outline_said_last_counts() -> None:
    assert outline_said([]) is None
    said = outline_said([Outline(LEFT), Outline(RIGHT)])
    assert said is not None
    np.testing.assert_array_equal(said, RIGHT)


def test_an_outline_said_where_no_line_closes_is_refused_with_its_place() -> None:
    with pytest.raises(PhotoError, match=r"no closed line at \(0, 80\) mm") as caught:
        trace(two(), corrections=[Outline(np.array([0.0, 80.0]))])
    assert caught.value.at_mm == ((0.0, 80.0),)


def test_refusals_name_their_places() -> None:
    ring = mirror_cap().exterior
    with pytest.raises(PhotoError, match="is open by") as caught:
        trace(seen(small(gaps_mm=((100.0, 30.0),))))
    ends = [np.array(ring.interpolate(at).coords[0]) for at in (100.0, 130.0)]
    found = [np.array(place) for place in caught.value.at_mm]
    for end in ends:
        assert min(float(np.hypot(*(end - place))) for place in found) < 2.0
    with pytest.raises(PhotoError, match="two outlines") as caught:
        trace(two())
    away = [abs(np.hypot(x + 70.0, y) - 55.0) < 0.5 or abs(np.hypot(x - 70.0, y) - 52.0) < 0.5
            for x, y in caught.value.at_mm]  # fmt: skip
    assert away == [True, True]


def test_an_error_takes_places_as_numbers_in_any_form() -> None:
    error = PhotoError("Here.")
    assert error.at_mm == ()
    assert error.about((1, 2), np.array([[3.0, 4.5]])) is error
    assert error.at_mm == ((1.0, 2.0), (3.0, 4.5))
    with pytest.raises(ValueError, match="reshape"):
        error.about((1.0, 2.0, 3.0))
