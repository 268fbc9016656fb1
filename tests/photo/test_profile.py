"""Lines and edges measured across: closed forms of known place, width and blur."""

import numpy as np
import pytest
from scipy.special import ndtr

from layflat.photo import Plane
from layflat.photo.profile import measure
from layflat.photo.ridge import line_points
from layflat.photo.working import working
from photo.flatbed import plane

MM = 0.4
BLUR = 0.3
BOX = (-16.0, -16.0, 16.0, 16.0)


def blurred(
    middle: float, *, width: float, slope: float = 0.0, step: bool = False, noise: float = 0.002
) -> Plane:
    """A line or an edge along y at x = middle, by the light's formula, with noise."""
    size = round((BOX[2] - BOX[0]) / MM) + 1
    x = BOX[0] + MM * np.arange(size)
    if step:
        light = 0.2 + 0.5 * ndtr((x - middle) / BLUR)
    else:
        half = 0.5 * width
        bar = ndtr((x - middle + half) / BLUR) - ndtr((x - middle - half) / BLUR)
        light = (0.7 + slope * x) - 0.6 * bar
    grey = np.tile(light, (size, 1)) + np.random.default_rng(1).normal(0.0, noise, (size, size))
    return plane(grey.astype(np.float32), BOX, MM, blur_mm=BLUR)


def places(count: int = 21) -> tuple[np.ndarray, np.ndarray]:
    at = np.column_stack((np.full(count, 0.3), np.linspace(-10.0, 10.0, count)))
    return at, np.tile([1.0, 0.0], (count, 1))


@pytest.mark.parametrize("width", [0.7, 1.5, 3.0])
@pytest.mark.parametrize("middle", [0.0, 0.13, -0.37])
def test_a_pen_line_is_measured_to_a_fiftieth_of_a_pixel(width: float, middle: float) -> None:
    at, normals = places()
    found = measure(blurred(middle, width=width), at, normals, "line")
    assert found.good.all()
    np.testing.assert_allclose(at[:, 0] + found.shift_mm, middle, atol=MM / 50)
    np.testing.assert_allclose(found.width_mm, width, atol=0.1)


def test_an_edge_is_measured_with_its_blur() -> None:
    at, normals = places()
    found = measure(blurred(0.21, width=0.0, step=True), at, normals, "edge")
    assert found.good.all()
    np.testing.assert_allclose(at[:, 0] + found.shift_mm, 0.21, atol=MM / 50)
    np.testing.assert_allclose(found.width_mm, np.hypot(BLUR, 0.0), atol=0.06)


def test_uneven_light_moves_the_ridge_but_not_the_measured_middle() -> None:
    """Steger 1998: a slope of the surroundings biases the ridge of a broad line."""
    tilted = blurred(0.1, width=2.4, slope=0.04)
    ridge = line_points(working(tilted), sigma_mm=0.8, least=0.1)
    ridge = ridge.pick(np.flatnonzero(np.abs(ridge.at_mm[:, 1]) < 10.0))
    at, normals = places()
    found = measure(tilted, at, normals, "line")
    measured = np.abs(at[:, 0] + found.shift_mm - 0.1).max()
    assert measured < 0.01
    assert np.abs(np.median(ridge.at_mm[:, 0]) - 0.1) > 2.0 * measured


def test_the_stated_noise_is_that_of_the_measured_places() -> None:
    at, normals = places(200)
    at[:, 1] = np.linspace(-12.0, 12.0, 200)
    found = measure(blurred(0.1, width=1.5, noise=0.03), at, normals, "line")
    scatter = float(np.std(found.shift_mm))
    assert 0.7 * scatter < float(np.median(found.doubt_mm)) < 3.0 * scatter


def test_a_lighter_line_is_measured_too() -> None:
    dark = blurred(-0.2, width=1.2)
    light = Plane(**{**vars(dark), "grey": 0.8 - dark.grey})
    at, normals = places()
    found = measure(light, at, normals, "line")
    np.testing.assert_allclose(at[:, 0] + found.shift_mm, -0.2, atol=MM / 50)
    assert (found.contrast < 0.0).all()
