from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

import zoo
from layflat.base import FloatArray
from layflat.surface import (
    Mesh,
    Region,
    clip_region,
    cut_region,
    locate,
    triangle_quality,
    whole_region,
)
from layflat.surface.tidy import LINE_MM, SURFACE_MM, tidy
from layflat.surface.topology import edge_table, euler_characteristic, manifold_fault

BoolArray = NDArray[np.bool_]
Height = Callable[[FloatArray, FloatArray], FloatArray]


def rough(height: Height, seed: int) -> Height:
    """The height with a scanner's noise of 0.1 mm."""
    random = np.random.default_rng(seed)
    return lambda x, y: height(x, y) + random.normal(0, 0.1, np.shape(x))


def cut_with_what_was_tidied(
    monkeypatch: pytest.MonkeyPatch, seed: int, *, sides: int = 60
) -> tuple[Region, Region, BoolArray]:
    """A panel with an opening of a noisy bowl before and after tidying, and what was free."""
    given: list[tuple[Region, BoolArray]] = []

    def keep(region: Region, *, free: BoolArray) -> Region:
        given.append((region, free))
        return tidy(region, free=free)

    monkeypatch.setattr("layflat.surface.cut.tidy", keep)
    height = zoo.bowl(500)
    mesh = zoo.sheet(41, side_mm=300, height=rough(height, seed), jitter=0.3, seed=seed)
    outer, inner = zoo.ring(sides, 120), zoo.ring(24, 30, x=20, clockwise=True)
    panel = zoo.panel(zoo.raised(outer, height), parts=4, openings=(zoo.raised(inner, height),))
    after = cut_region(mesh, panel)
    return given[0][0], after, given[0][1]


SEEDS = range(4)


@pytest.mark.parametrize("seed", SEEDS)
def test_no_splinter_is_left_where_there_were_many(
    monkeypatch: pytest.MonkeyPatch, seed: int
) -> None:
    before, after, _ = cut_with_what_was_tidied(monkeypatch, seed)
    assert triangle_quality(before.mesh).min() < 0.01
    assert triangle_quality(after.mesh).min() > 0.02


@pytest.mark.parametrize("seed", SEEDS)
def test_what_is_tidied_stays_what_it_was(monkeypatch: pytest.MonkeyPatch, seed: int) -> None:
    before, after, free = cut_with_what_was_tidied(monkeypatch, seed)
    assert manifold_fault(after.mesh.faces) is None
    assert euler_characteristic(after.mesh.faces) == euler_characteristic(before.mesh.faces)
    assert after.mesh.area_mm2 == pytest.approx(before.mesh.area_mm2, rel=1e-5)
    for old, new in zip(before.loops, after.loops, strict=True):
        kept = _positions(before, old.vertices, after, new.vertices)
        assert (np.diff(kept) > 0).all()
        assert set(np.flatnonzero(~free[old.vertices])) <= set(kept.tolist())
        assert np.array_equal(new.edge_of, old.edge_of[kept])
        assert new.edges == old.edges
        line, chord = before.mesh.vertices_mm[old.vertices], after.mesh.vertices_mm[new.vertices]
        assert zoo.farthest(line, chord) <= LINE_MM


def _positions(before: Region, old: np.ndarray, after: Region, new: np.ndarray) -> np.ndarray:
    """Where in the old loop each vertex of the new one was."""
    at = {tuple(p): i for i, p in enumerate(before.mesh.vertices_mm[old].tolist())}
    return np.array([at[tuple(p)] for p in after.mesh.vertices_mm[new].tolist()])


@pytest.mark.parametrize("seed", SEEDS)
def test_no_triangle_turns_over(monkeypatch: pytest.MonkeyPatch, seed: int) -> None:
    before, after, _ = cut_with_what_was_tidied(monkeypatch, seed)
    middles = after.mesh.vertices_mm[after.mesh.faces].mean(axis=1)
    found = locate(before.mesh, middles)
    assert found.distances_mm.max() <= SURFACE_MM
    turn = np.einsum("ij,ij->i", _normals(after.mesh), _normals(before.mesh)[found.faces])
    assert turn.min() > np.cos(np.radians(20))


def _normals(mesh: Mesh) -> FloatArray:
    corners = mesh.vertices_mm[mesh.faces]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    return normal / np.linalg.norm(normal, axis=1, keepdims=True)


def pinched(gap_mm: float, *, lift_mm: float = 0.0) -> tuple[Region, int]:
    """A flat square of 100 mm with two vertices close together on one side, and the second."""
    points = np.array(
        [[0, 0, 0], [50, 0, 0], [50 + gap_mm, 0, lift_mm], [100, 0, 0], [100, 100, 0], [0, 100, 0]]
    )
    faces = np.array([[0, 1, 5], [1, 2, 5], [2, 4, 5], [2, 3, 4]])
    return whole_region(Mesh(points, faces)), 2


def test_a_needle_collapses_into_the_vertex_beside_it() -> None:
    region, second = pinched(0.05)
    free = np.zeros(6, np.bool_)
    free[second] = True
    tidied = tidy(region, free=free)
    assert len(tidied.mesh.faces) == 3
    assert tidied.mesh.area_mm2 == pytest.approx(10_000)
    assert tidied.loops[0].vertices.tolist() == [0, 1, 2, 3, 4]
    assert tidied.mesh.vertices_mm[1].tolist() == [50, 0, 0]


def test_what_is_not_free_stays() -> None:
    region, _ = pinched(0.05)
    tidied = tidy(region, free=np.zeros(6, np.bool_))
    assert len(tidied.loops[0].vertices) == 6


@pytest.mark.parametrize(("lift_mm", "left"), [(0.9 * LINE_MM, 5), (1.2 * LINE_MM, 6)])
def test_a_point_goes_only_within_the_tolerance_of_the_line(lift_mm: float, left: int) -> None:
    """The dropped point lies *lift_mm* off the straight line between its neighbours."""
    region, second = pinched(0.4, lift_mm=lift_mm)
    free = np.zeros(6, np.bool_)
    free[second] = True
    assert len(tidy(region, free=free).loops[0].vertices) == left


def kite(bend_mm: float) -> Region:
    """Two flat caps that share their long side, with the tips *bend_mm* below it."""
    points = np.array([[0, 0, 0], [40, 0, 0], [20, 0.9, -bend_mm], [20, -0.9, -bend_mm]])
    return whole_region(Mesh(points, np.array([[0, 1, 2], [1, 0, 3]])))


def fenced(region: Region) -> Region:
    """The kite amid well-shaped triangles, with one end of the long side on the boundary."""
    ring = np.array([[60, 0, 0], [20, 30, 0], [20, -30, 0]], float)
    faces = np.array([[0, 2, 5], [2, 1, 5], [1, 3, 6], [3, 0, 6], [5, 1, 4], [4, 1, 6]])
    points = np.concatenate([region.mesh.vertices_mm, ring])
    return whole_region(Mesh(points, np.concatenate([region.mesh.faces, faces])))


@pytest.mark.parametrize(("bend_mm", "flipped"), [(0.9 * SURFACE_MM, True), (0.2, False)])
def test_an_edge_is_flipped_only_where_that_leaves_the_surface(
    bend_mm: float, flipped: bool
) -> None:
    """The two diagonals pass each other at a distance of *bend_mm*."""
    region = fenced(kite(bend_mm))
    tidied = tidy(region, free=np.zeros(7, np.bool_))
    edges = {tuple(ends) for ends in edge_table(tidied.mesh.faces).ends.tolist()}
    assert ((2, 3) in edges) is flipped
    assert ((0, 1) in edges) is not flipped
    assert len(tidied.mesh.vertices_mm) == 7


def test_a_good_region_is_left_as_it_is() -> None:
    region = whole_region(zoo.sheet(9, jitter=0.2))
    assert tidy(region, free=np.ones(81, np.bool_)) is region


def test_a_clipped_panel_keeps_its_own_boundary_and_has_no_splinter() -> None:
    height = rough(zoo.saddle(300), 4)
    mesh = zoo.sheet(41, side_mm=300, height=height, jitter=0.3, seed=4)
    region = whole_region(mesh)
    line = np.array([[-150, 21, 0], [-40, -13, 0], [50, 17, 0], [150, 4, 0]], float)
    line = locate(mesh, line).points_mm
    side = clip_region(region, line_mm=line, keep_mm=np.array([0.0, 100, 0]))
    assert triangle_quality(side.mesh).min() > 0.02
    own = {tuple(p) for p in mesh.vertices_mm[region.loops[0].vertices].tolist() if p[1] > 30}
    assert own <= {tuple(p) for p in side.mesh.vertices_mm[side.loops[0].vertices].tolist()}
