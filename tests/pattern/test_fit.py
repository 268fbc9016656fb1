"""The fit of lines and arcs: within its deviation, smooth, few, and without self-contact."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LinearRing, Polygon

from layflat.base import FloatArray, InputError
from layflat.pattern import Curve, curve_area_mm2, fit_curve, sample
from layflat.pattern.arcs import distances_to_curve, distances_to_element
from layflat.pattern.curve import tangent_turns
from layflat.pattern.fit import fit_loop
from layflat.pattern.spans import Joints, biarcs


def ring(radius: float, count: int) -> FloatArray:
    angles = 2.0 * np.pi * np.arange(count) / count
    return radius * np.column_stack((np.cos(angles), np.sin(angles)))


def sides(corners: list[tuple[float, float]], count: int) -> FloatArray:
    following = [*corners[1:], corners[0]]
    return np.vstack(
        [np.linspace(a, b, count + 1)[:-1] for a, b in zip(corners, following, strict=True)]
    )


@pytest.mark.parametrize("radius", [5.0, 50.0, 500.0])
def test_a_sampled_circle_becomes_the_circle_not_its_facets(radius: float) -> None:
    points = ring(radius, max(12, round(2.0 * math.pi * radius / 10.0)))
    fitted = fit_curve(points)
    assert len(fitted.bulges) <= 4
    assert curve_area_mm2(fitted) == pytest.approx(math.pi * radius**2, rel=1e-6)
    facets = Polygon(points).area
    assert abs(math.pi * radius**2 - facets) > 100.0 * abs(
        math.pi * radius**2 - curve_area_mm2(fitted)
    )


def test_a_square_becomes_four_lines_through_its_corners() -> None:
    corners = [(0.0, 0.0), (100.0, 0.0), (100.0, 60.0), (0.0, 60.0)]
    for named in ((0, 20, 40, 60), ()):
        fitted = fit_loop(sides(corners, 20), corners=named)
        np.testing.assert_allclose(fitted.curve.points_mm, corners, atol=1e-12)
        np.testing.assert_array_equal(fitted.curve.bulges, 0.0)
        np.testing.assert_array_equal(fitted.corners, [0, 1, 2, 3])


def test_two_corners_close_together_are_both_kept() -> None:
    step = [(0.0, 0.0), (50.0, 0.0), (50.0, 0.4), (100.0, 0.4), (100.0, 60.0), (0.0, 60.0)]
    fitted = fit_loop(np.array(step), deviation_mm=0.02, least_corner_deg=6.0, tight_bends=False)
    np.testing.assert_allclose(fitted.curve.points_mm, step, atol=1e-12)


@pytest.mark.parametrize("noise", [0.0, 0.01])
def test_smooth_between_corners(noise: float) -> None:
    x = np.linspace(0.0, 600.0, 80)
    bow = np.column_stack((x, -40.0 * np.sin(np.pi * x / 600.0)))
    points = np.vstack((bow[:-1], sides([(600.0, 0.0), (600.0, 300.0), (0.0, 300.0)], 20)[:40]))
    points = np.vstack((points, np.linspace((0.0, 300.0), (0.0, 0.0), 21)[:-1]))
    points = points + np.random.default_rng(5).normal(0.0, noise, points.shape)
    fitted = fit_loop(points, corners=(0, 79, 99, 119))
    turns = np.abs(np.degrees(tangent_turns(fitted.curve)))
    turns[fitted.corners] = 0.0
    assert turns.max() < 0.5
    assert distances_to_curve(points, fitted.curve).max() <= 0.05
    assert len(fitted.curve.bulges) < 0.35 * len(points)
    np.testing.assert_array_equal(fitted.curve.points_mm[fitted.given], points[[0, 79, 99, 119]])


@settings(max_examples=25, deadline=None, derandomize=True, database=None)
@given(
    st.lists(st.tuples(st.floats(0.0, 0.09), st.floats(0.0, 6.28)), min_size=1, max_size=4),
    st.integers(60, 160),
    st.sampled_from([0.01, 0.05, 0.2]),
    st.floats(0.0, 0.4),
)
def test_the_fit_keeps_its_deviation_both_ways(
    waves: list[tuple[float, float]], count: int, deviation: float, unevenness: float
) -> None:
    """Wavy closed lines sampled unevenly, as a mesh's boundary is."""
    rng = np.random.default_rng(count)
    angles = 2.0 * np.pi * (np.arange(count) + unevenness * rng.uniform(-1, 1, count)) / count
    radius = 200.0 * (1.0 + sum(a * np.cos((k + 2) * angles + p) for k, (a, p) in enumerate(waves)))
    points = np.column_stack((radius * np.cos(angles), radius * np.sin(angles)))
    curve = fit_curve(points, deviation_mm=deviation)
    assert distances_to_curve(points, curve).max() <= deviation
    drawn = sample(curve, deviation_mm=0.1 * deviation)
    assert LinearRing(drawn).is_simple
    # The other way the chords of the polyline stand between: their sagitta comes on top.
    before, after = points - np.roll(points, 1, axis=0), np.roll(points, -1, axis=0) - points
    bends = np.abs(np.arctan2(before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0],
                              np.sum(before * after, axis=1)))  # fmt: skip
    sagitta = float((np.hypot(*after.T) * np.maximum(bends, np.roll(bends, -1)) / 4.0).max())
    away = LinearRing(points).hausdorff_distance(LinearRing(drawn))
    assert away <= 1.2 * deviation + sagitta


def test_the_fit_is_deterministic() -> None:
    points = ring(80.0, 77) * np.array([1.0, 0.6])
    one, two = fit_curve(points), fit_curve(points.copy())
    np.testing.assert_array_equal(one.points_mm, two.points_mm)
    np.testing.assert_array_equal(one.bulges, two.bulges)


@pytest.mark.parametrize(
    ("points", "words"),
    [
        (np.zeros((5, 2)), "different points"),
        (np.array([[0.0, 0.0], [1.0, 0.0]]), "different points"),
        (np.array([[0.0, 0.0], [1.0, np.nan], [0.0, 1.0]]), "not finite"),
        (np.array([[0.0, 0.0], [9.0, 9.0], [9.0, 0.0], [0.0, 9.0]]), "touches itself"),
    ],
)
def test_a_line_that_cannot_be_an_outline_is_refused(points: FloatArray, words: str) -> None:
    with pytest.raises(InputError, match=words):
        fit_curve(points)


def test_options_out_of_range_are_refused() -> None:
    with pytest.raises(InputError, match="above 0"):
        fit_curve(ring(10.0, 20), deviation_mm=0.0)
    with pytest.raises(InputError, match="not one of the points"):
        fit_curve(ring(10.0, 20), corners=(20,))


def test_a_biarc_leaves_and_arrives_as_asked() -> None:
    start, end = np.array([0.0, 0.0]), np.array([10.0, 4.0])
    leaving, arriving = np.array([0.6, 0.8]), np.array([1.0, 0.0])
    pair = biarcs(start, leaving, Joints(np.array([1]), end[None], arriving[None]))
    bulges = np.tan(0.5 * pair.halves[:, 0])
    path = Curve(np.array([start, pair.middles[0], end]), np.array([*bulges, 0.0]))
    turns = tangent_turns(path)
    assert turns[1] == pytest.approx(0.0, abs=1e-12)
    points = sample(path, deviation_mm=1e-6)
    first = (points[1] - points[0]) / math.dist(points[0], points[1])
    assert first == pytest.approx(leaving, abs=2e-3)


def test_distances_to_an_arc_are_exact() -> None:
    """A half circle of radius 1 below the x axis, from (-1, 0) to (1, 0)."""
    start, end = np.array([-1.0, 0.0]), np.array([1.0, 0.0])
    points = np.array([[0.0, 0.0], [0.0, -3.0], [0.0, 2.0], [2.0, 0.0], [0.6, -0.8]])
    found = distances_to_element(points, start, end, 1.0)
    assert found == pytest.approx([1.0, 2.0, math.sqrt(5.0), 1.0, 0.0], abs=1e-12)
