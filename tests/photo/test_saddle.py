"""Corners of squares: known places found, blur, slope of light, noise and darkness told."""

import numpy as np
import pytest

from layflat.photo.saddle import fit_saddles

FINE = 16


def corner(
    at: tuple[float, float], *, turn: float = 0.3, blur: float = 0.8, slope: float = 0.0
) -> np.ndarray:
    """A corner by counting points in each pixel, blurred by a kernel: no model of ours."""
    side = 41 * FINE
    place = (np.arange(side) + 0.5) / FINE - 0.5
    x, y = np.meshgrid(place - at[0], place - at[1])
    u = np.cos(turn) * x + np.sin(turn) * y
    v = np.cos(turn + 1.4) * x + np.sin(turn + 1.4) * y  # not square: seen at a slant
    picture = np.where(u * v > 0, 0.7, 0.05) * (1.0 + slope * x)
    kernel = np.exp(-0.5 * (np.arange(-4 * FINE, 4 * FINE + 1) / (blur * FINE)) ** 2)
    kernel /= kernel.sum()
    for axis in (0, 1):
        picture = np.apply_along_axis(lambda line: np.convolve(line, kernel, "same"), axis, picture)
    return picture.reshape(41, FINE, 41, FINE).mean(axis=(1, 3)).astype(np.float32)


def slopes(turn: float = 0.3) -> np.ndarray:
    back = 0.4 * np.array([(np.cos(turn), np.sin(turn)), (np.cos(turn + 1.4), np.sin(turn + 1.4))])
    return np.linalg.inv(back)[None]


@pytest.mark.parametrize(("blur", "slope"), [(0.8, 0.0), (1.4, 0.006)])
def test_a_corner_is_found_to_a_hundredth_of_a_pixel(blur: float, slope: float) -> None:
    at = (20.37, 19.61)
    found = fit_saddles(corner(at, blur=blur, slope=slope), np.array([(21.2, 18.9)]), slopes())
    assert found.good.all()
    # A slope moves a blurred edge by slope × blur², which the model leaves out.
    assert np.abs(found.pixels[0] - at).max() < 0.01 + 1.5 * slope * blur**2
    assert found.spread_px[0] == pytest.approx(np.hypot(blur, 12**-0.5), rel=0.05)
    assert found.contrast[0] == pytest.approx(0.325, rel=0.05)
    # Light that slopes is no noise: without its slope in the model 0.015 and more would be left.
    assert found.noise[0] < 0.006


def test_the_stated_deviation_is_that_of_noise() -> None:
    at = (20.2, 20.4)
    clean, rng, noise = corner(at), np.random.default_rng(5), 0.05
    found = [
        fit_saddles(
            (clean + rng.normal(0.0, noise, clean.shape)).astype(np.float32),
            np.array([at]),
            slopes(),
        )
        for _ in range(40)
    ]
    off = np.array([each.pixels[0] - at for each in found])
    stated = np.sqrt(np.mean([each.sigma_px[0] ** 2 - 0.02**2 for each in found]))
    # 80 values: the deviation of a deviation is 1/sqrt(160), 8 %; four of them.
    assert np.sqrt(np.mean(off**2)) == pytest.approx(stated, rel=0.32)
    assert np.median([each.noise[0] for each in found]) == pytest.approx(noise, rel=0.1)


def test_a_plain_place_is_no_corner_and_neither_is_one_at_the_border() -> None:
    plain = np.full((41, 41), 0.5, dtype=np.float32)
    assert not fit_saddles(plain, np.array([(20.0, 20.0)]), slopes()).good.any()
    assert not fit_saddles(corner((3.0, 20.0)), np.array([(3.0, 20.0)]), slopes()).good.any()
