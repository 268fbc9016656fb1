"""Surfaces against formulas from outside and against libraries not written here.

Sources, beside each check: Descartes' theorem and Gauss–Bonnet (any text on differential
geometry, e.g. M. P. do Carmo, "Differential Geometry of Curves and Surfaces", sections 4-5);
spherical geometry (the same); libigl (areas, exact geodesics after Mitchell, Mount and
Papadimitriou) and trimesh (areas, nearest points) as second opinions.
"""

import igl
import numpy as np
import pytest
import trimesh
from numpy.typing import NDArray

import zoo
from layflat.base import FloatArray
from layflat.surface import (
    Edge,
    EdgeKind,
    Mesh,
    Panel,
    Region,
    angle_defects,
    boundary_turning,
    cut_region,
    edge_lengths_mm,
    locate,
    whole_region,
)
from layflat.surface.tidy import SURFACE_MM, tidy
from layflat.surface.topology import euler_characteristic
from layflat.surface.trace import Stretch, trace


@pytest.mark.parametrize(
    "mesh",
    [
        zoo.cube(),
        zoo.torus(),
        zoo.sphere(200, splits=2),
        zoo.sheet(9, height=zoo.saddle(60), jitter=0.3),
        zoo.cylinder(40, 90, around=14, along=5),
        zoo.handle_sheet(),
    ],
)
def test_angle_defects_add_up_to_the_euler_characteristic(mesh: Mesh) -> None:
    """Descartes' theorem, with the boundary's turning as in Gauss–Bonnet."""
    expected = 2 * np.pi * euler_characteristic(mesh.faces)
    assert angle_defects(mesh).sum() == pytest.approx(expected, abs=1e-9)


def test_each_corner_of_a_cube_has_a_right_angle_for_its_defect() -> None:
    """Descartes: eight times pi / 2 is 4 pi."""
    assert angle_defects(zoo.cube()) == pytest.approx([np.pi / 2] * 8)


@pytest.mark.parametrize(("radius", "across"), [(1000.0, 200.0), (300.0, 150.0)])
def test_a_geodesic_circle_on_a_sphere(radius: float, across: float) -> None:
    """Circumference 2 pi R sin x, area 2 pi R² (1 - cos x), turning 2 pi cos x; x = p / R.

    The table of values: R = 1000, p = 200: 1248.2762202 and 125245.38523; R = 300, p = 150:
    903.6958500 and 69225.43037.
    """
    x = across / radius
    table = {1000.0: (1248.2762202, 125245.38523), 300.0: (903.6958500, 69225.43037)}
    height = zoo.bowl(radius)
    side = 2.3 * radius * np.sin(x)
    mesh = zoo.sheet(90, side_mm=side, height=height, jitter=0.2)
    flat = zoo.ring(180, radius * np.sin(x))
    region = cut_region(mesh, zoo.panel(zoo.raised(flat, height)))
    length, area = table[radius]
    assert edge_lengths_mm(region)[0].sum() == pytest.approx(length, rel=2e-4)
    assert region.mesh.area_mm2 == pytest.approx(area, rel=5e-4)
    (turning,) = boundary_turning(region)
    assert turning.sum() == pytest.approx(2 * np.pi * np.cos(x), rel=2e-3)


def _length(mesh: Mesh, points: FloatArray) -> float:
    (line,) = trace(mesh, [Stretch(points, False, "The line")], reach_mm=5)
    return float(np.linalg.norm(np.diff(line.at.points_mm, axis=0), axis=1).sum())


@pytest.mark.parametrize("degrees", [20.0, 75.0, 110.0])
def test_a_line_on_a_sphere_is_as_long_as_the_great_circle(degrees: float) -> None:
    """Great-circle distance R times the angle between two places."""
    mesh = zoo.sphere(500, splits=5)
    start = np.array([0.48, -0.6, 0.64])
    across = np.cross(start, [0.0, 0.8, 0.6])
    across /= np.linalg.norm(across)
    angle = np.radians(degrees)
    end = np.cos(angle) * start + np.sin(angle) * across
    assert _length(mesh, 500 * np.array([start, end])) == pytest.approx(500 * angle, rel=1e-3)


def test_a_line_on_a_cylinder_is_a_helix() -> None:
    """A cylinder unrolls to a plane, so the line's length is that of the diagonal there."""
    radius, angle, rise = 100.0, 1.9, 160.0
    mesh = zoo.cylinder(radius, 300, around=240, along=40)
    points = np.array(
        [
            [radius * np.cos(t), radius * np.sin(t), z]
            for t, z in ((0.31, 60.0), (0.31 + angle, 60.0 + rise))
        ]
    )
    assert _length(mesh, points) == pytest.approx(np.hypot(radius * angle, rise), rel=1e-4)


def test_lines_are_as_long_as_exact_geodesics() -> None:
    """Exact geodesics of libigl between vertices of a small mesh (Mitchell et al. 1987)."""
    mesh = zoo.sheet(14, side_mm=200, height=zoo.saddle(90), jitter=0.3, seed=3)
    start = 5 * 14 + 3
    ends = np.array([20, 77, 130, 163, 190])
    exact = igl.exact_geodesic(
        mesh.vertices_mm,
        mesh.faces,
        np.array([start]),
        np.zeros(0, np.int64),
        ends,
        np.zeros(0, np.int64),
    )
    ours = [_length(mesh, mesh.vertices_mm[[start, end]]) for end in ends]
    # Ours are locally shortest, so never shorter than the exact ones.
    assert np.array(ours) == pytest.approx(np.asarray(exact).reshape(-1), rel=1e-6)


def test_areas_and_angles_are_those_of_libigl_and_trimesh() -> None:
    mesh = zoo.sheet(12, height=zoo.saddle(70), jitter=0.3)
    assert 2 * mesh.face_areas_mm2 == pytest.approx(igl.doublearea(mesh.vertices_mm, mesh.faces))
    other = trimesh.Trimesh(mesh.vertices_mm, mesh.faces, process=False)
    assert mesh.area_mm2 == pytest.approx(other.area)
    inner = np.setdiff1d(np.arange(len(mesh.vertices_mm)), whole_region(mesh).loops[0].vertices)
    defects = angle_defects(mesh)[inner]
    assert defects == pytest.approx(other.vertex_defects[inner], abs=1e-9)


def test_nearest_places_are_those_of_trimesh() -> None:
    mesh = zoo.sphere(100, splits=2)
    points = np.random.default_rng(5).normal(0, 80, (60, 3))
    nearest, distance, _ = trimesh.proximity.closest_point_naive(
        trimesh.Trimesh(mesh.vertices_mm, mesh.faces, process=False), points
    )
    found = locate(mesh, points)
    assert found.distances_mm == pytest.approx(distance)
    assert found.points_mm == pytest.approx(nearest, abs=1e-6)
    again = np.einsum("ki,kij->kj", found.barycentric, mesh.vertices_mm[mesh.faces[found.faces]])
    assert again == pytest.approx(found.points_mm, abs=1e-9)


def test_a_spherical_octant_has_half_pi_r_squared() -> None:
    """Girard's theorem: area R² (A + B + C - pi) with three right angles."""
    radius = 300.0
    mesh = zoo.sphere(radius, splits=5)
    t = np.arange(9)[:, None] / 9 * np.pi / 2
    sides = (
        radius * (np.cos(t) * np.eye(3)[i] + np.sin(t) * np.eye(3)[(i + 1) % 3]) for i in range(3)
    )
    octant = Panel("octant", tuple(Edge(EdgeKind.GAP, side) for side in sides))
    region = cut_region(mesh, octant)
    assert region.mesh.area_mm2 == pytest.approx(np.pi / 2 * radius**2, rel=2e-3)
    (turning,) = boundary_turning(region)
    first = [int(np.flatnonzero(region.loops[0].edge_of == i)[0]) for i in range(3)]
    assert turning[first] == pytest.approx([np.pi / 2] * 3, abs=0.05)


@pytest.mark.parametrize("seed", [1, 2])
def test_tidying_a_cut_moves_the_surface_within_its_tolerance(
    monkeypatch: pytest.MonkeyPatch, seed: int
) -> None:
    """Distances both ways by libigl's and trimesh's nearest points, areas by trimesh."""
    cuts: list[Region] = []

    def keep(region: Region, *, free: NDArray[np.bool_]) -> Region:
        cuts.append(region)
        return tidy(region, free=free)

    monkeypatch.setattr("layflat.surface.cut.tidy", keep)
    noise = np.random.default_rng(seed)
    bowl = zoo.bowl(400)
    mesh = zoo.sheet(
        31, side_mm=200, height=lambda x, y: bowl(x, y) + noise.normal(0, 0.1, x.shape), jitter=0.3
    )
    after = cut_region(mesh, zoo.panel(zoo.raised(zoo.ring(40, 80), bowl))).mesh
    before = cuts[0].mesh
    assert len(after.faces) < len(before.faces)
    for one, other in ((before, after), (after, before)):
        squared = igl.point_mesh_squared_distance(_all_over(one), other.vertices_mm, other.faces)[0]
        assert np.sqrt(squared.max()) <= SURFACE_MM
        shape = trimesh.Trimesh(other.vertices_mm, other.faces, process=False)
        middles = one.vertices_mm[one.faces[::9]].mean(axis=1)
        assert trimesh.proximity.closest_point_naive(shape, middles)[1].max() <= SURFACE_MM
    areas = [trimesh.Trimesh(m.vertices_mm, m.faces, process=False).area for m in (before, after)]
    assert areas[1] == pytest.approx(areas[0], rel=1e-5)


def _all_over(mesh: Mesh) -> FloatArray:
    """The corners, the middles of the sides and the middles of all triangles."""
    corners = mesh.vertices_mm[mesh.faces]
    sides = (corners + np.roll(corners, 1, axis=1)) / 2
    return np.concatenate([corners.reshape(-1, 3), sides.reshape(-1, 3), corners.mean(axis=1)])
