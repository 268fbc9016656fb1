"""Wraps against the sheet-metal handbook's flanges, and edges against Gauss and Bonnet.

Edge strain of a 90° curved flange = (final edge radius) / (initial edge radius) - 1, stretch flange
positive, shrink flange negative: *Design for Sheet Production of Metal Aircraft Parts*, SAE 440205
(1944) (abstract seen); N.-M. Wang, M. L. Wenner, Int. J. Mech. Sci. 16 (1974) 135-143 (citation by
S. Dudra, S. Shah, J. Mater. Shaping Technol. 6 (1988) 91-101, abstract seen). Numbers computed anew
from the parallel-curve formula. Curvature on a sphere: a geodesic circle of radius p, x = p / R,
has geodesic curvature cot(x) / R and total 2 pi cos x (Gauss and Bonnet).
"""

import math

import numpy as np
import pytest

from layflat.base import FloatArray
from layflat.fit.wraps import edge_folds, geodesic_curvature, normal_curvature, vertex_normals
from layflat.pattern import EdgeFinish, Finish
from layflat.pattern.fold import Fold, depth_by_crowding, depth_by_stretch, fold_strain
from layflat.surface import Mesh, Region, boundary_turning, whole_region

TABLE = [  # k in 1/mm, w in mm, strain of a 180° and of a 90° fold
    (1 / 100, 10.0, -0.1818182, -0.0909091),
    (-1 / 100, 10.0, 0.2222222, 0.1111111),
    (1 / 50, 15.0, -0.4615385, -0.2307692),
    (1 / 200, 12.0, -0.1132075, -0.0566038),
]


def fold(turn: float, angle_deg: float, bow: float = 0.0) -> Fold:
    return Fold(
        np.array([turn]), np.array([bow]), np.array([math.radians(angle_deg)]), np.array([np.inf])
    )


@pytest.mark.parametrize(("turn", "width", "hem", "square"), TABLE)
def test_the_strain_of_a_fold_is_the_handbook_s(
    turn: float, width: float, hem: float, square: float
) -> None:
    assert fold_strain(fold(turn, 180.0), width) == pytest.approx(hem, abs=5e-8)
    assert fold_strain(fold(turn, 90.0), width) == pytest.approx(square, abs=5e-8)
    assert fold_strain(fold(turn, 0.0), width) == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize("angle", [30.0, 90.0, 135.0, 180.0])
@pytest.mark.parametrize("radius", [-300.0, -40.0, 25.0, 90.0])
def test_the_depth_is_where_the_strain_meets_its_limit(radius: float, angle: float) -> None:
    """At any angle: w k (cos f - 1) / (1 + k w), with k = 1 / radius."""
    bent = fold(1.0 / radius, angle)
    limit = 0.04
    depth = (depth_by_stretch if radius < 0 else depth_by_crowding)(bent, limit)[0]
    by_hand = depth / radius * (math.cos(math.radians(angle)) - 1.0) / (1.0 + depth / radius)
    assert abs(by_hand) == pytest.approx(limit, rel=1e-9)
    other = depth_by_crowding if radius < 0 else depth_by_stretch
    assert other(bent, limit)[0] == np.inf


@pytest.mark.parametrize(("radius", "inner"), [(100.0, False), (60.0, True)])
def test_a_square_fold_is_final_radius_over_initial_radius(radius: float, inner: bool) -> None:
    """The handbook's own form: the flat edge lies on one circle, the formed one on another."""
    width = 8.0
    initial = radius - width if inner else radius + width
    turn = -1.0 / radius if inner else 1.0 / radius
    assert fold_strain(fold(turn, 90.0), width)[0] == pytest.approx(radius / initial - 1.0)


def test_a_square_fold_round_a_dome_s_equator_is_its_sleeve() -> None:
    """Edge on a great circle, k = 0; folded inward by 90° it lies on a circle of R - w."""
    radius, width = 80.0, 8.0
    strain = fold_strain(fold(0.0, 90.0, bow=-1.0 / radius), width)[0]
    assert strain == pytest.approx((radius - width) / radius - 1.0)


def turned(radii: FloatArray, heights: FloatArray, count: int) -> Region:
    """A surface of revolution from its top, as one panel with one round edge."""
    around = 2.0 * np.pi * np.arange(count) / count
    rings = [
        np.column_stack((r * np.cos(around), r * np.sin(around), np.full(count, z)))
        for r, z in zip(radii[1:], heights[1:], strict=True)
    ]
    points = np.vstack([[[0.0, 0.0, heights[0]]], *rings])
    index = 1 + np.arange(len(rings) * count).reshape(len(rings), count)
    after = np.roll(index, -1, axis=1)
    top = np.column_stack((np.zeros(count, np.int64), index[0], after[0]))
    low = np.concatenate(
        (
            np.stack((index[:-1], index[1:], after[1:]), axis=-1).reshape(-1, 3),
            np.stack((index[:-1], after[1:], after[:-1]), axis=-1).reshape(-1, 3),
        )
    )
    return whole_region(Mesh(points, np.concatenate((top, low))), corner_degrees=60.0)


def rows(length: float) -> FloatArray:
    """Places of rings; the last two close together, for a rim's turning is taken between them."""
    return np.append(np.linspace(0.0, length - 0.2, 40), length)


def rim(region: Region) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Vertices, turnings and normals along the one edge, its first vertex repeated."""
    (loop,) = region.loops
    ids = np.append(loop.vertices, loop.vertices[0])
    turns = boundary_turning(region)[0]
    return (
        region.mesh.vertices_mm[ids],
        np.append(turns, turns[0]),
        vertex_normals(region.mesh)[ids],
    )


@pytest.mark.parametrize(
    ("sphere", "geodesic", "curvature", "total"),
    [(1000.0, 200.0, 0.0049331549, 6.1579399219), (300.0, 150.0, 0.0061016257, 5.5140138587)],
)
def test_the_rim_of_a_cap_has_its_geodesic_curvature_and_gauss_bonnet_s_total(
    sphere: float, geodesic: float, curvature: float, total: float
) -> None:
    turn = rows(geodesic) / sphere
    region = turned(sphere * np.sin(turn), sphere * np.cos(turn), 360)
    points, turns, normals = rim(region)
    found = geodesic_curvature(points, turns, 24.0, closed=True)
    assert found == pytest.approx(curvature, rel=4e-3)
    assert turns[:-1].sum() == pytest.approx(total, rel=5e-4)
    steps = np.linalg.norm(np.diff(points, axis=0), axis=1)
    assert (0.5 * (found[1:] + found[:-1]) * steps).sum() == pytest.approx(total, rel=4e-3)
    enclosed = region.mesh.area_mm2 / sphere**2
    assert (found[1:] * steps).sum() == pytest.approx(2.0 * np.pi - enclosed, rel=4e-3)
    bow = normal_curvature(points, normals, 24.0, closed=True)
    assert bow == pytest.approx(-1.0 / sphere, rel=0.02)


def test_the_rim_of_a_cone_turns_as_its_unrolled_sector() -> None:
    """A cone of slant s unrolls to a sector of radius s: k = 1 / s, total 2 pi sin(half angle)."""
    slant, half = 150.0, math.radians(50.0)
    along = rows(slant)
    region = turned(along * math.sin(half), -along * math.cos(half), 360)
    points, turns, _ = rim(region)
    found = geodesic_curvature(points, turns, 24.0, closed=True)
    assert found == pytest.approx(1.0 / slant, rel=4e-3)
    assert turns[:-1].sum() == pytest.approx(2.0 * np.pi * math.sin(half), rel=1e-3)


def test_the_fold_of_a_cap_s_rim_is_what_the_two_curvatures_make_of_it() -> None:
    """A sleeve square to a cap's rim narrows towards the middle of the sphere."""
    sphere, geodesic, width = 300.0, 150.0, 8.0
    turn = rows(geodesic) / sphere
    region = turned(sphere * np.sin(turn), sphere * np.cos(turn), 360)
    edge = region.loops[0].edges[0]
    folds = edge_folds(region, region.mesh, lambda _: EdgeFinish(Finish.WRAP, width))
    strain = fold_strain(folds[id(edge)], width)
    x = geodesic / sphere
    final = (sphere - width) * math.sin(x)
    initial = sphere * math.sin(x) * (1.0 + width / (sphere * math.tan(x)))
    assert strain == pytest.approx(final / initial - 1.0, rel=0.02)
    assert folds[id(edge)].note == "no flange in the scan"
