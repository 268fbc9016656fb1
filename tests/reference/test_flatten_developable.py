"""Developable surfaces unroll to their handbook shapes within 0.01 %, without strain.

The vertices lie on the smooth surface, so that the mesh is a polyhedron inscribed in it: with N
chords to a full turn its lengths fall short by (pi/N)²/6, which is 2·10⁻⁵ at N = 300.

Sources:
  [AM]   T. M. Apostol, M. A. Mnatsakanian, Unwrapping Curves from Cylinders and Cones, Amer. Math.
         Monthly 114 (2007) 388-416, section 2: the plane-cut cylinder.
  [DLMF] NIST Digital Library of Mathematical Functions, 19.30.5: perimeter of the ellipse (from
         memory; the value agrees with scipy.special.ellipe).
  Cylinder, cone frustum, tangent developable: any handbook of geometry; the numbers were computed
  from the closed forms. The edge of regression keeps its curvature when the surface is developed
  (M. P. do Carmo, Differential Geometry of Curves and Surfaces; from memory).
  The oblique cone: numerical quadrature of exact integrands.
"""

import numpy as np
import pytest
from scipy.special import ellipe

from film.shapes import film_of, moved, sheet
from layflat.base import FloatArray
from layflat.film import Flat, flatten

FILM = film_of()
CLOSE = 1e-4


def unrolled(rows: FloatArray) -> tuple[Flat, FloatArray]:
    """The flattened grid of points (k, n, 3), and its flat points as (k, n, 2)."""
    flat = flatten(moved(sheet(rows)), FILM)
    assert flat.converged
    assert np.abs(flat.strain.greatest - 1).max() < CLOSE
    assert np.abs(flat.strain.least - 1).max() < CLOSE
    return flat, flat.points_mm.reshape(*rows.shape[:2], 2)


def length(points: FloatArray) -> float:
    return float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum())


def circle_through(points: FloatArray) -> tuple[FloatArray, float, float]:
    """Centre, radius and largest departure of a least-squares circle."""
    system = np.column_stack((2 * points, np.ones(len(points))))
    x, y, _ = np.linalg.lstsq(system, (points**2).sum(axis=1), rcond=None)[0]
    centre = np.array([x, y])
    radii = np.linalg.norm(points - centre, axis=1)
    return centre, float(radii.mean()), float(np.abs(radii - radii.mean()).max())


def turning(points: FloatArray, centre: FloatArray) -> float:
    """The angle that a polyline turns round *centre*."""
    seen = (points - centre) @ np.array([1, 1j])
    return abs(float(np.angle(seen[1:] / seen[:-1]).sum()))


def test_cylinder_becomes_a_rectangle() -> None:
    """2 pi r by H, straight and square."""
    angle = np.linspace(0, 2 * np.pi, 301)[:, None]
    rows = np.stack(
        np.broadcast_arrays(50 * np.cos(angle), 50 * np.sin(angle), np.linspace(200, 0, 9)),
        axis=-1,
    )
    flat, points = unrolled(rows)
    assert np.ptp(flat.points_mm, axis=0) == pytest.approx((2 * np.pi * 50, 200), rel=CLOSE)
    assert flat.pattern_area_mm2 == pytest.approx(2 * np.pi * 50 * 200, rel=CLOSE)
    diagonal = np.linalg.norm(points[-1, -1] - points[0, 0])
    assert diagonal == pytest.approx(np.hypot(2 * np.pi * 50, 200), rel=CLOSE)


def test_cylinder_cut_by_a_plane_has_a_sine_for_an_edge() -> None:
    """[AM] u(x) = r tan(alpha) sin(x / r); r = 50, alpha = 30°."""
    r, alpha = 50.0, np.radians(30)
    angle = np.linspace(0, 2 * np.pi, 401)[:, None]
    top = r * np.tan(alpha) * np.sin(angle)
    height = -100 + (top + 100) * np.linspace(1, 0, 8)
    rows = np.stack(np.broadcast_arrays(r * np.cos(angle), r * np.sin(angle), height), axis=-1)
    _, points = unrolled(rows)
    edge, base = points[:, 0], points[:, -1]
    assert length(edge) == pytest.approx(338.8958806, rel=CLOSE)
    along = (base[-1] - base[0]) / np.linalg.norm(base[-1] - base[0])
    x = (edge - base[0]) @ along
    u = np.abs((edge - base[0]) @ np.array([-along[1], along[0]])) - 100
    assert np.allclose(u, r * np.tan(alpha) * np.sin(x / r), atol=CLOSE * 338.9)
    assert np.ptp(u) / 2 == pytest.approx(28.8675135, rel=CLOSE)


def test_cone_frustum_becomes_a_sector() -> None:
    """r1 = 100, r2 = 50, h = 120: radii 260 and 130, 138.461538°, 61261.05675 mm²."""
    angle = np.linspace(0, 2 * np.pi, 361)[:, None]
    down = np.linspace(0, 1, 12)
    radius = 50 + 50 * down
    rows = np.stack(
        np.broadcast_arrays(radius * np.cos(angle), radius * np.sin(angle), -120 * down), axis=-1
    )
    flat, points = unrolled(rows[::-1])
    for ring, radius_flat in ((points[:, 0], 130.0), (points[:, -1], 260.0)):
        centre, found, departure = circle_through(ring)
        assert found == pytest.approx(radius_flat, rel=CLOSE)
        assert departure < CLOSE * radius_flat
        assert np.degrees(turning(ring, centre)) == pytest.approx(138.461538, rel=CLOSE)
    assert flat.pattern_area_mm2 == pytest.approx(61261.05675, rel=CLOSE)


@pytest.mark.parametrize(
    ("a", "b", "perimeter"), [(2, 1, 9.688448220547675), (5, 3, 25.52699886339813)]
)
def test_elliptic_cylinder_is_as_wide_as_its_ellipse_is_long(
    a: float, b: float, perimeter: float
) -> None:
    """[DLMF] 4 a E(m), m = 1 - b²/a²."""
    assert perimeter == pytest.approx(4 * a * ellipe(1 - b**2 / a**2), rel=1e-12)
    angle = np.linspace(0, 2 * np.pi, 501)[:, None]
    rows = 100 * np.stack(
        np.broadcast_arrays(a * np.cos(angle), b * np.sin(angle), np.linspace(3, 0, 7)), axis=-1
    )
    flat, points = unrolled(rows)
    assert np.linalg.norm(points[-1, 0] - points[0, 0]) == pytest.approx(100 * perimeter, rel=CLOSE)
    assert flat.pattern_area_mm2 == pytest.approx(100 * perimeter * 300, rel=CLOSE)


def test_tangent_developable_of_a_helix() -> None:
    """A = 3, C = 4: the helix develops into a circle of radius 1/k = 25/3; one turn turns 216°.

    A point at v along the tangent comes to lie at sqrt(1/k² + v²): 9.2436164 for v = 4. The area
    from v0 to V is k (V² - v0²) / 2 for each unit of arc length.
    """
    size = 30.0
    t = np.linspace(0, 2 * np.pi, 401)[:, None]
    v = np.linspace(1, 4, 13)
    rows = size * np.stack(
        (
            3 * np.cos(t) - v * 3 * np.sin(t) / 5,
            3 * np.sin(t) + v * 3 * np.cos(t) / 5,
            4 * t + v * 4 / 5,
        ),
        axis=-1,
    )
    flat, points = unrolled(rows)
    for line, radius in ((points[:, -1], 9.2436164), (points[:, 0], np.hypot(25 / 3, 1))):
        centre, found, departure = circle_through(line)
        assert found == pytest.approx(size * radius, rel=CLOSE)
        assert departure < CLOSE * size * radius
        assert np.degrees(turning(line, centre)) == pytest.approx(216.0, rel=CLOSE)
    area = 0.12 * (4**2 - 1**2) / 2 * 10 * np.pi * size**2
    assert flat.pattern_area_mm2 == pytest.approx(area, rel=CLOSE)


def test_oblique_cone() -> None:
    """Base circle 1, apex at (1, 0, 1): developed angle 206.8667119°, lateral area 4.7537938415."""
    size, top = 100.0, 0.3
    angle = np.linspace(0, 2 * np.pi, 481)[:, None]
    base = np.stack((np.cos(angle), np.sin(angle), 0 * angle), axis=-1)
    apex = np.array([1.0, 0.0, 1.0])
    # The generator through (1, 0, 0) is the shortest; the seam lies there.
    part = np.linspace(top, 1, 15)[None, :, None]
    rows = size * (apex + part * (base - apex))
    flat, points = unrolled(rows)
    assert flat.pattern_area_mm2 == pytest.approx(4.7537938415 * (1 - top**2) * size**2, rel=CLOSE)
    # The apex in the flat: where the generators meet.
    generators = points[:, -1] - points[:, 0]
    centre = points[:, 0] - generators * top / (1 - top)
    assert np.ptp(centre, axis=0).max() < CLOSE * 2 * size
    assert np.degrees(turning(points[:, -1], centre.mean(axis=0))) == pytest.approx(
        206.8667119, rel=CLOSE
    )
