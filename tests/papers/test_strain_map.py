"""The strain map: where things lie, and that it reads without colour."""

import numpy as np
import pytest

from layflat.papers import Effort, strain_colours, strain_picture, summarise
from layflat.papers.raster import rasterise
from layflat.papers.rule import tick_mm
from papers import scene


def test_a_linear_field_is_reproduced_at_every_pixel() -> None:
    points = np.array([(0.0, 0.0), (40.0, 0.0), (40.0, 20.0), (0.0, 20.0)])
    faces = np.array([(0, 1, 2), (0, 2, 3)])
    field = (3.0 + 0.5 * points[:, 0] - 0.25 * points[:, 1])[:, None]
    grid = rasterise(points, faces, field, width=40, height=20)[..., 0]
    x, y = np.meshgrid(np.arange(40) + 0.5, np.arange(20) + 0.5)
    np.testing.assert_allclose(grid, 3.0 + 0.5 * x - 0.25 * y, atol=1e-12)


def test_outside_of_triangles_and_of_the_grid_nothing_is_drawn() -> None:
    points = np.array([(-5.0, 2.0), (8.0, 2.0), (8.0, 9.0), (50.0, 50.0)])
    faces = np.array([(0, 1, 2), (1, 1, 3)])  # the second has no area
    grid = rasterise(points, faces, np.ones((4, 1)), width=6, height=6)[..., 0]
    assert np.isnan(grid[:2]).all()
    assert grid[2, 5] == 1.0


def test_the_summary_finds_the_places_and_shares() -> None:
    summary = summarise(scene.flat())
    assert summary.stretch == pytest.approx(0.086, abs=5e-4)
    assert summary.stretch_at_mm[0] == pytest.approx(450 - 0.25 * 450, abs=20)
    assert summary.compression_at_mm[0] == pytest.approx(450 + 0.9 * 450, abs=20)
    assert 0 < summary.over_stretch < 0.5
    assert summary.stretch_99 < summary.stretch


@pytest.mark.parametrize(
    ("strength", "effort"), [(0.3, Effort.EASY), (0.65, Effort.CARE), (1.5, Effort.HARD)]
)
def test_effort_follows_the_films_limits(strength: float, effort: Effort) -> None:
    assert summarise(scene.flat(strength=strength)).effort is effort


def test_the_limit_can_be_seen_in_grey() -> None:
    """Hatching beyond the limit: strokes of ink and film, side by side, in one small window."""
    picture = np.asarray(strain_picture(scene.flat(), width_px=900).convert("L"), float)
    hot, calm = picture[250:320, 290:390], picture[250:320, 640:740]
    assert np.abs(np.diff(hot)).mean() > 10 * np.abs(np.diff(calm)).mean()


def test_the_picture_is_clear_outside_the_film_and_the_same_every_time() -> None:
    first = strain_picture(scene.flat(), width_px=300)
    assert first.getpixel((0, 0))[3] == 0
    assert first.tobytes() == strain_picture(scene.flat(), width_px=300).tobytes()


@pytest.mark.parametrize(
    ("scale", "tick"), [(1.0, 1.0), (0.5, 2.0), (0.2, 5.0), (0.1, 10.0), (0.017, 100.0)]
)
def test_rule_ticks_are_round_and_apart(scale: float, tick: float) -> None:
    assert tick_mm(scale) == pytest.approx(tick)


def test_a_limit_has_the_same_colour_for_stretch_on_every_film() -> None:
    assert strain_colours(np.array([0.5, 2.0])).shape == (2, 3)
    assert (strain_colours(np.array(1.0)) == strain_colours(np.array(7.0))).all()
