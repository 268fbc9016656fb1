import numpy as np
import pytest

import zoo
from layflat.base import MeshError
from layflat.surface import Mesh, boundary_turning, edge_lengths_mm, whole_region


def test_a_square_sheet_has_four_edges_between_its_corners() -> None:
    region = whole_region(zoo.sheet(11, jitter=0.3))
    (loop,) = region.loops
    assert len(loop.edges) == 4
    assert edge_lengths_mm(region)[0] == pytest.approx([100] * 4)
    corners = {tuple(edge.points_mm[0][:2]) for edge in loop.edges}
    assert corners == {(50, 50), (-50, 50), (50, -50), (-50, -50)}
    assert loop.edge_of[0] == 0
    assert loop.edge_of[-1] == 3


def test_the_turning_of_a_flat_square_is_a_right_angle_at_each_corner() -> None:
    (turning,) = boundary_turning(whole_region(zoo.sheet(9)))
    assert np.sort(turning)[-4:] == pytest.approx([np.pi / 2] * 4)
    assert turning.sum() == pytest.approx(2 * np.pi)


def test_a_smooth_loop_is_one_edge_and_the_longest_loop_comes_first() -> None:
    mesh = zoo.cylinder(50, 80, around=48, along=5)
    wide = Mesh(mesh.vertices_mm * (1 + mesh.vertices_mm[:, 2:] / 100 * [1, 1, 0]), mesh.faces)
    region = whole_region(wide)
    assert [len(loop.edges) for loop in region.loops] == [1, 1]
    lengths = [float(length[0]) for length in edge_lengths_mm(region)]
    assert lengths[0] > lengths[1]
    assert (wide.vertices_mm[region.loops[0].vertices, 2] == 80).all()


def test_unused_vertices_are_left_out_and_the_order_is_kept() -> None:
    mesh = zoo.sheet(5)
    padded = Mesh(np.concatenate([[[9, 9, 9]], mesh.vertices_mm]), mesh.faces + 1)
    region = whole_region(padded)
    assert np.array_equal(region.mesh.vertices_mm, mesh.vertices_mm)
    assert np.array_equal(region.mesh.faces, mesh.faces)


def test_a_closed_surface_is_refused_by_name() -> None:
    with pytest.raises(MeshError, match=r"The panel.*closed"):
        whole_region(zoo.cube(), name="The panel")
