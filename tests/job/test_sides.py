"""Left and right of a job: one pattern, mirrored, where the scan agrees; else each its own."""

import re
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from shapely import LinearRing, Point

from film.shapes import graph
from layflat.base import FloatArray, digest
from layflat.film import generic_film, strain_of, to_flat
from layflat.job import Cover, FilmOrder, LayoutOrder, Piece, fit_front, make_pieces, sides
from layflat.job.sides import side_pairs
from layflat.nest import Stock
from layflat.pattern import EdgeFinish, Finish, Pattern, place, to_polygon
from layflat.surface import (
    BodyInfo,
    Edge,
    EdgeKind,
    KeepOut,
    KeepOutKind,
    Mesh,
    Panel,
    boundary_loops,
    locate,
)
from layflat.web.cover.sentences import without_places

IMAGE = np.array([1.0, -1.0, 1.0])
ASIDE = np.array([0.0, 500.0, 0.0])
LEFT, RIGHT = Cover("wing-left"), Cover("wing-right")
RULES = {
    EdgeKind.OPEN: EdgeFinish(Finish.WRAP, 8.0),
    EdgeKind.GAP: EdgeFinish(Finish.SHORT, 1.5),
    EdgeKind.TRIM: EdgeFinish(Finish.SHORT, 1.5),
    EdgeKind.INNER: EdgeFinish(Finish.FLUSH),
}

PLAIN = {kind: EdgeFinish(Finish.FLUSH) for kind in EdgeKind}


def height(x: FloatArray, y: FloatArray) -> FloatArray:
    """Doubly curved, nowhere symmetric."""
    return -(x**2) / 900.0 - y**2 / 700.0 + x * y / 3000.0 + x**3 / 2e6


def on_left(points: list[tuple[float, float]]) -> FloatArray:
    x, y = np.array(points, np.float64).T
    return np.stack([x, y, height(x, y)], axis=1) + ASIDE


def line(start: tuple[float, float], end: tuple[float, float]) -> list[tuple[float, float]]:
    """Picked points from one corner to before the next."""
    share = np.linspace(0.0, 1.0, 7)[:-1]
    return [(start[0] + t * (end[0] - start[0]), start[1] + t * (end[1] - start[1])) for t in share]


def left_panel(**more: Any) -> Panel:
    """A rectangle with a round nose; its rear runs aslant."""
    turn = np.linspace(-0.5 * np.pi, 0.5 * np.pi, 17)[:-1]
    nose = [(60.0 + 60.0 * np.cos(t), 60.0 * np.sin(t)) for t in turn]
    sides = [
        ("low", EdgeKind.GAP, line((-100.0, -60.0), (60.0, -60.0))),
        ("nose", EdgeKind.OPEN, nose),
        ("top", EdgeKind.TRIM, line((60.0, 60.0), (-120.0, 60.0))),
        ("rear", EdgeKind.OPEN, line((-120.0, 60.0), (-100.0, -60.0))),
    ]
    edges = tuple(Edge(kind, on_left(points), f"{name} of left") for name, kind, points in sides)
    return Panel(LEFT.panel, edges, **more)


def right_panel(**more: Any) -> Panel:
    """Its image, begun at another corner, with names of its own."""
    edges = left_panel().outline
    after = (*edges[1:], edges[0])
    turned = [
        Edge(
            edge.kind,
            np.vstack((end.points_mm[:1], edge.points_mm[:0:-1])) * IMAGE,
            edge.name.replace("left", "right"),
        )
        for edge, end in zip(edges, after, strict=True)
    ][::-1]
    return Panel(RIGHT.panel, (*turned[1:], turned[0]), **more)


def sheet(across: int = 25, along: int = 15) -> Mesh:
    found = graph(height, width=320.0, depth=190.0, across=across, along=along)
    return Mesh(found.vertices_mm + ASIDE, found.faces)


def body(right: Mesh | None = None, *, by: FloatArray | float = 0.0) -> Mesh:
    """The sheet of the left side, and the image of *right*, some of it moved, as one mesh."""
    left, other = sheet(), right or sheet()
    points = (other.vertices_mm + by) * IMAGE
    return Mesh(
        np.vstack((left.vertices_mm, points)),
        np.vstack((left.faces, other.faces[:, ::-1] + len(left.vertices_mm))),
    )


def order(*covers: Cover, finishes: Any = PLAIN, **more: Any) -> FilmOrder:
    layout = LayoutOrder(
        stock=Stock(width_mm=610.0, edge_margin_mm=5.0, end_margin_mm=5.0),
        lot="",
        gap_mm=4.0,
        max_section_mm=3000.0,
        turns_deg=None,
        seconds=1.0,
        seed=1,
    )
    return FilmOrder(
        finger_aversion=2.0,
        finishes=finishes,
        covers=covers or (LEFT, RIGHT),
        layout=layout,
        **more,
    )


def info(left: Panel | None = None, right: Panel | None = None) -> BodyInfo:
    return BodyInfo("Wings", panels=(left or left_panel(), right or right_panel()))


def made(
    mesh: Mesh | None = None, *covers: Cover, panels: BodyInfo | None = None, **more: Any
) -> tuple[Piece, ...]:
    return make_pieces(order(*covers, **more), mesh or body(), panels or info(), generic_film())


@pytest.fixture(scope="module")
def both() -> tuple[Piece, ...]:
    return made(finishes=RULES)


@pytest.fixture(scope="module")
def flush() -> tuple[Piece, ...]:
    """The same, ending on their edges: quick to draw."""
    return made()


def turned_of(pattern: Pattern) -> Pattern:
    """The pattern mirrored by y to -y."""
    return place(pattern, mirrored=True, turn_deg=180.0)


def flats_differ_mm(one: Piece, other: Piece) -> float:
    """How far the rims of two flat shapes lie apart at most, before edges are finished."""
    rims = [
        LinearRing(piece.flat.points_mm[piece.region.loops[0].vertices]) for piece in (one, other)
    ]
    return float(rims[0].hausdorff_distance(rims[1]))


def ring(x: float, y: float, radius: float = 12.0) -> FloatArray:
    """A round keep-out on the right panel."""
    turn = np.linspace(0.0, 2.0 * np.pi, 20, endpoint=False)[::-1]
    return on_left([(x + radius * np.cos(t), y + radius * np.sin(t)) for t in turn]) * IMAGE


def test_images_meshed_alike_have_patterns_that_are_images(
    flush: tuple[Piece, ...],
) -> None:
    left, right = flush
    assert (left.is_mirrored, right.is_mirrored) == (False, True)
    assert left.pair is right.pair
    assert left.pair is not None
    assert left.pair.shared
    turned = turned_of(left.pattern)
    assert np.abs(turned.outline.points_mm - right.pattern.outline.points_mm).max() < 1e-6
    assert np.abs(turned.outline.bulges - right.pattern.outline.bulges).max() < 1e-6
    # Against the right one laid flat from its own scan.
    (_, own) = made(share_sides=False)
    assert (own.pair, own.is_mirrored) == (None, False)
    assert flats_differ_mm(own, right) < 0.02
    assert all("mirror" not in note for note in left.notes)
    assert right.notes[-1].startswith("The mirror image of the piece of “wing-left”: by the scan")
    assert "differ by 0.00 mm at most" in right.notes[-1]


def test_the_mirrored_film_lies_on_the_right_panel(flush: tuple[Piece, ...]) -> None:
    left, right = flush
    off = locate(body(), right.region.mesh.vertices_mm).distances_mm
    # What cutting along the outline may move the surface by.
    assert off.max() < 0.02
    assert right.region.mesh.vertices_mm[:, 1].max() < 0.0
    assert right.flat.inverted_triangles == 0
    strain = strain_of(right.region.mesh, right.flat.points_mm)
    assert np.allclose(strain.greatest, left.flat.strain.greatest, atol=1e-9)
    # Every loop has its material on the left, and every step belongs to the edge that it lies on.
    (rim,) = boundary_loops(right.region.mesh.faces)
    (loop,) = right.region.loops
    assert loop.vertices.tolist() in [np.roll(rim, i).tolist() for i in range(len(rim))]
    for number, edge in enumerate(loop.edges):
        steps = right.region.mesh.vertices_mm[loop.vertices[loop.edge_of == number]]
        x, y = steps[:, 0], -steps[:, 1] - 500.0
        gap = {
            "low of right": np.abs(y + 60.0),
            "nose of right": np.abs(np.hypot(x - 60.0, y) - 60.0),
            "top of right": np.abs(y - 60.0),
            "rear of right": np.abs((x + 110.0) + y / 6.0),
        }[edge.name]
        assert gap.max() < 1.0


def test_edges_are_those_of_the_right_panel(flush: tuple[Piece, ...]) -> None:
    left, right = flush
    kinds = {edge.name: edge.kind for edge in right_panel().outline}
    assert {record.name: record.kind for record in right.pattern.edges} == kinds
    lengths = {record.name: record.flat_length_mm for record in right.pattern.edges}
    for record in left.pattern.edges:
        other = record.name.replace("left", "right")
        assert lengths[other] == pytest.approx(record.flat_length_mm, rel=1e-9)


def test_wraps_and_the_places_in_notes_are_mirrored(both: tuple[Piece, ...]) -> None:
    left, right = both
    theirs = {edge.name: depths for edge, depths in right.wraps}
    assert set(theirs) == {"nose of right", "rear of right"}
    on_region = {id(edge) for edge in right.region.loops[0].edges}
    assert all(id(edge) in on_region for edge, _ in right.wraps)
    for edge, depths in left.wraps:
        other = theirs[edge.name.replace("left", "right")]
        assert np.allclose(other.points, (depths.points * (1.0, -1.0))[::-1])
        for one, two in zip(depths.notches, other.notches[::-1], strict=True):
            assert np.allclose(other.points[two.station], depths.points[one.station] * (1.0, -1.0))
    assert theirs["nose of right"].notches
    found = [re.findall(r"near x (-?\d+), y (-?\d+) mm", " ".join(p.notes)) for p in both]
    assert found[0]
    assert [(x, str(-int(y))) for x, y in found[0]] == found[1]


def test_meshed_otherwise_and_with_noise_they_share_within_the_tolerance() -> None:
    other = sheet(29, 18)
    noise = np.random.default_rng(5).normal(0.0, 0.2, (len(other.vertices_mm), 3))
    mesh = body(other, by=noise)
    left, right = made(mesh)
    assert right.is_mirrored
    assert right.pair is not None
    assert 0.2 < right.pair.surface.greatest_mm < 0.75
    turned = turned_of(left.pattern)
    assert np.abs(turned.outline.points_mm - right.pattern.outline.points_mm).max() < 1e-6
    off = locate(mesh, right.region.mesh.vertices_mm).distances_mm
    assert off.max() < 0.75
    # At a lower tolerance each has its own, which is no image.
    (_, own) = made(mesh, sides_tolerance_mm=0.2)
    assert not own.is_mirrored
    assert 1e-3 < flats_differ_mm(own, right) < 1.0


def test_a_dent_of_2_mm_gives_each_its_own_and_says_so() -> None:
    x, y, _ = (sheet().vertices_mm - ASIDE).T
    away = np.minimum(np.hypot(x - 20.0, y - 5.0) / 35.0, 1.0)
    mesh = body(by=np.outer(-2.0 * np.cos(0.5 * np.pi * away) ** 2, (0.0, 0.0, 1.0)))
    pieces = made(mesh)
    for piece in pieces:
        assert not piece.is_mirrored
        assert piece.pair is not None
        assert not piece.pair.shared
        assert piece.notes[-1] == piece.pair.sentence
    (own,) = made(mesh, RIGHT)
    right = pieces[1]
    assert (own.pair, own.notes) == (None, right.notes[:-1])
    assert right.pattern.outline.points_mm.tobytes() == own.pattern.outline.points_mm.tobytes()
    sentence = without_places(pieces[1].notes[-1])
    assert re.fullmatch(
        r"“wing-left” and “wing-right” need a pattern each: their surfaces differ by [12]\.\d\d mm "
        r"on “wing-right”, by more than 0\.75 mm on \d+ cm²\.",
        sentence,
    )


def test_what_is_chosen_for_one_side_holds_there_alone(flush: tuple[Piece, ...]) -> None:
    sensor = KeepOut(KeepOutKind.SENSOR, ring(10.0, -20.0), "sensor")
    panels = info(right=right_panel(keep_outs=(sensor,)))
    chosen = replace(RIGHT, finishes={"top of right": EdgeFinish(Finish.SHORT, 6.0)})
    left, right = made(None, LEFT, chosen, panels=panels)
    assert right.is_mirrored
    assert left.pattern.outline.points_mm.tobytes() == flush[0].pattern.outline.points_mm.tobytes()
    assert (left.keep_outs, left.pattern.cut_outs) == ((), ())
    assert right.keep_outs == (sensor,)
    (hole,) = to_polygon(right.pattern).interiors
    rim = to_flat(right.flat, sensor.points_mm)
    assert Point(rim.mean(axis=0)).distance(hole.centroid) < 0.05
    assert hole.length == pytest.approx(2.0 * np.pi * 13.5, rel=0.01)
    finishes = {record.name: record.finish.distance_mm for record in right.pattern.edges}
    assert finishes["top of right"] == 6.0
    assert finishes["low of right"] == 0.0
    # 6 mm less along 180 mm of that edge, and the round hole.
    less = to_polygon(left.pattern).area - to_polygon(right.pattern).area
    assert less == pytest.approx(6.0 * 180.0 + np.pi * 13.5**2, rel=0.03)


def test_a_piece_taken_from_the_left_one_is_what_would_be_made(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def plain(panel: Panel) -> Panel:
        named = [replace(edge, name=edge.name.split()[0]) for edge in panel.outline]
        return replace(panel, outline=tuple(named))

    panels = info(plain(left_panel()), plain(right_panel()))
    flat_nose = {"nose": EdgeFinish(Finish.FLUSH)}
    covers = replace(LEFT, finishes=flat_nose), replace(RIGHT, finishes=flat_nose)
    # Counted by what is made: the left piece alone, or both.
    calls = []
    make = sides.make_parts
    monkeypatch.setattr(sides, "make_parts", lambda *a, **k: calls.append(a) or make(*a, **k))
    _, taken = made(None, *covers, panels=panels, finishes=RULES)
    assert len(calls) == 1
    monkeypatch.setattr(sides, "like_left", lambda *_: None)
    _, right = made(None, *covers, panels=panels, finishes=RULES)
    assert len(calls) == 3
    assert digest(taken.pattern, taken.region, taken.flat.points_mm, taken.notes) == digest(
        right.pattern, right.region, right.flat.points_mm, right.notes
    )


def test_the_order_of_covers_does_not_matter(flush: tuple[Piece, ...]) -> None:
    turned = made(None, RIGHT, LEFT)
    assert [piece.name for piece in turned] == ["wing-right", "wing-left"]
    for piece, other in zip(flush, turned[::-1], strict=True):
        assert piece.is_mirrored is other.is_mirrored
        assert (
            piece.pattern.outline.points_mm.tobytes() == other.pattern.outline.points_mm.tobytes()
        )


def test_a_seam_and_a_relief_on_the_right_are_cut_there_as_by_itself() -> None:
    seam = on_left([(-20.0, 60.0), (-20.0, -60.0)]) * IMAGE
    relief = on_left([(118.0, 2.0), (85.0, 2.0)]) * IMAGE
    sensor = KeepOut(KeepOutKind.SENSOR, ring(30.0, -20.0), "sensor")
    panels = info(right=right_panel(keep_outs=(sensor,)))
    cover = replace(RIGHT, seams=(seam,), reliefs=(relief,))
    # Noise along the surface's normal lifts the right side off the mirrored left one.
    mesh = body(by=np.array([0.0, 0.0, 0.3]) * (np.arange(len(sheet().vertices_mm)) % 2)[:, None])
    _, *parts = made(mesh, LEFT, cover, panels=panels)
    own = made(mesh, cover, panels=panels)
    assert [piece.name for piece in parts] == ["wing-right 1", "wing-right 2"]
    for part, by_itself in zip(parts, own, strict=True):
        assert part.is_mirrored
        assert part.flat.inverted_triangles == 0
        assert part.keep_outs == by_itself.keep_outs
        assert part.region.mesh.area_mm2 == pytest.approx(by_itself.region.mesh.area_mm2, rel=5e-3)
        middle = part.region.mesh.vertices_mm.mean(axis=0)
        assert np.linalg.norm(middle - by_itself.region.mesh.vertices_mm.mean(axis=0)) < 6.0
        assert {edge.name for edge in part.region.loops[0].edges} == {
            edge.name for edge in by_itself.region.loops[0].edges
        }
    assert sum(len(part.keep_outs) for part in parts) == 1


def test_cuts_of_the_left_one_do_not_come_over(flush: tuple[Piece, ...]) -> None:
    path = on_left([(118.0, 2.0), (85.0, 2.0)])
    cut, whole = made(None, replace(LEFT, reliefs=(path,)), RIGHT)
    assert whole.pattern.outline.points_mm.tobytes() == flush[1].pattern.outline.points_mm.tobytes()
    assert cut.flat.mesh.vertices_mm.shape != whole.flat.mesh.vertices_mm.shape


def test_edges_of_another_kind_keep_them_apart() -> None:
    first, *rest = right_panel().outline
    panels = info(
        right=replace(right_panel(), outline=(replace(first, kind=EdgeKind.INNER), *rest))
    )
    for piece in made(panels=panels):
        assert not piece.is_mirrored
        assert piece.notes[-1].endswith("its image, of the kind inner.")


def test_a_corner_that_was_set_elsewhere_keeps_them_apart() -> None:
    first, second, *rest = right_panel().outline
    points = np.vstack((second.points_mm[:1], first.points_mm[-1:]))
    # The outline is the same; one edge begins 15 mm or more earlier.
    moved = (
        replace(first, points_mm=first.points_mm[:-1]),
        replace(second, points_mm=np.vstack((points[1:], second.points_mm))),
    )
    panels = info(right=replace(right_panel(), outline=(*moved, *rest)))
    (_, right) = made(panels=panels)
    assert not right.is_mirrored
    assert re.search(
        r"pattern each: a corner lies \d+\.\d\d mm off on “wing-right”, and 0\.75 mm are allowed\.",
        without_places(right.notes[-1]),
    )


def test_the_fit_of_a_front_has_the_same_pieces_and_remakes_as_little(
    flush: tuple[Piece, ...], tmp_path: Any
) -> None:
    def fit(*covers: Cover) -> Any:
        return fit_front(
            order(*covers),
            body(),
            info(),
            film=generic_film(),
            kept=tmp_path,
            workers=1,
        )

    front = fit()
    assert front.failed == ()
    assert front.made["flat"] == 1
    assert front.made["pair"] == 1
    for panel, piece in zip(front.panels, flush, strict=True):
        own = panel.piece
        assert own.pattern.outline.points_mm.tobytes() == piece.pattern.outline.points_mm.tobytes()
        assert own.flat.points_mm.tobytes() == piece.flat.points_mm.tobytes()
        assert (own.notes, own.is_mirrored) == (piece.notes, piece.is_mirrored)
    deeper = {"rear of left": EdgeFinish(Finish.WRAP, 5.0)}
    assert fit(replace(LEFT, finishes=deeper), RIGHT).made == {"piece": 1, "blank": 1, "plan": 1}
    # A left panel that cannot be laid costs the right one nothing.
    inside = on_left([(0.0, 0.0), (20.0, 0.0)])
    found = fit(replace(LEFT, reliefs=(inside,)), RIGHT)
    assert [name for name, _ in found.failed] == ["wing-left"]
    assert [panel.piece.is_mirrored for panel in found.panels] == [True]


def test_names_that_differ_by_their_side_alone_are_a_pair() -> None:
    assert side_pairs(["hood", "door-right", "lamp-left", "door-left", "left", "right"]) == (
        (3, 1),
        (4, 5),
    )
    assert side_pairs(["door-left", "hood"]) == ()
