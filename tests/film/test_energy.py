import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from film.shapes import car_like, film_of
from layflat.film.energy import FlatEnergy, HenckyLaw
from layflat.film.flatten import best_scale, flatten
from layflat.film.frames import cross, frames_of_mesh
from layflat.film.inversion import inversion_limit

MESH = car_like(6, 5)
FRAMES = frames_of_mesh(MESH)
strains = st.floats(-0.5, 0.5)


def some_shape(seed: int, *, noise: float = 15.0) -> np.ndarray:
    """The panel seen from above, shaken: not equal stretches, no inverted triangle."""
    random = np.random.default_rng(seed)
    points = MESH.vertices_mm[:, 0] + 1j * MESH.vertices_mm[:, 1]
    return points * 1.03 + noise * (
        random.normal(size=len(points)) + 1j * random.normal(size=len(points))
    )


@pytest.mark.parametrize("poisson_ratio", [0.0, 0.45])
@pytest.mark.parametrize("aversion", [1.0, 7.0])
def test_gradient_is_that_of_the_value(poisson_ratio: float, aversion: float) -> None:
    energy = FlatEnergy(FRAMES, HenckyLaw(poisson_ratio, aversion))
    points = some_shape(1)
    gradient = energy.state(points).gradient
    step = 1e-4
    for i in range(len(points)):
        for way, slope in ((1.0, gradient[i].real), (1j, gradient[i].imag)):
            move = np.zeros_like(points)
            move[i] = way * step
            rise = energy.value(points + move) - energy.value(points - move)
            assert rise / (2 * step) == pytest.approx(slope, abs=1e-5 * np.abs(gradient).max())


def test_gradient_is_steady_where_both_stretches_are_equal() -> None:
    flat = MESH.vertices_mm * [1.0, 1.0, 0.0]
    frames = frames_of_mesh(type(MESH)(flat, MESH.faces))
    energy = FlatEnergy(frames, HenckyLaw(0.3))
    points = flat[:, 0] + 1j * flat[:, 1]
    assert np.abs(energy.state(points).gradient).max() < 1e-9
    # Scaling by s costs (1 + nu) ln(s)² of area, by hand.
    assert energy.value(points * 1.1) == pytest.approx(
        frames.areas.sum() * 1.3 * np.log(1.1) ** 2, rel=1e-12
    )


def test_gradient_has_no_sum_and_no_turning_moment() -> None:
    points = some_shape(2)
    gradient = FlatEnergy(FRAMES, HenckyLaw(0.45, 3.0)).state(points).gradient
    scale = np.abs(gradient).sum()
    assert abs(gradient.sum()) < 1e-12 * scale
    assert abs(np.vdot(1j * points, gradient).real) < 1e-12 * scale * np.abs(points).max()


def test_energy_of_an_inverted_shape_is_infinite() -> None:
    points = some_shape(3)
    assert FlatEnergy(FRAMES, HenckyLaw(0.3)).state(points.conj()).value == np.inf


@settings(max_examples=60, deadline=None, derandomize=True)
@given(strains, strains, strains, strains, st.sampled_from([0.0, 0.45]), st.floats(1.0, 50.0))
def test_law_is_convex_in_the_log_strains(
    a1: float, a2: float, b1: float, b2: float, poisson_ratio: float, aversion: float
) -> None:
    law = HenckyLaw(poisson_ratio, aversion)
    middle = law.density(np.array((a1 + b1) / 2), np.array((a2 + b2) / 2))
    ends = law.density(np.array([a1, b1]), np.array([a2, b2])).mean()
    assert middle <= ends + 1e-12


def test_aversion_counts_compression_only() -> None:
    plain, averse = HenckyLaw(0.3), HenckyLaw(0.3, 5.0)
    one = np.array(0.1)
    assert averse.density(one, one) == plain.density(one, one)
    assert averse.density(one, -one) == pytest.approx(plain.density(one, -one) + 0.5 * 4 * 0.01)


@settings(max_examples=30, deadline=None, derandomize=True)
@given(st.integers(0, 10_000))
def test_inversion_limit_is_where_the_first_triangle_loses_its_area(seed: int) -> None:
    points = some_shape(4)
    direction = some_shape(seed, noise=300.0) - points
    limit = inversion_limit(FRAMES, points, direction)

    def least_area(length: float) -> float:
        return float(cross(*FRAMES.sides(points + length * direction)).min())

    if np.isinf(limit):
        assert least_area(10.0) > 0.0
        return
    assert least_area(0.999 * limit) > 0.0
    assert least_area(1.001 * limit) < 0.0


def test_nothing_is_inverted_by_a_shift_or_by_growing() -> None:
    points = some_shape(5)
    assert inversion_limit(FRAMES, points, np.full_like(points, 3.0 - 1j)) == np.inf
    assert inversion_limit(FRAMES, points, points) == np.inf
    assert inversion_limit(FRAMES, points, -points) == pytest.approx(1.0, rel=1e-6)


@pytest.mark.parametrize("aversion", [1.0, 20.0])
def test_best_scale_is_least(aversion: float) -> None:
    energy = FlatEnergy(FRAMES, HenckyLaw(0.45, aversion))
    points = some_shape(6)
    scale = best_scale(energy, points)
    least = energy.value(points * scale)
    assert least < energy.value(points * scale * 1.001)
    assert least < energy.value(points * scale * 0.999)


@pytest.mark.parametrize("aversion", [1.0, 10.0])
def test_energy_is_reported_in_millijoules_and_without_aversion(aversion: float) -> None:
    """E h / (1 - nu²) times the energy in mm²: N/mm² · mm · mm² = N·mm = mJ."""
    flat = flatten(MESH, film_of(poisson_ratio=0.45), finger_aversion=aversion)
    e1, e2 = np.log(flat.strain.greatest), np.log(flat.strain.least)
    density = 20.0 / (2 * (1 - 0.45**2)) * (e1**2 + e2**2 + 2 * 0.45 * e1 * e2)
    assert flat.energy_mj == pytest.approx(float(MESH.face_areas_mm2 @ density) * 0.2, rel=1e-9)
