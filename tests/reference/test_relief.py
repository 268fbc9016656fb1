"""Relief cuts against closed forms: cones that unroll, and spheres in strips.

The angle of a cone of half angle a, rolled out, is 2 pi sin a (M. P. do Carmo, Differential
Geometry of Curves and Surfaces, 1976, on developable surfaces, from memory): a cut from rim to
apex opens by what is left of 2 pi. The strip on a sphere is derived in docs/theory-fit.md,
“Reliefs”.
"""

import numpy as np
import pytest

from film.shapes import film_of, sheet, welded
from layflat.base import FloatArray
from layflat.film import Flat, flatten
from layflat.fit import cut_relief
from layflat.pattern import reliefs_of
from layflat.surface import Mesh, Region, whole_region

SLANT = 200.0
RADIUS = 1000.0


def of_revolution(radius: FloatArray, height: FloatArray, *, around: int) -> Mesh:
    """Rings of as many points each round the z axis, the rim first, closed by a point on it."""
    angle = 2 * np.pi * np.arange(around + 1) / around
    r, a = np.meshgrid(radius[::-1], angle, indexing="xy")
    z = np.broadcast_to(height[::-1], r.shape)
    ring = welded(sheet(np.stack((r * np.cos(a), r * np.sin(a), z), axis=-1)), around, len(radius))
    # The innermost ring is closed by a fan.
    last = np.arange(around) * len(radius) + len(radius) - 1
    apex = len(ring.vertices_mm)
    fan = np.column_stack((last, np.roll(last, -1), np.full(around, apex)))
    points = np.vstack((ring.vertices_mm, [[0.0, 0.0, height[0] + height[0] - height[1]]]))
    return Mesh(points, np.concatenate((ring.faces, fan)))


def cone(half_angle: float, *, around: int) -> Mesh:
    """A cone of this half angle, its apex up."""
    s = SLANT * np.arange(1, 9) / 8
    return of_revolution(s * np.sin(half_angle), -s * np.cos(half_angle), around=around)


def wedge(flat: Flat, region: Region) -> float:
    """The angle between the two sides of the only relief, at its tip."""
    (slit,) = reliefs_of(region)
    tip = flat.points_mm[slit.tip]
    one, two = flat.points_mm[slit.inward[0]] - tip, flat.points_mm[slit.outward[-1]] - tip
    turned = np.arctan2(one[0] * two[1] - one[1] * two[0], one @ two)
    return float(turned % (2 * np.pi))


@pytest.mark.parametrize("half_deg", [35.0, 60.0, 80.0])
def test_a_cone_cut_once_unrolls_without_strain_and_opens_by_the_closed_form(
    half_deg: float,
) -> None:
    half = np.radians(half_deg)
    errors = []
    for around in (24, 48):
        mesh = cone(half, around=around)
        closed = flatten(mesh, film_of())
        region = cut_relief(whole_region(mesh), mesh.vertices_mm[[0, -1]])
        cut = flatten(region.mesh, film_of())
        assert cut.energy_mj < 1e-8 * closed.energy_mj
        assert np.abs(cut.strain.greatest - 1.0).max() < 1e-5
        # A cone of n flat sides unrolls to n times the angle of a side; a round one is its limit.
        side = 2 * np.arcsin(np.sin(half) * np.sin(np.pi / around))
        found = wedge(cut, region)
        assert found == pytest.approx(2 * np.pi - around * side, abs=1e-5)
        errors.append(found - 2 * np.pi * (1 - np.sin(half)))
    assert abs(errors[1]) < 0.003
    assert errors[0] / errors[1] == pytest.approx(4.0, rel=0.02)


def gored(count: int, *, slope: float = 0.15, around: int, rings: int = 16) -> Flat:
    """A cap of a sphere with *count* cuts from its rim to next to its pole."""
    s = slope * np.arange(1, rings + 1) / rings
    mesh = of_revolution(RADIUS * np.sin(s), RADIUS * np.cos(s), around=around)
    region = whole_region(mesh)
    for a in 2 * np.pi * np.arange(count) / count:
        ends = np.outer(np.sin(slope * np.array([1.0, 1.0 / rings])), [np.cos(a), np.sin(a), 0.0])
        ends[:, 2] = np.cos(slope * np.array([1.0, 1.0 / rings]))
        region = cut_relief(region, RADIUS * ends)
    return flatten(region.mesh, film_of())


def strip_law(flat: Flat, count: int) -> tuple[float, float]:
    """The strain along meridians in units of b², at the middle and per (y/b)²: 1/6 and -1/2.

    Least squares over the triangles whose polar angle is 0.05 to 0.08 of a cap of 0.15, away from
    the pole and the rim; b and y are half the width of the strip and the distance from its middle.
    """
    middles = flat.mesh.vertices_mm[flat.mesh.faces].mean(axis=1)
    from_axis = np.hypot(middles[:, 0], middles[:, 1])
    polar = np.arctan2(from_axis, middles[:, 2])
    band = (polar > 0.05) & (polar < 0.08)
    corners, points = flat.mesh.vertices_mm[flat.mesh.faces], flat.points_mm[flat.mesh.faces]
    corners, points, middles, polar = corners[band], points[band], middles[band], polar[band]
    # The unit vector down the meridian, and what the flat shape makes of it.
    down = np.column_stack((middles[:, :2] / from_axis[band, None], -np.tan(polar)))
    down /= np.linalg.norm(down, axis=1, keepdims=True)
    sides = np.stack((corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=2)
    in_flat = np.stack((points[:, 1] - points[:, 0], points[:, 2] - points[:, 0]), axis=2)
    seen = np.einsum("mij,mjk,mk->mi", in_flat, np.linalg.pinv(sides), down)
    strain = -np.log(np.linalg.norm(seen, axis=1))
    half = np.pi * np.sin(polar) / count
    turn = np.arctan2(middles[:, 1], middles[:, 0]) / (2 * np.pi / count)
    across = 2.0 * (turn - np.floor(turn)) - 1.0
    law = np.polyfit(across**2, strain / half**2, 1)
    return float(law[1]), float(law[0])


def test_gores_of_a_sphere_are_strained_as_strips_and_a_quarter_for_twice_as_many() -> None:
    """The strip is the limit of narrow gores: the difference from it falls with their width."""
    few, many = (strip_law(gored(count, around=8 * count), count) for count in (8, 16))
    for found, found_again, limit in zip(few, many, (1 / 6, -1 / 2), strict=True):
        assert found_again == pytest.approx(limit, rel=0.25)
        assert abs(found_again - limit) < 0.75 * abs(found - limit)
        # The laws are in units of the width squared: the strain itself falls to a quarter.
        assert (found / 8**2) / (found_again / 16**2) == pytest.approx(4.0, rel=0.2)
