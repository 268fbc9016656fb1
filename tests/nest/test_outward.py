import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely import Polygon

from layflat.nest.outward import FEW_POINTS, MITRE_LIMIT, grow, ring_points
from layflat.pattern import Pattern, to_polygon
from nest.pieces import HOOK, bounded, stars


@bounded
@given(pattern=stars(), distance=st.floats(0, 5), slack=st.floats(0, 2))
def test_an_outline_grows_and_never_shrinks(
    pattern: Pattern, distance: float, slack: float
) -> None:
    polygon = to_polygon(pattern, deviation_mm=0.01)
    grown = grow(polygon, distance_mm=distance, slack_mm=slack)
    assert grown.is_valid
    assert grown.buffer(1e-5).covers(polygon.buffer(distance * 0.9999, quad_segs=16))
    reach = np.hypot(MITRE_LIMIT, 1.0) * distance + 1.1 * slack + 1e-5
    farthest = polygon.buffer(reach, quad_segs=32)
    assert farthest.covers(grown)


def test_a_dense_smooth_outline_comes_out_with_few_points() -> None:
    angles = np.linspace(0, 2 * np.pi, 2000, endpoint=False)
    radius = 300 + 40 * np.cos(3 * angles)
    blob = Polygon(np.column_stack((radius * np.cos(angles), radius * np.sin(angles))))
    grown = grow(blob, distance_mm=2, slack_mm=1)
    assert len(ring_points(grown)) <= 1.5 * FEW_POINTS
    assert grown.covers(blob.buffer(2 - 1e-6))


def test_nothing_asked_nothing_changed() -> None:
    hook = Polygon(HOOK)
    assert grow(hook, distance_mm=0, slack_mm=0).equals_exact(hook)


def test_holes_are_left_out() -> None:
    ring = Polygon(HOOK, [[(5, 5), (5, 10), (10, 10), (10, 5)]])
    assert grow(ring, distance_mm=1, slack_mm=0).interiors[:] == []


def test_the_points_run_counter_clockwise() -> None:
    clockwise = Polygon(HOOK[::-1])
    ring = ring_points(clockwise)
    x, y = ring.T
    assert 0.5 * np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y) == pytest.approx(3600)
