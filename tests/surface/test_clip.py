import numpy as np
import pytest

import zoo
from layflat.base import MeshError
from layflat.surface import (
    EdgeKind,
    Mesh,
    Region,
    boundary_loops,
    clip_region,
    cut_region,
    edge_lengths_mm,
    whole_region,
)


def square() -> Region:
    corners = np.array([[-40, -30], [40, -30], [40, 30], [-40, 30.0]])
    return cut_region(zoo.sheet(27, jitter=0.3), zoo.panel(zoo.raised(corners), parts=4))


def test_a_panel_up_to_a_line_keeps_its_edges_and_gets_one_more() -> None:
    line = np.array([[10, -30, 0], [12, 2, 0], [14, 30, 0]], float)
    region = clip_region(square(), line_mm=line, keep_mm=np.array([-30, 0, 0]))
    (loop,) = region.loops
    names = [edge.name for edge in loop.edges]
    assert sorted(names) == ["edge 1", "edge 3", "edge 4", "line"]
    kinds = {edge.name: edge.kind for edge in loop.edges}
    assert kinds["line"] is EdgeKind.INNER
    assert kinds["edge 1"] is EdgeKind.GAP
    lengths = dict(zip(names, edge_lengths_mm(region)[0], strict=True))
    bends = np.linalg.norm(np.diff(line, axis=0), axis=1).sum()
    assert lengths == pytest.approx(
        {"edge 1": 50, "edge 3": 54, "edge 4": 60, "line": bends}, abs=0.02
    )
    assert region.mesh.area_mm2 == pytest.approx(51 * 32 + 53 * 28, rel=1e-4)
    assert {frozenset(loop.vertices.tolist())} == {
        frozenset(found.tolist()) for found in boundary_loops(region.mesh.faces)
    }


def test_both_sides_together_are_the_whole() -> None:
    region = whole_region(zoo.sheet(15, height=zoo.saddle(80), jitter=0.3))
    line = np.array([[-60, 7, 0], [0, -8, 0], [60, 3, 0]], float)
    sides = [clip_region(region, line_mm=line, keep_mm=np.array([0, y, 0])) for y in (-30.0, 30.0)]
    assert sum(side.mesh.area_mm2 for side in sides) == pytest.approx(region.mesh.area_mm2)
    for side in sides:
        assert float(side.mesh.face_areas_mm2.min()) > 0
        assert sum(edge.name == "line" for edge in side.loops[0].edges) == 1


def test_ends_that_stop_short_are_drawn_on_to_the_edge() -> None:
    line = np.array([[0, -22, 0], [0, 22, 0]], float)
    region = clip_region(square(), line_mm=line, keep_mm=np.array([20, 0, 0]))
    assert region.mesh.area_mm2 == pytest.approx(40 * 60, rel=1e-3)


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ([[0, 0, 0]], "two points"),
        ([[0, -30, 0], [0, 0, 40], [0, 30, 0]], "40.0 mm from the surface"),
        ([[0, -30, 0], [np.nan, 0, 0], [0, 30, 0]], "not a finite number"),
    ],
)
def test_a_line_that_parts_nothing_is_refused(line: list[list[float]], words: str) -> None:
    with pytest.raises(MeshError, match=words):
        clip_region(square(), line_mm=np.array(line, float), keep_mm=np.array([20.0, 0, 0]))


def test_a_line_round_a_ring_must_part_it() -> None:
    ring = whole_region(zoo.cylinder(50, 100, around=40, along=12))
    across = np.array([[50, 0, 0], [50, 0, 100]], float)
    with pytest.raises(MeshError, match="does not part"):
        clip_region(ring, line_mm=across, keep_mm=np.array([0, 50, 50.0]))


@pytest.mark.parametrize("gap_mm", [0.0005, 0.002, 0.004, 0.02])
@pytest.mark.parametrize("share", [0.1, 0.3, 0.5, 0.8])
def test_a_line_may_end_on_a_splinter_at_the_edge(gap_mm: float, share: float) -> None:
    sheet = zoo.sheet(9, jitter=0.3)
    loop = boundary_loops(sheet.faces)[0]
    at = next(i for i, p in enumerate(sheet.vertices_mm[loop]) if p[0] > 49.9 and abs(p[1]) < 6)
    before, here, after = loop[at - 1], loop[at], loop[at + 1]
    beside = sheet.vertices_mm[here] + np.array([gap_mm, 0, 0])
    rim = len(sheet.vertices_mm)
    mesh = Mesh(
        np.concatenate([sheet.vertices_mm, beside[None]]),
        np.concatenate([sheet.faces, [[here, before, rim], [after, here, rim]]]),
    )
    end = beside + share * (mesh.vertices_mm[before] - beside)
    line = np.array([[-50, 0, 0], end])
    sides = [
        clip_region(whole_region(mesh), line_mm=line, keep_mm=np.array([0, y, 0.0]))
        for y in (-30, 30)
    ]
    assert sum(side.mesh.area_mm2 for side in sides) == pytest.approx(mesh.area_mm2, abs=0.05)


def test_an_end_far_from_the_edge_is_refused() -> None:
    line = np.array([[0, -22, 0], [0, 3, 0]], float)
    with pytest.raises(MeshError, match=r"its end at \(0\.0, 3\.0, 0\.0\) mm lies 27\.0 mm from"):
        clip_region(square(), line_mm=line, keep_mm=np.array([20.0, 0, 0]))
