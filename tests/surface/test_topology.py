import numpy as np
import pytest

import zoo
from layflat.base import MeshError
from layflat.surface import Mesh, boundary_loops, require_sheet
from layflat.surface.topology import (
    edge_table,
    euler_characteristic,
    face_components,
    manifold_fault,
    split_fans,
)


@pytest.mark.parametrize(
    ("mesh", "expected"),
    [
        (zoo.sheet(5), 1),
        (zoo.cylinder(50, 100, around=12, along=4), 0),
        (zoo.cube(), 2),
        (zoo.torus(), 0),
        (zoo.moebius(), 0),
        (zoo.handle_sheet(), -1),
        (zoo.two_sheets(), 2),
    ],
)
def test_the_euler_characteristic_is_that_of_the_shape(mesh: Mesh, expected: int) -> None:
    assert euler_characteristic(mesh.faces) == expected


def test_boundary_loops_run_with_the_material_on_the_left() -> None:
    mesh = zoo.without_faces(zoo.sheet(21), (0, 0, 0), 20)
    outer, inner = sorted(boundary_loops(mesh.faces), key=len, reverse=True)
    for loop, sign in ((outer, 1), (inner, -1)):
        x, y = mesh.vertices_mm[loop, :2].T
        doubled = np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y)
        assert np.sign(doubled) == sign


def test_every_half_edge_is_the_mate_of_its_mate() -> None:
    table = edge_table(zoo.sheet(6, jitter=0.2).faces)
    inner = np.flatnonzero(table.mate >= 0)
    assert np.array_equal(table.mate[table.mate[inner]], inner)
    assert (table.edge_of[table.mate[inner]] == table.edge_of[inner]).all()


def test_fans_that_meet_at_a_vertex_get_a_vertex_each() -> None:
    faces, source = split_fans(zoo.bow_tie().faces)
    assert sorted(source.tolist()) == [0, 0, 1, 2, 3, 4]
    assert manifold_fault(faces) is None


def test_an_edge_with_three_triangles_is_parted_into_three() -> None:
    faces, _ = split_fans(zoo.three_fins().faces)
    assert manifold_fault(faces) is None
    assert int(face_components(edge_table(faces)).max()) + 1 == 3


def test_splitting_fans_leaves_a_good_mesh_as_it_is() -> None:
    mesh = zoo.sphere(100, splits=1)
    faces, source = split_fans(mesh.faces)
    assert np.array_equal(faces, mesh.faces)
    assert np.array_equal(source, np.arange(len(mesh.vertices_mm)))


@pytest.mark.parametrize(
    ("mesh", "words"),
    [
        (zoo.cube(), "closed like a ball"),
        (zoo.torus(), "closed like a ball"),
        (zoo.handle_sheet(), "1 handle"),
        (zoo.two_sheets(), "2 separate pieces"),
        (zoo.three_fins(), "more than two triangles"),
        (zoo.bow_tie(), "touches itself at 1"),
        (zoo.moebius(), "opposite ways"),
        (Mesh(np.zeros((0, 3)), np.zeros((0, 3))), "no triangles"),
    ],
)
def test_what_is_no_sheet_is_refused_with_the_reason(mesh: Mesh, words: str) -> None:
    with pytest.raises(MeshError, match=words):
        require_sheet(mesh.faces, what="The surface")


def test_a_sheet_may_have_holes() -> None:
    mesh = zoo.without_faces(zoo.sheet(31), (20, 20, 0), 10)
    mesh = zoo.without_faces(mesh, (-20, -20, 0), 10)
    assert len(require_sheet(mesh.faces, what="It")) == 3
    assert len(require_sheet(zoo.cylinder(50, 90, around=9, along=3).faces, what="It")) == 2
    assert len(require_sheet(zoo.one_triangle().faces, what="It")) == 1
