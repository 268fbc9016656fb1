"""Lines that follow creases: against lengths known in closed form, and a second opinion."""

import numpy as np
import potpourri3d
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from layflat.base import FloatArray, MeshError
from layflat.surface import (
    EdgeKind,
    Features,
    Mesh,
    Node,
    Outline,
    Panel,
    cut_region,
    feature_path,
    features,
    outline_edges,
    prepare,
    snapped,
)
from zoo import block, bowl, grid_faces, sheet, two_sheets


def capped(radius: float = 60.0, around: int = 96, *, rise: float = 80.0) -> Mesh:
    """A drum's side and top: a cylinder with a flat lid, on which the rim is a crease."""
    angle = np.arange(around) * 2 * np.pi / around
    rings = [(radius, z) for z in np.linspace(0, rise, 12)]
    rings += [(r, rise) for r in np.linspace(radius, 6.0, 10)[1:]]
    points = np.stack([[r * np.cos(a), r * np.sin(a), z] for a in angle for r, z in rings])
    faces = grid_faces(around + 1, len(rings)) % (around * len(rings))
    return Mesh(points, faces)


BLOCK = features(prepare(block()))
FLAT = features(prepare(sheet(21, side_mm=200.0, jitter=0.3)))
DRUM = features(prepare(capped()))
MOVED_MM = 0.015
"""How far cutting moves a line at most, to lie on what is there."""


@settings(max_examples=12, deadline=None)
@example(ends=[0.0, 0.0, -14.5, -40.38671875])
@given(ends=st.lists(st.floats(-90, 90), min_size=4, max_size=4))
def test_on_a_flat_sheet_it_is_the_straight_line(ends: list[float]) -> None:
    start, end = np.array([*ends[:2], 0.0]), np.array([*ends[2:], 0.0])
    if np.linalg.norm(end - start) < 1.0:
        return
    found = feature_path(FLAT, start, end)
    # An end that is very near to an edge or a corner of a triangle is put there.
    straight = np.linalg.norm(end - start)
    assert found.length_mm == pytest.approx(straight, abs=2 * MOVED_MM)
    aside = np.cross(found.points_mm - start, end - start) / straight
    assert np.abs(aside).max() < MOVED_MM
    assert found.share_followed == 0.0
    assert list(found.kept) == [0, len(found.points_mm) - 1]


def test_a_line_that_only_leaves_a_feature_runs_straight() -> None:
    # From the open edge across the sheet: along the edge first would be cheaper, but would lie over
    # the line that comes to that point along it.
    start = np.array([0.0, -100.0, 0.0])
    for end in (np.array([13.0, 40.0, 0.0]), np.array([60.0, -30.0, 0.0])):
        found = feature_path(FLAT, start, end)
        assert found.length_mm == pytest.approx(np.linalg.norm(end - start), abs=2e-3)
        assert found.share_followed == 0.0
    # Along the edge for most of the way, it follows it; where it leaves, it is straight again.
    beside = feature_path(FLAT, np.array([-90.0, -100.0, 0.0]), np.array([60.0, -40.0, 0.0]))
    assert 0.6 < beside.share_followed < 1.0
    tail = beside.points_mm[np.flatnonzero(~beside.followed)[0] :]
    length = np.linalg.norm(np.diff(tail, axis=0), axis=1).sum()
    assert len(tail) > 8
    assert length == pytest.approx(np.linalg.norm(tail[-1] - tail[0]), abs=2e-3)


def test_along_the_edges_of_a_block_it_has_their_length() -> None:
    found = feature_path(BLOCK, np.array([-73.3, -50, 25.0]), np.array([100, 13.3, 25.0]))
    assert found.length_mm == pytest.approx(173.3 + 63.3, abs=1e-9)
    assert found.share_followed == 1.0
    corners = found.points_mm[found.kept]
    assert np.allclose(corners, [[-73.3, -50, 25], [100, -50, 25], [100, 13.3, 25]])
    # The straight way over the top is shorter, and is taken when no feature is wanted.
    over = feature_path(
        BLOCK, np.array([-73.3, -50, 25.0]), np.array([100, 13.3, 25.0]), straight=True
    )
    assert over.length_mm == pytest.approx(np.hypot(173.3, 63.3), abs=1e-6)


def test_on_the_rim_of_a_drum_it_stays_on_it() -> None:
    a, b = 2 * np.pi * 3 / 96, 2 * np.pi * 33 / 96
    on = [np.array([60 * np.cos(t), 60 * np.sin(t), 80.0]) for t in (a, b)]
    found = feature_path(DRUM, *on)
    assert np.allclose(np.hypot(*found.points_mm[:, :2].T), 60.0)
    assert np.allclose(found.points_mm[:, 2], 80.0)
    # Thirty chords of the rim.
    assert found.length_mm == pytest.approx(30 * 2 * 60 * np.sin(np.pi / 96), abs=1e-9)
    # Through the points that are kept the same line runs to within 0.2 mm.
    kept = found.points_mm[found.kept]
    assert len(kept) < len(found.points_mm)
    middle = 0.5 * (kept[1:] + kept[:-1])
    assert (60.0 - np.hypot(*middle.T[:2])).max() < 0.35


@pytest.mark.parametrize("straight", [False, True])
def test_off_features_it_is_the_geodesic_of_another_library(straight: bool) -> None:
    # Second opinion: potpourri3d's edge flips on the whole mesh, between two of its vertices.
    mesh = sheet(25, side_mm=200.0, height=bowl(180.0), jitter=0.2)
    found = features(prepare(mesh))
    inner = np.flatnonzero(np.abs(mesh.vertices_mm[:, :2]).max(axis=1) < 70)
    solver = potpourri3d.EdgeFlipGeodesicSolver(np.array(mesh.vertices_mm), np.array(mesh.faces))
    for u, v in np.random.default_rng(5).choice(inner, (4, 2), replace=False):
        want = solver.find_geodesic_path(int(u), int(v))
        mine = feature_path(found, mesh.vertices_mm[u], mesh.vertices_mm[v], straight=straight)
        length = np.linalg.norm(np.diff(want, axis=0), axis=1).sum()
        assert mine.length_mm == pytest.approx(length, rel=1e-6)


def test_an_open_edge_is_a_feature_and_a_corner_draws_a_pick() -> None:
    assert np.allclose(snapped(FLAT, np.array([10.0, 95.0, 1.0])), [10.0, 100.0, 0.0])
    assert np.allclose(snapped(FLAT, np.array([96.0, 97.0, 0.0])), [100.0, 100.0, 0.0])
    assert np.allclose(snapped(FLAT, np.array([10.0, 80.0, 2.0])), [10.0, 80.0, 0.0])
    assert np.allclose(snapped(FLAT, np.array([10.0, 95.0, 0.0]), snap_mm=0.0), [10.0, 95.0, 0.0])
    assert np.allclose(snapped(BLOCK, np.array([97.0, -48, 25.0])), [100, -50, 25])
    with pytest.raises(MeshError, match="40 mm from the surface"):
        snapped(FLAT, np.array([0.0, 0.0, 40.0]))


def test_a_pick_stays_on_its_piece() -> None:
    # A small sheet 2 mm over a large one: its open edge is nearest, but lies on another piece.
    small, large = sheet(5, side_mm=40.0), sheet(21, side_mm=200.0)
    points = np.concatenate([large.vertices_mm, small.vertices_mm + np.array([0, 0, 2.0])])
    both = Mesh(points, np.concatenate([large.faces, small.faces + len(large.vertices_mm)]))
    found = features(prepare(both))
    assert np.allclose(snapped(found, np.array([21.0, 0.0, 0.0])), [21.0, 0.0, 0.0])
    assert np.allclose(snapped(found, np.array([19.0, 0.0, 2.0])), [20.0, 0.0, 2.0])


def test_a_soft_bend_is_no_feature_and_a_rounded_crease_is_one() -> None:
    def bend(radius: float) -> Features:
        """A strip bent by 60 degrees with a radius, flat before and after."""
        arc = np.linspace(0, np.pi / 3, max(3, round(radius * np.pi / 3 / 3)))
        x = np.concatenate([[-90, -60, -30], radius * np.sin(arc)])
        z = np.concatenate([[0, 0, 0], -radius * (1 - np.cos(arc))])
        out = np.array([np.cos(np.pi / 3), -np.sin(np.pi / 3)])
        x = np.concatenate([x, x[-1] + out[0] * np.array([30, 60, 90])])
        z = np.concatenate([z, z[-1] + out[1] * np.array([30, 60, 90])])
        y = np.linspace(-60, 60, 25)
        points = np.stack([np.repeat(x, 25), np.tile(y, len(x)), np.repeat(z, 25)], 1)
        return features(prepare(Mesh(points, grid_faces(len(x), 25)[:, ::-1])))

    def inner(found: Features) -> FloatArray:
        return found.strength[found.body.table.count == 2]

    assert inner(bend(120.0)).max() == 0.0
    assert inner(bend(8.0)).max() == 1.0


def test_picks_that_cannot_be_joined_are_refused() -> None:
    apart = features(prepare(two_sheets()))
    points = apart.body.mesh.vertices_mm
    with pytest.raises(MeshError, match="separate pieces"):
        feature_path(apart, points[0], points[-1])
    with pytest.raises(MeshError, match="at one place"):
        feature_path(FLAT, np.zeros(3), np.zeros(3))
    with pytest.raises(MeshError, match="from the surface"):
        feature_path(FLAT, np.zeros(3), np.array([0, 0, 50.0]))


def drawn(points: list[tuple[float, float, float]]) -> Outline:
    outline = Outline()
    for point in points:
        outline = outline.with_node(point)
    return outline


TOP = [(-100.0, -50.0, 25.0), (100.0, -50.0, 25.0), (100.0, 50.0, 25.0), (-100.0, 50.0, 25.0)]


@pytest.mark.parametrize("points", [TOP, TOP[::-1]], ids=["counter-clockwise", "clockwise"])
def test_a_traced_outline_cuts_its_panel_out_of_the_body(points: list[FloatArray]) -> None:
    outline = drawn(points).joined().with_edge(2, corner=True, kind=EdgeKind.GAP, name="rear")
    paths = [
        feature_path(BLOCK, *(np.array(outline.nodes[i].at_mm) for i in span))
        for span in outline.spans()
    ]
    edges = outline_edges(outline, paths, outward=np.array([0.0, 0, 1]))
    assert sorted((edge.kind, edge.name) for edge in edges) == [("gap", "rear"), ("inner", "")]
    region = cut_region(BLOCK.body, Panel("top", edges))
    assert region.mesh.area_mm2 == pytest.approx(20_000.0, abs=1e-3)


def test_an_outline_is_edited_step_by_step() -> None:
    outline = drawn(TOP)
    assert outline.spans() == [(0, 1), (1, 2), (2, 3)]
    closed = outline.joined()
    assert closed.spans()[-1] == (3, 0)
    assert closed.nodes[0].corner
    more = closed.with_node((0.0, -60.0, 25.0), after=0)
    assert [node.at_mm[1] for node in more.nodes] == [-50, -60, -50, 50, 50]
    assert more.without(1) == closed
    # The only corner goes over to the next point with its name.
    named = closed.with_edge(0, corner=True, kind=EdgeKind.OPEN, name="front")
    left = named.without(0)
    assert (left.nodes[0].corner, left.nodes[0].name, left.closed) == (True, "front", True)
    assert not left.without(0).closed
    assert closed.moved(2, (1.0, 2.0, 3.0)).nodes[2].at_mm == (1.0, 2.0, 3.0)
    assert closed.with_straight(1, straight=True).nodes[1].straight
    # What was there before is still there: each step can be taken back.
    assert closed.nodes[2].at_mm == TOP[2]
    assert outline == Outline(tuple(Node(point) for point in TOP))


@pytest.mark.parametrize(
    ("act", "words"),
    [
        (lambda: drawn(TOP[:2]).joined(), "three points"),
        (lambda: drawn(TOP).joined().with_node((0.0, 0.0, 0.0)), "is closed"),
        (lambda: drawn(TOP).moved(4, (0.0, 0.0, 0.0)), "no such point"),
        (lambda: drawn(TOP).without(-1), "no such point"),
        (
            lambda: drawn(TOP).joined().with_edge(0, corner=False, kind=EdgeKind.GAP, name=""),
            "one edge at least",
        ),
        (lambda: outline_edges(drawn(TOP), [], outward=np.zeros(3)), "Close the outline"),
        (lambda: drawn(TOP * 101), "400 points"),
    ],
)
def test_what_makes_no_outline_is_refused(act: object, words: str) -> None:
    with pytest.raises(MeshError, match=words):
        act()
