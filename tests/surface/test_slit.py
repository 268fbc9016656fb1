"""A region opened along a line keeps its surface and gets two edges more."""

import numpy as np
import pytest

from film.shapes import cap, graph, level, ring
from layflat.base import FloatArray, MeshError
from layflat.surface import (
    EdgeKind,
    Region,
    boundary_loops,
    edge_lengths_mm,
    require_sheet,
    slit_region,
    whole_region,
)

PLATE = whole_region(graph(level, width=200, depth=120, across=21, along=13))
PATH = np.array([[-3.0, -60.0, 0.0], [4.0, -20.0, 0.0], [13.0, 3.0, 0.0]])


def opened(region: Region, path: FloatArray, *, name: str = "relief 1") -> Region:
    """The region opened, with what must hold of every such one checked."""
    found = slit_region(region, path, name=name)
    require_sheet(found.mesh.faces, what="The surface")
    assert found.mesh.area_mm2 == pytest.approx(region.mesh.area_mm2, rel=1e-4)
    loops = {frozenset(loop.tolist()) for loop in boundary_loops(found.mesh.faces)}
    assert loops == {frozenset(loop.vertices.tolist()) for loop in found.loops}
    for loop, ids in zip(
        sorted(found.loops, key=lambda loop: int(loop.vertices.min())),
        sorted(boundary_loops(found.mesh.faces), key=lambda ids: int(ids.min())),
        strict=True,
    ):
        start = loop.vertices.tolist().index(int(ids[0]))
        assert np.array_equal(np.roll(loop.vertices, -start), ids)
        # Each edge is one run, the first begins at the first vertex.
        assert (np.diff(loop.edge_of) >= 0).all()
        assert np.array_equal(np.unique(loop.edge_of), np.arange(len(loop.edges)))
    return found


def sides(region: Region, name: str = "relief 1") -> list[float]:
    return [
        float(length)
        for loop, lengths in zip(region.loops, edge_lengths_mm(region), strict=True)
        for edge, length in zip(loop.edges, lengths, strict=True)
        if edge.name == name
    ]


def test_both_sides_are_inner_edges_as_long_as_the_path_and_part_the_edge() -> None:
    found = opened(PLATE, PATH)
    kinds = [(edge.name, edge.kind) for edge in found.loops[0].edges]
    assert kinds.count(("relief 1", EdgeKind.INNER)) == 2
    assert len(kinds) == len(PLATE.loops[0].edges) + 3
    length = np.linalg.norm(np.diff(PATH, axis=0), axis=1).sum()
    assert sides(found) == pytest.approx([length, length], abs=2.0)
    (below,) = [i for i, (name, _) in enumerate(kinds) if name == "relief 1"][:1]
    lengths = edge_lengths_mm(found)[0]
    assert lengths[below - 1] == pytest.approx(97.0, abs=0.01)
    assert lengths[below + 2] == pytest.approx(103.0, abs=0.01)
    first = found.loops[0].edges[below].points_mm
    assert first[0] == pytest.approx(PATH[0], abs=0.01)


def test_from_a_corner_no_edge_is_parted() -> None:
    found = opened(PLATE, np.array([[-100.0, -60.0, 0.0], [-60.0, -30.0, 0.0]]))
    assert len(found.loops[0].edges) == len(PLATE.loops[0].edges) + 2
    assert sides(found) == pytest.approx([50.0, 50.0], abs=1.5)


def test_from_an_edge_that_is_a_whole_loop() -> None:
    dome = whole_region(cap(8, angle=0.6, radius=300.0))
    assert len(dome.loops[0].edges) == 1
    start = dome.mesh.vertices_mm[dome.loops[0].vertices[5]]
    found = opened(dome, np.array([start, [10.0, 5.0, 300.0]]))
    assert [edge.name for edge in found.loops[0].edges] == ["", "relief 1", "relief 1"]


def test_from_an_opening() -> None:
    plate = whole_region(ring(level, inner=30, outer=120))
    found = opened(plate, np.array([[31.0, 1.0, 0.0], [70.0, 8.0, 0.0]]))
    assert [len(loop.edges) for loop in found.loops] == [1, 3]


def test_several_one_after_the_other() -> None:
    found = opened(opened(PLATE, PATH), np.array([[60.0, 60, 0], [55.0, 10, 0]]), name="relief 2")
    third = opened(found, np.array([[20.0, -60.0, 0], [24.0, -20, 0]]), name="relief 3")
    assert len(sides(third)) == len(sides(third, "relief 2")) == len(sides(third, "relief 3")) == 2


@pytest.mark.parametrize(
    ("path", "said"),
    [
        ([[0.0, 0.0, 0.0], [10.0, 0.0, 0.0]], "must start on an edge"),
        ([[0.0, -60.0, 0.0], [0.0, 60.0, 0.0]], "touches an edge again"),
        ([[0.0, -60.0, 0.0], [0.0, -59.5, 0.0]], "shorter than"),
        ([[0.0, -60.0, 0.0]], "two points"),
        ([[0.0, -60.0, 0.0], [0.0, np.nan, 0.0]], "finite"),
        ([[0.0, -60.0, 0.0], [0.0, 0.0, 50.0]], "from the surface"),
        ([[0.0, -60.0, 0.0], [40.0, -10.0, 0.0], [20.0, 10.0, 0.0], [10.0, -55.0, 0.0]], "crosses"),
    ],
)
def test_a_path_that_cannot_be_cut_is_refused_with_the_reason(path: list, said: str) -> None:
    with pytest.raises(MeshError, match=said):
        slit_region(PLATE, np.array(path), name="relief 1")


def test_one_that_would_cross_another_is_refused() -> None:
    first = opened(PLATE, PATH)
    with pytest.raises(MeshError):
        slit_region(first, np.array([[-40.0, -60, 0], [50.0, -30, 0]]), name="relief 2")
