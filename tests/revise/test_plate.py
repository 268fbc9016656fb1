"""The field: against scipy's thin-plate spline, its own slopes, and what its reach promises."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.interpolate import RBFInterpolator
from scipy.signal import find_peaks
from scipy.special import kv

from layflat.base import InputError
from layflat.revise import Field, Taps, bend
from layflat.revise.plate import influence


def landmarks(points: np.ndarray) -> Taps:
    """The displacement of each point, x and y in turn."""
    count = len(points)
    return Taps(np.repeat(points, 2, axis=0), np.tile(np.eye(2), (count, 1)), np.arange(2 * count))


@pytest.mark.parametrize("smoothing", [0.0, 3.0, 400.0])
def test_a_free_plate_is_scipys_thin_plate_spline(smoothing: float) -> None:
    # scipy.interpolate.RBFInterpolator, kernel "thin_plate_spline", degree 1.
    rng = np.random.default_rng(1)
    points, shifts = rng.uniform(-300, 300, (15, 2)), rng.normal(size=(15, 2))
    field = bend(landmarks(points), shifts.ravel(), smoothing * np.eye(30), reach_mm=None)
    peer = RBFInterpolator(points, shifts, kernel="thin_plate_spline", smoothing=smoothing)
    where = rng.uniform(-400, 400, (60, 2))
    assert np.allclose(field.at(where), peer(where), atol=1e-7)


def test_the_influence_is_matern_of_order_two_and_a_twentieth_at_the_reach() -> None:
    # ½ x² K₂(x), by scipy.special.kv.
    x = np.linspace(0.01, 12.0, 50)
    ours = influence(x * 100.0 / 5.368, 100.0)
    assert np.allclose(ours, 0.5 * x**2 * kv(2, x), rtol=1e-9)
    assert influence(np.array([100.0]), 100.0)[0] == pytest.approx(0.05, abs=1e-4)
    assert (np.diff(ours) < 0).all()
    assert influence(np.zeros(1), 100.0)[0] == 1.0


@pytest.mark.parametrize("reach_mm", [None, 250.0])
def test_slopes_are_those_of_the_field_and_the_way_back_is_exact(reach_mm: float | None) -> None:
    rng = np.random.default_rng(2)
    points = rng.uniform(0, 400, (8, 2))
    field = bend(landmarks(points), rng.normal(size=16), np.zeros((16, 16)), reach_mm=reach_mm)
    where, step = rng.uniform(0, 400, (20, 2)), 1e-4
    numeric = np.stack(
        [(field.at(where + h) - field.at(where - h)) / (2 * step) for h in step * np.eye(2)], -1
    )
    assert np.allclose(field.gradient(where), numeric, atol=1e-6)
    assert np.allclose(field.jacobian(where), np.linalg.det(numeric + np.eye(2)), atol=1e-6)
    assert np.allclose(field.undone(where + field.at(where)), where, atol=1e-7)


def test_sums_over_several_points_are_met() -> None:
    # The mean of two points' x, and a difference along y: one field meets both.
    points = np.array([[0.0, 0.0], [50.0, 0.0], [0.0, 80.0], [60.0, 90.0]])
    weights = np.array([[0.5, 0.0], [0.5, 0.0], [0.0, 1.0], [0.0, -1.0]])
    taps = Taps(points, weights, np.array([0, 0, 1, 1]))
    field = bend(taps, np.array([1.0, -0.5]), np.zeros((2, 2)), reach_mm=300.0)
    assert np.allclose(taps.of(field), [1.0, -0.5])
    assert field.at(points[:2])[:, 0].mean() == pytest.approx(1.0)


@settings(max_examples=10, deadline=None)
@given(st.floats(-3, 3), st.floats(-3, 3), st.floats(80, 300))
def test_between_two_notes_it_neither_overshoots_nor_turns_more_than_once(
    first: float, second: float, apart: float
) -> None:
    points = np.array([[0.0, 0.0], [apart, 0.0]])
    taps = Taps(points, np.array([[0.0, 1.0]] * 2), np.arange(2))
    field = bend(taps, np.array([first, second]), 0.05 * np.eye(2), reach_mm=300.0)
    between = field.at(np.column_stack((np.linspace(0, apart, 80), np.zeros(80))))[:, 1]
    low, high = min(first, second, 0.0), max(first, second, 0.0)
    assert between.min() >= low - 0.08 * (high - low) - 1e-9
    assert between.max() <= high + 0.08 * (high - low) + 1e-9
    least = 0.02 + 0.1 * (high - low)
    turns = sum(len(find_peaks(sign * between, prominence=least)[0]) for sign in (1.0, -1.0))
    assert turns <= 1


def test_places_on_one_line_cannot_carry_a_free_plate() -> None:
    points = np.array([[0.0, 0.0], [1.0, 0.0], [2.0, 0.0]])
    with pytest.raises(InputError, match="lie on one line"):
        bend(landmarks(points), np.ones(6), np.zeros((6, 6)), reach_mm=None)


def test_a_still_field_moves_nothing() -> None:
    assert not Field.still().at(np.ones((3, 2))).any()
