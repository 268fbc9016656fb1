"""Places made vertices, and gaps in the chain of places closed, on meshes small enough to check."""

import numpy as np
import pytest

import zoo
from layflat.base import FloatArray, IntArray, MeshError
from layflat.surface import Mesh, cut_region
from layflat.surface.bridge import Simplices
from layflat.surface.insert import insert_places
from layflat.surface.place import Places


def inserted(points: list[list[float]], simplex: list[list[int]]) -> tuple[FloatArray, IntArray]:
    """A right triangle with sides of 10 mm, split at places; the vertices and the faces."""
    corners = zoo.raised(np.array([[0, 0], [10, 0], [0, 10.0]]))
    at = Places(zoo.raised(np.array(points, float)), np.array(simplex))
    vertices, faces, number = insert_places(corners, np.array([[0, 1, 2]]), at)
    assert np.array_equal(vertices[number], at.points_mm)
    return vertices, faces


def signed_areas(vertices: FloatArray, faces: IntArray) -> FloatArray:
    a, b, c = (vertices[faces[:, i]] for i in range(3))
    return np.cross(b - a, c - a)[:, 2] / 2


def test_points_along_all_sides_split_a_triangle_in_their_order() -> None:
    points = [[7, 0], [2, 0], [4, 6], [8, 2], [0, 3], [0, 9]]
    sides = [[0, 1, -1], [0, 1, -1], [1, 2, -1], [1, 2, -1], [0, 2, -1], [0, 2, -1]]
    areas = signed_areas(*inserted(points, sides))
    assert len(areas) == 7
    assert areas.min() > 0
    assert areas.sum() == pytest.approx(50)


def test_a_point_on_the_side_between_two_parts_splits_both() -> None:
    """The second point lies on the side from the first to a corner."""
    areas = signed_areas(*inserted([[2, 4], [1, 2]], [[0, 1, 2], [0, 1, 2]]))
    assert len(areas) == 5
    assert areas.min() > 0.1
    assert areas.sum() == pytest.approx(50)


def bridged(end: list[float], simplex: set[int]) -> list[tuple[frozenset[int], FloatArray]]:
    """The way from the middle of the left side of a sheet of 3 x 3 points, 50 mm apart."""
    sheet = zoo.sheet(3)
    ends = frozenset(simplex)
    found = Simplices(sheet.faces, frozenset({1}) | ends).bridge(
        sheet.vertices_mm, frozenset({1}), ends, np.array([[-50, 0, 0], [*end, 0]])
    )
    assert found is not None
    return found


def test_a_gap_is_bridged_by_the_edges_that_the_straight_way_crosses() -> None:
    """It passes below the middle vertex, number 4, by 5 mm."""
    found = bridged([50, -10], {6, 7})
    assert [set(edge) for edge, _ in found] == [{0, 4}, {3, 4}, {3, 7}]
    assert np.allclose(found[1][1], [0, -5, 0])


def test_crossings_that_are_added_keep_clear_of_vertices() -> None:
    """The straight way leads through the middle vertex."""
    for _, crossing in bridged([50, 0], {7}):
        assert np.linalg.norm(crossing) > 0.9e-3


def test_an_opening_that_touches_the_outline_along_an_edge_of_the_mesh_is_refused() -> None:
    mesh: Mesh = zoo.sheet(21)
    outline = np.array([[-30, -30], [30, -30], [30, 30], [-30, 30.0]])
    opening = np.array([[2.4, -30], [-6, -12], [7, -13.0]])
    with pytest.raises(MeshError, match="touches itself near"):
        cut_region(mesh, zoo.panel(zoo.raised(outline), openings=(zoo.raised(opening),)))
