"""Curves of lines and arcs, against closed forms and by properties."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from shapely import Polygon

from layflat.base import InputError
from layflat.pattern import (
    Curve,
    Pattern,
    bounds,
    corners,
    curve_area_mm2,
    curve_length_mm,
    pattern_area_mm2,
    place,
    reverse,
    sample,
    to_polygon,
    transform,
)

CIRCLE = Curve(np.array([[10.0, 0.0], [-10.0, 0.0]]), np.ones(2))
SQUARE = Curve(np.array([[0.0, 0.0], [40.0, 0.0], [40.0, 40.0], [0.0, 40.0]]), np.zeros(4))
SLOT = Curve(
    np.array([[0.0, -5.0], [30.0, -5.0], [30.0, 5.0], [0.0, 5.0]]), np.array([0.0, 1.0, 0.0, 1.0])
)
"""A slot of 30 mm between the centres of its half-round ends of 5 mm radius."""

BULGES = st.floats(-3.0, 3.0, allow_subnormal=False)
COORDINATES = st.floats(-500.0, 500.0, allow_subnormal=False)
CURVES = st.integers(2, 6).flatmap(
    lambda count: st.builds(
        Curve,
        arrays(np.float64, (count, 2), elements=COORDINATES),
        arrays(np.float64, count, elements=BULGES),
    )
)
QUICK = settings(max_examples=60, deadline=None, derandomize=True, database=None)


def test_a_circle_has_its_area_length_and_bounds() -> None:
    assert curve_area_mm2(CIRCLE) == pytest.approx(100.0 * math.pi, rel=1e-14)
    assert curve_length_mm(CIRCLE) == pytest.approx(20.0 * math.pi, rel=1e-14)
    assert bounds(CIRCLE) == pytest.approx((-10.0, -10.0, 10.0, 10.0), abs=1e-12)


def test_a_slot_has_its_area_length_and_bounds() -> None:
    assert curve_area_mm2(SLOT) == pytest.approx(300.0 + 25.0 * math.pi, rel=1e-14)
    assert curve_length_mm(SLOT) == pytest.approx(60.0 + 10.0 * math.pi, rel=1e-14)
    assert bounds(SLOT) == pytest.approx((-5.0, -5.0, 35.0, 5.0), abs=1e-12)


def test_an_arc_inward_takes_its_segment_away() -> None:
    bitten = Curve(SQUARE.points_mm, np.array([-1.0, 0.0, 0.0, 0.0]))
    assert curve_area_mm2(bitten) == pytest.approx(1600.0 - 0.5 * math.pi * 20.0**2, rel=1e-14)
    assert bounds(bitten) == pytest.approx((0.0, 0.0, 40.0, 40.0), abs=1e-12)


@pytest.mark.parametrize("bulge", [1e-3, 1e-6, 1e-9])
def test_nearly_straight_arcs_lose_no_digits(bulge: float) -> None:
    bent = Curve(SQUARE.points_mm, np.array([bulge, 0.0, 0.0, 0.0]))
    # For a flat arc the segment is 2/3 chord x sagitta, the sagitta bulge x chord / 2.
    gained = curve_area_mm2(bent) - 1600.0
    assert gained == pytest.approx(2.0 / 3.0 * 40.0 * bulge * 20.0, rel=1e-4, abs=1e-12)
    assert curve_length_mm(bent) == pytest.approx(160.0, abs=1e-3)


@QUICK
@given(CURVES)
def test_areas_and_bounds_agree_with_fine_chords(curve: Curve) -> None:
    points = sample(curve, deviation_mm=0.001)
    x, y = points.T
    shoelace = 0.5 * float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))
    length = float(np.hypot(*(points - np.roll(points, 1, axis=0)).T).sum())
    assert curve_area_mm2(curve) == pytest.approx(shoelace, abs=0.002 * (length + 1.0))
    low, high = points.min(axis=0), points.max(axis=0)
    assert bounds(curve) == pytest.approx((*low, *high), abs=0.0011)


@QUICK
@given(CURVES, st.floats(0.01, 2.0))
def test_samples_lie_on_their_arcs_within_the_deviation(curve: Curve, deviation: float) -> None:
    coarse = sample(curve, deviation_mm=deviation)
    fine = sample(curve, deviation_mm=0.02 * deviation)
    starts, chords = coarse, np.roll(coarse, -1, axis=0) - coarse
    size = np.maximum(np.sum(chords**2, axis=1), 1e-30)
    part = np.clip(np.sum((fine[:, None] - starts) * chords, axis=2) / size, 0.0, 1.0)
    away = np.linalg.norm(fine[:, None] - starts - part[..., None] * chords, axis=2).min(axis=1)
    assert away.max() <= deviation * (1.0 + 1e-6) + 1e-9


@QUICK
@given(CURVES, st.floats(-720.0, 720.0), COORDINATES, COORDINATES, st.booleans())
def test_moving_keeps_area_and_length(
    curve: Curve, turn: float, x: float, y: float, mirrored: bool
) -> None:
    moved = transform(curve, turn_deg=turn, x_mm=x, y_mm=y, mirrored=mirrored)
    scale = 1.0 + curve_length_mm(curve) ** 2
    assert curve_area_mm2(moved) == pytest.approx(curve_area_mm2(curve), abs=1e-9 * scale)
    assert curve_length_mm(moved) == pytest.approx(curve_length_mm(curve), abs=1e-9 * scale)


@QUICK
@given(CURVES)
def test_reversing_twice_changes_nothing(curve: Curve) -> None:
    assert curve_area_mm2(reverse(curve)) == pytest.approx(
        -curve_area_mm2(curve), abs=1e-9 * (1.0 + curve_length_mm(curve) ** 2)
    )
    back = reverse(reverse(curve))
    np.testing.assert_array_equal(back.points_mm, curve.points_mm)
    np.testing.assert_array_equal(back.bulges, curve.bulges)


@pytest.mark.parametrize("turn", [0.0, 90.0, 180.0, 270.0, -90.0, 450.0])
def test_quarter_turns_are_exact(turn: float) -> None:
    moved = transform(SQUARE, turn_deg=turn)
    assert set(np.abs(moved.points_mm).ravel()) == {0.0, 40.0}


def test_a_mirrored_pattern_keeps_its_sense_corners_and_area() -> None:
    hole = Curve(np.array([[5.0, 10.0], [15.0, 10.0]]), np.array([-1.0, -1.0]))
    tongue = Curve(SQUARE.points_mm, np.array([0.0, 0.5, 0.0, 0.0]))
    pattern = Pattern("a", tongue, (hole,), outline_corners=corners(tongue))
    moved = place(pattern, turn_deg=30.0, x_mm=7.0, y_mm=-3.0, mirrored=True)
    assert curve_area_mm2(moved.outline) > 0 > curve_area_mm2(moved.cut_outs[0])
    assert pattern_area_mm2(moved) == pytest.approx(pattern_area_mm2(pattern), rel=1e-12)
    assert pattern_area_mm2(pattern) == pytest.approx(
        curve_area_mm2(tongue) - 25.0 * math.pi, rel=1e-12
    )
    assert moved.outline_corners is not None
    np.testing.assert_array_equal(moved.outline_corners, corners(moved.outline))


def test_corners_are_where_the_direction_turns() -> None:
    np.testing.assert_array_equal(corners(SQUARE), [0, 1, 2, 3])
    assert len(corners(SLOT)) == 0
    assert len(corners(CIRCLE)) == 0


def test_a_polygon_has_the_holes_of_its_pattern() -> None:
    hole = Curve(np.array([[5.0, 10.0], [15.0, 10.0]]), np.array([-1.0, -1.0]))
    polygon = to_polygon(Pattern("a", SQUARE, (hole,)), deviation_mm=0.001)
    assert isinstance(polygon, Polygon)
    assert polygon.is_valid
    assert polygon.area == pytest.approx(1600.0 - 25.0 * math.pi, abs=0.05)


@pytest.mark.parametrize("deviation", [0.0, -1.0, math.nan])
def test_a_deviation_of_nothing_is_refused(deviation: float) -> None:
    with pytest.raises(InputError, match="must be above 0"):
        sample(SQUARE, deviation_mm=deviation)


def test_bounds_of_nothing_are_refused() -> None:
    with pytest.raises(InputError, match="no curve"):
        bounds([])
