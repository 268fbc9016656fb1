"""A fine mesh made coarser cell by cell: what stays where it is, and what is not joined."""

import numpy as np
import pytest

import zoo
from layflat.base import FloatArray, MeshError
from layflat.surface import Mesh, boundary_loops, clustered, locate, mend
from layflat.surface.topology import edge_table, face_components, manifold_fault
from surface.stood import joined, moved


def roof(x: FloatArray, y: FloatArray) -> FloatArray:
    """Two planes that meet at right angles along a line that crosses all cells aslant."""
    return -np.abs(x + 0.3 * y + 3.1)


def test_a_crease_and_the_rim_stay_where_they_are() -> None:
    fine = zoo.sheet(121, side_mm=400.0, height=roof, jitter=0.25)
    coarse = clustered(fine, triangles=1500)
    assert 1000 <= len(coarse.faces) <= 2000
    assert manifold_fault(coarse.faces) is None
    x, y, z = coarse.vertices_mm.T
    # A cell is 21 mm wide; the fine mesh itself cuts the crease by up to a third of its 3.3 mm.
    assert np.abs(z - roof(x, y)).max() < 1.2
    (rim,) = boundary_loops(coarse.faces)
    away = np.abs(np.abs(coarse.vertices_mm[rim, :2]).max(axis=1) - 200.0)
    # Only next to where the crease meets the rim may a place be drawn inward.
    assert (np.sort(away)[-2] < 0.5, away.max() < 5.0) == (True, True)
    assert coarse.area_mm2 == pytest.approx(fine.area_mm2, rel=2e-3)
    corners = coarse.vertices_mm[coarse.faces]
    facing = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])[:, 2]
    # All the way it was; a few fold over at the crease.
    assert (facing > 0).mean() > 0.98


def test_a_sphere_keeps_its_radius() -> None:
    fine = zoo.sphere(200.0, splits=5)
    coarse = clustered(fine, triangles=2000)
    assert manifold_fault(coarse.faces) is None
    assert not boundary_loops(coarse.faces)
    # A cell is 27 mm wide: the middle of what lies in it may be 0.9 mm under the sphere, and the
    # middle of a chord twice as long 1.8 mm.
    assert np.abs(np.linalg.norm(coarse.vertices_mm, axis=1) - 200.0).max() < 1.0
    assert locate(coarse, fine.vertices_mm).distances_mm.max() < 2.5


def test_two_sides_of_a_thin_part_are_not_joined() -> None:
    side = zoo.sheet(61, side_mm=300.0)
    over = moved(Mesh(side.vertices_mm, side.faces[:, ::-1]), np.eye(3), np.array([0.0, 0, -0.5]))
    coarse = clustered(joined(side, over), triangles=600)
    assert face_components(edge_table(coarse.faces)).max() == 1
    assert sorted(set(coarse.vertices_mm[:, 2].round(6))) == [-0.5, 0.0]


def test_a_needle_narrower_than_a_cell_leaves_no_fin() -> None:
    needle = zoo.cylinder(0.4, 400.0, around=6, along=600)
    coarse = clustered(joined(needle, zoo.sheet(61, side_mm=300.0)), triangles=900)
    table = edge_table(coarse.faces)
    assert table.count.max() == 2
    assert not mend(coarse, fill_mm=0.0, stray_share=0.0).mends[1:]


def test_where_most_triangles_are_in_one_spot_the_grid_is_made_finer() -> None:
    spot = moved(zoo.sheet(81, side_mm=40.0), np.eye(3), np.array([0.0, 0, 50.0]))
    coarse = clustered(joined(zoo.sheet(3, side_mm=4000.0), spot), triangles=4000)
    assert len(coarse.faces) >= 1500


def test_a_small_mesh_stays_as_it_is_and_a_senseless_wish_is_refused() -> None:
    mesh = zoo.sheet(5)
    assert clustered(mesh, triangles=32) is mesh
    with pytest.raises(MeshError, match="at least one triangle"):
        clustered(mesh, triangles=0)
    with pytest.raises(MeshError, match="at most four million"):
        clustered(mesh, triangles=5_000_000)
