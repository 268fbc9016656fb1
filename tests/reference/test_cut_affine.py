"""Shifts read at marks to an affine map, against numpy's least squares on known transforms.

Source: numpy's `linalg.lstsq` (LAPACK gelsd) on the design written out here, and the closed form
of the variance of a slope, s² / sum (x - mean)², as in any handbook of statistics.
"""

import math

import numpy as np
import pytest

from layflat.base import InputError
from layflat.cut import fit_affine

KNOWN = [
    ("scale along", (0.0, 0.0), [[0.004, 0.0], [0.0, 0.0]]),
    ("skew of half a per cent", (0.0, 0.0), [[0.0, 0.0], [0.005, 0.0]]),
    ("turn of a milliradian", (3.0, -2.0), [[-5e-7, -1e-3], [1e-3, -5e-7]]),
    ("all of it", (-1.5, 0.7), [[0.01, -0.002], [0.003, -0.015]]),
]


def places(count: int, seed: int) -> np.ndarray:
    return np.random.default_rng(seed).uniform((0, 0), (2500, 1500), (count, 2))


@pytest.mark.parametrize(("name", "shift", "matrix"), KNOWN)
def test_known_transforms_are_recovered(
    name: str, shift: tuple[float, float], matrix: list[list[float]]
) -> None:
    at = places(7, 3)
    found = fit_affine(at, np.array(shift) + at @ np.array(matrix).T, most_off_mm=0.2)
    assert found.shift_mm == pytest.approx(shift, abs=1e-9), name
    assert found.matrix == pytest.approx(np.array(matrix), abs=1e-12), name
    # Aimed where it is undone, the place itself is met.
    aim = found.undone(at)
    assert aim + found.at(aim) == pytest.approx(at, abs=1e-9)


@pytest.mark.parametrize("seed", range(5))
def test_noisy_readings_give_what_numpy_gives(seed: int) -> None:
    at = places(9, seed)
    read = 0.003 * at + np.random.default_rng(seed + 50).uniform(-0.2, 0.2, (9, 2))
    found = fit_affine(at, read, most_off_mm=0.2)
    design = np.column_stack((np.ones(9), at))
    solved, residuals, rank, _ = np.linalg.lstsq(design, read, rcond=None)
    assert rank == 3
    assert found.shift_mm == pytest.approx(solved[0], abs=1e-8)
    assert found.matrix == pytest.approx(solved[1:].T, abs=1e-11)
    assert found.chi_square == pytest.approx(residuals.sum() / (0.2**2 / 3))
    assert found.freedom == 12
    spread = np.linalg.inv(design.T @ design) * 0.2**2 / 3
    assert found.covariance == pytest.approx(spread, rel=1e-6)


def test_the_error_of_a_slope_is_the_handbooks() -> None:
    """A slope's variance: s² over the sum of squares about the mean."""
    at = [(x, y) for x in (0.0, 400.0, 800.0) for y in (10.0, 290.0)]
    found = fit_affine(at, np.zeros((6, 2)), most_off_mm=0.3)
    assert found.error(1) == pytest.approx(1.959964 * 0.3 / math.sqrt(3 * 640_000), rel=1e-5)
    assert found.error(2) == pytest.approx(1.959964 * 0.3 / math.sqrt(3 * 6 * 140**2), rel=1e-5)


def test_what_places_do_not_tell_is_said() -> None:
    one = fit_affine([(500, 10)], [(1.0, 2.0)], most_off_mm=0.2)
    assert one.determined == (False, False, False)
    assert one.freedom == 0
    margin = fit_affine([(0, 10), (500, 10), (900, 10)], np.zeros((3, 2)), most_off_mm=0.2)
    assert margin.determined == (False, True, False)
    assert margin.error(2) == math.inf
    across = fit_affine([(5, 10), (5, 290)], [(0, 0), (0, 1)], most_off_mm=0.2)
    assert across.determined == (False, False, True)
    assert fit_affine(places(3, 1), np.zeros((3, 2)), most_off_mm=0.2).determined == (True,) * 3


def test_no_reading_and_no_number_are_refused() -> None:
    with pytest.raises(InputError, match="no reading"):
        fit_affine([], [], most_off_mm=0.2)
    with pytest.raises(InputError, match="not a finite number"):
        fit_affine([(0, 0)], [(math.nan, 0)], most_off_mm=0.2)
