"""A region parted along a line: nothing is lost, and what its edges are called stays."""

import re
from collections import Counter, defaultdict

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from film.shapes import cap, graph, level, ring
from layflat.base import FloatArray, LayflatError, MeshError, SettingError
from layflat.surface import (
    Edge,
    EdgeKind,
    Loop,
    Region,
    boundary_loops,
    edge_lengths_mm,
    part_region,
    require_sheet,
    whole_region,
)


def named(region: Region) -> Region:
    """The region with a name and a kind of its own for each edge."""
    kinds = list(EdgeKind)
    loops = [
        Loop(
            loop.vertices,
            loop.edge_of,
            tuple(
                Edge(kinds[i % len(kinds)], edge.points_mm, f"{number}.{i}")
                for i, edge in enumerate(loop.edges)
            ),
        )
        for number, loop in enumerate(region.loops)
    ]
    return Region(region.mesh, tuple(loops))


PLATE = named(whole_region(graph(level, width=200, depth=120, across=21, along=13)))
ROOF = named(
    whole_region(
        graph(
            lambda x, y: np.sqrt(150.0**2 - x**2) + 0 * y,
            width=200,
            depth=120,
            across=41,
            along=13,
        ),
        corner_degrees=60,
    )
)
HOLED = named(whole_region(ring(level, inner=30.0, outer=100.0)))


def lengths(region: Region) -> dict[tuple[str, EdgeKind], float]:
    total: dict[tuple[str, EdgeKind], float] = defaultdict(float)
    for loop, sides in zip(region.loops, edge_lengths_mm(region), strict=True):
        for edge, length in zip(loop.edges, sides, strict=True):
            total[edge.name, edge.kind] += float(length)
    return dict(total)


def parted(
    region: Region, path: FloatArray, *, overlap_mm: float = 0.0, rel: float = 1e-4
) -> tuple[Region, Region]:
    """The two parts, with what must hold of all such checked."""
    parts = part_region(region, path, name="seam 1", overlap_mm=overlap_mm)
    for part in parts:
        require_sheet(part.mesh.faces, what="The part")
        loops = {frozenset(loop.tolist()) for loop in boundary_loops(part.mesh.faces)}
        assert loops == {frozenset(loop.vertices.tolist()) for loop in part.loops}
        for loop in part.loops:
            assert (np.diff(loop.edge_of) >= 0).all()
            assert np.array_equal(np.unique(loop.edge_of), np.arange(len(loop.edges)))
        seams = [edge for edge in part.loops[0].edges if edge.name == "seam 1"]
        assert [edge.kind for edge in seams] == [EdgeKind.INNER]
    if overlap_mm == 0.0:
        whole = sum(part.mesh.area_mm2 for part in parts)
        assert whole == pytest.approx(region.mesh.area_mm2, rel=rel)
        both = Counter(lengths(parts[0])) + Counter(lengths(parts[1]))
        seam = both.pop(("seam 1", EdgeKind.INNER))
        assert lengths(parts[0])["seam 1", EdgeKind.INNER] == pytest.approx(seam / 2, rel=1e-3)
        assert dict(both) == pytest.approx(lengths(region), abs=0.02)
    return parts


def test_a_plate_is_parted_by_closed_form_and_the_first_part_is_on_the_left() -> None:
    path = np.array([[13.0, -60.0, 0.0], [13.0, 60.0, 0.0]])
    first, second = parted(PLATE, path)
    assert first.mesh.area_mm2 == pytest.approx(113.0 * 120.0, rel=1e-6)
    assert second.mesh.area_mm2 == pytest.approx(87.0 * 120.0, rel=1e-6)
    assert first.mesh.vertices_mm[:, 0].max() == pytest.approx(13.0, abs=1e-6)
    back, front = parted(PLATE, path[::-1])
    assert back.mesh.area_mm2 == pytest.approx(87.0 * 120.0, rel=1e-6)
    assert front.mesh.area_mm2 == pytest.approx(113.0 * 120.0, rel=1e-6)


@pytest.mark.parametrize("tilt", [0.0, 30.0, -30.0])
@pytest.mark.parametrize("overlap_mm", [1.0, 3.0, 14.0])
def test_an_overlap_adds_a_band_of_its_width(tilt: float, overlap_mm: float) -> None:
    path = np.array([[13.0 - tilt, -60.0, 0.0], [13.0 + tilt, 60.0, 0.0]])
    first, second = parted(PLATE, path, overlap_mm=overlap_mm)
    # A parallelogram: its long side times the distance across.
    band = overlap_mm * float(np.linalg.norm(path[1] - path[0]))
    over = first.mesh.area_mm2 + second.mesh.area_mm2 - PLATE.mesh.area_mm2
    assert over == pytest.approx(band, rel=2e-3)
    plain = Counter(lengths(PLATE))
    both = Counter(lengths(first)) + Counter(lengths(second))
    both.pop(("seam 1", EdgeKind.INNER))
    along = overlap_mm * float(np.linalg.norm(path[1] - path[0])) / 120.0
    assert sum(both.values()) - sum(plain.values()) == pytest.approx(2 * along, rel=2e-3)


def test_on_a_cylinder_the_parts_are_as_large_as_their_arcs() -> None:
    x = 40.0
    z = float(np.sqrt(150.0**2 - x**2))
    first, second = parted(ROOF, np.array([[x, -60.0, z], [x, 60.0, z]]))
    arc = [150.0 * (np.arcsin(100 / 150) + s * np.arcsin(x / 150)) for s in (1, -1)]
    assert first.mesh.area_mm2 == pytest.approx(120.0 * arc[0], rel=1e-3)
    assert second.mesh.area_mm2 == pytest.approx(120.0 * arc[1], rel=1e-3)
    over, _ = parted(ROOF, np.array([[x, -60.0, z], [x, 60.0, z]]), overlap_mm=3.0)
    assert over.mesh.area_mm2 - first.mesh.area_mm2 == pytest.approx(3.0 * 120.0, rel=5e-3)


def test_an_opening_stays_with_the_part_it_lies_in() -> None:
    first, second = parted(HOLED, np.array([[-85.0, 55.0, 0.0], [85.0, 55.0, 0.0]]))
    assert (len(first.loops), len(second.loops)) == (1, 2)
    assert {edge.name[0] for edge in second.loops[1].edges} == {"1"}


def test_a_cut_along_edges_of_the_mesh_and_through_corners() -> None:
    parted(PLATE, np.array([[0.0, -60.0, 0.0], [0.0, 60.0, 0.0]]), overlap_mm=10.0)
    first, second = parted(PLATE, np.array([[-100.0, -60.0, 0.0], [100.0, 60.0, 0.0]]))
    assert first.mesh.area_mm2 == pytest.approx(second.mesh.area_mm2, rel=1e-6)


BAD = {
    "must run from edge to edge of the panel: its start": [[-50.0, 0, 0], [0.0, 60, 0]],
    "must run from edge to edge of the panel: its end": [[0.0, -60, 0], [0.0, 20, 0]],
    "its point 2 at .* lies 40.0 mm from the surface": [[0.0, -60, 0], [0, 0, 40], [0, 60, 0]],
    "crosses or touches itself": [
        [0.0, -60, 0],
        [30, 20, 0],
        [-30, 20, 0],
        [20, -30, 0],
        [50, 60, 0],
    ],
    "sliver": [[-100.0, -50, 0], [100, -50, 0]],
    "touches": [[0.0, -60, 0], [-100, 0, 0], [0, 60, 0]],
    "starts and ends at one place": [[0.0, -60, 0], [0.0, -60, 0]],
    "not a finite number": [[0.0, -60, 0], [np.nan, 60, 0]],
    "two points or more": [[0.0, -60, 0]],
}


@pytest.mark.parametrize("words", BAD)
def test_what_cannot_be_a_seam_is_refused_in_one_sentence(words: str) -> None:
    with pytest.raises(MeshError, match=words):
        part_region(PLATE, np.array(BAD[words]), name="seam 1")


def test_a_line_that_ends_at_an_opening_or_leads_over_it_is_refused() -> None:
    with pytest.raises(MeshError, match="does not part the panel"):
        part_region(HOLED, np.array([[-100.0, 0, 0], [-30, 0, 0]]), name="seam 1")
    with pytest.raises(MeshError, match=r"leads over a hole|touches"):
        part_region(HOLED, np.array([[-100.0, 0, 0], [100, 0, 0]]), name="seam 1")


def test_an_overlap_out_of_range_is_refused() -> None:
    with pytest.raises(SettingError, match="between 0 and 30 mm"):
        part_region(PLATE, np.array([[0.0, -60, 0], [0, 60, 0]]), name="seam 1", overlap_mm=-1.0)


DOME = named(whole_region(cap(7, angle=0.6, radius=200.0)))


@settings(max_examples=25, deadline=None)
@given(
    ends=st.tuples(st.floats(0, 2 * np.pi), st.floats(0.6, np.pi)),
    middle=st.tuples(st.floats(-0.35, 0.35), st.floats(-0.35, 0.35)),
    overlap_mm=st.sampled_from([0.0, 3.0]),
)
def test_a_dome_parted_anywhere_keeps_all_of_itself(
    ends: tuple[float, float], middle: tuple[float, float], overlap_mm: float
) -> None:
    around = np.array([ends[0], ends[0] + ends[1]])
    start, end = (
        200 * np.array([np.sin(0.6) * np.cos(a), np.sin(0.6) * np.sin(a), np.cos(0.6)])
        for a in around
    )
    tilt = np.array([*middle, np.sqrt(1 - middle[0] ** 2 - middle[1] ** 2)])
    path = np.stack((start, 200 * tilt, end))
    try:
        plain = part_region(DOME, path, name="seam 1")
    except LayflatError as error:
        # A random line may take off a sliver, or run along the rim.
        assert re.search(r"sliver|touches|hole", str(error))  # noqa: PT017
        return
    parted(DOME, path, rel=2e-4)
    if overlap_mm:
        first, second = parted(DOME, path, overlap_mm=overlap_mm)
        seam = lengths(plain[0])["seam 1", EdgeKind.INNER]
        assert second.mesh.area_mm2 == pytest.approx(plain[1].mesh.area_mm2, rel=1e-9)
        band = first.mesh.area_mm2 - plain[0].mesh.area_mm2
        assert 0.75 * overlap_mm * seam < band < 1.25 * overlap_mm * seam
