"""Profiles, fields and skins against shapes that have closed forms."""

import numpy as np
import pytest

from layflat.base import FloatArray
from layflat.demo.curves import Profile
from layflat.demo.fields import both, drop, either, gradient, meet
from layflat.demo.jets import Jet
from layflat.demo.skin import half_grid, mirrored, quads_of, triangles_of
from layflat.demo.trim import split, trimmed
from layflat.surface import Mesh, boundary_loops

RADIUS = 100.0


def ball(points: FloatArray) -> FloatArray:
    value: FloatArray = np.linalg.norm(points, axis=1) - RADIUS
    return value


def ball_mesh(spacing: float) -> tuple[FloatArray, np.ndarray]:
    along = np.arange(-120.0, 121.0, spacing)
    points, quads = quads_of(ball, half_grid(along, np.arange(0.0, 121.0, spacing), along))
    return mirrored(points, triangles_of(points, quads))


def volume(points: FloatArray, faces: np.ndarray) -> float:
    a, b, c = (points[faces[:, i]] for i in range(3))
    return float(np.einsum("ij,ij->i", a, np.cross(b, c)).sum() / 6)


def test_a_profile_of_points_on_a_line_is_that_line() -> None:
    """Linear precision of B-splines; straight on beyond the ends."""
    line = Profile((0, 10), (10, 30), (40, 90), (50, 110), (90, 190))
    at = np.linspace(-30, 120, 60)
    assert line(Jet(at)).value == pytest.approx(10 + 2 * at, abs=1e-9)
    assert line.slope(Jet(at)).value == pytest.approx(2.0, abs=1e-9)


def test_a_profile_stays_within_its_polygon() -> None:
    steep = Profile((0, 0), (10, 0), (11, 50), (20, 50), (40, 50))
    values = steep(Jet(np.linspace(0, 40, 400))).value
    assert values.min() >= -1e-6
    assert values.max() <= 50 + 1e-6


def test_a_rounded_edge_starts_at_the_blend_and_loses_a_sixth_of_it() -> None:
    """The cubic fillet of `both`: by hand, blend / 6 on the edge itself."""
    points = np.array([[0.0], [-30.0], [-31.0]])
    first = Jet(points[:, 0])
    second = Jet(np.zeros(3))
    assert both(first, second, blend=30.0).value == pytest.approx([5.0, 0.0, 0.0], abs=1e-12)
    assert either(-first, second, blend=30.0).value == pytest.approx([-5.0, 0.0, 0.0], abs=1e-12)


def test_the_curvature_of_a_fillet_is_continuous() -> None:
    place = np.linspace(-40, 40, 4001)
    value = both(Jet(place), Jet(np.zeros_like(place)), blend=30.0).value
    second = np.diff(value, 2) / 0.02**2
    assert np.abs(np.diff(second)).max() < 2 * 0.02 / 30.0**2 * 1.01 + 1e-6


def test_gradient_drop_and_rays_on_a_ball() -> None:
    points = np.array([[60.0, 80.0, 30.0], [0.0, 0.0, 97.0], [-70.0, 60.0, -50.0]])
    unit = points / np.linalg.norm(points, axis=1, keepdims=True)
    assert gradient(ball, points) == pytest.approx(unit, abs=1e-6)
    assert drop(ball, points) == pytest.approx(RADIUS * unit, abs=1e-6)
    start = np.array([[300.0, 0.0, 60.0], [300.0, 0.0, 120.0]])
    hits = meet(ball, start, np.array([-1.0, 0.0, 0.0]), reach=600.0)
    assert hits[0] == pytest.approx([80.0, 0.0, 60.0], abs=1e-6)
    assert np.isnan(hits[1]).all()


def test_the_skin_of_a_ball_converges_to_its_area_and_volume() -> None:
    area, content = 4 * np.pi * RADIUS**2, 4 / 3 * np.pi * RADIUS**3
    errors = []
    for spacing in (16.0, 8.0):
        points, faces = ball_mesh(spacing)
        assert np.linalg.norm(points, axis=1) == pytest.approx(RADIUS, abs=1e-6)
        errors.append(
            (1 - Mesh(points, faces).area_mm2 / area, 1 - volume(points, faces) / content)
        )
    for coarse, fine in zip(*errors, strict=True):
        assert 0 < fine < 0.006
        assert 3.2 < coarse / fine < 4.8


def test_the_skin_is_closed_and_its_halves_are_images() -> None:
    points, faces = ball_mesh(10.0)
    assert len(points) - 3 * len(faces) // 2 + len(faces) == 2
    assert boundary_loops(faces[:-1])[0].shape == (3,)
    image = points * np.array([1.0, -1.0, 1.0])
    order, other = (np.lexsort(np.round(array, 9).T) for array in (points, image))
    assert (points[order] == image[other]).all()


def test_a_ball_trimmed_at_a_height_is_the_cap_of_the_handbook() -> None:
    """Area of a spherical cap, 2 pi r h; its rim is a circle in the plane."""
    points, faces = trimmed(*ball_mesh(8.0), lambda p: p[:, 2] - 40.0, ball)
    assert Mesh(points, faces).area_mm2 == pytest.approx(2 * np.pi * RADIUS * 60.0, rel=0.004)
    [rim] = boundary_loops(faces)
    assert points[rim, 2] == pytest.approx(40.0, abs=0.06)
    assert np.hypot(*points[rim, :2].T) == pytest.approx(np.sqrt(100**2 - 40**2), abs=0.1)


def test_splitting_keeps_every_bit_of_the_surface() -> None:
    points, faces, sign = split(*ball_mesh(10.0), lambda p: p[:, 0] + 0.3 * p[:, 2], ball)
    assert boundary_loops(np.vstack([faces[1:]]))[0].shape == (3,)
    middle = points[faces].mean(axis=1)
    level = middle[:, 0] + 0.3 * middle[:, 2]
    assert ((level > 0.1) <= (sign > 0)).all()
    assert ((level < -0.1) <= (sign < 0)).all()
