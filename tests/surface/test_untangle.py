"""Outlines freed of spurs, doubled points and small loops: closed forms on a block and a drum."""

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from layflat.base import FloatArray, MeshError
from layflat.surface import (
    EdgeKind,
    FeaturePath,
    Features,
    Node,
    Outline,
    Panel,
    Untangled,
    cut_region,
    feature_path,
    features,
    outline_edges,
    prepare,
    snapped,
    untangled,
)
from layflat.surface.outline_ring import Mark, Ring, merged
from layflat.surface.segments import between_segments, to_line
from zoo import block

TOP = [(-100.0, -50.0), (100.0, -50.0), (100.0, 50.0), (-100.0, 50.0)]


BLOCK = features(prepare(block(3)))


def drawn(flat: list[tuple[float, float]], **corners: str) -> Outline:
    """A closed outline on the top of the block; `p3="rear"` begins an edge at its fourth point."""
    nodes = tuple(
        Node(
            (x, y, 25.0),
            corner=i == 0 or f"p{i}" in corners,
            kind=EdgeKind.GAP,
            name=corners.get(f"p{i}", ""),
        )
        for i, (x, y) in enumerate(flat)
    )
    return Outline(nodes, closed=True)


def lines(found: Features) -> Callable[[Node, Node], FeaturePath]:
    return lambda a, b: feature_path(
        found, np.array(a.at_mm), np.array(b.at_mm), straight=a.straight
    )


def area_mm2(freed: Untangled) -> float:
    edges = outline_edges(freed.outline, freed.paths, outward=np.array([0.0, 0.0, 1.0]))
    return cut_region(BLOCK.body, Panel("top", edges)).mesh.area_mm2


def test_a_clean_outline_stays_as_it_is() -> None:
    outline = drawn(TOP, p2="rear")
    freed = untangled(outline, lines(BLOCK))
    assert (freed.outline, freed.notes, freed.straight) == (outline, (), ())
    assert [path.length_mm for path in freed.paths] == pytest.approx([200, 100, 200, 100])


@pytest.mark.parametrize(("ahead", "back"), [(30.0, 10.0), (20.0, 19.0), (60.0, 5.0)])
def test_taps_on_a_crease_in_the_wrong_order_leave_the_crease(ahead: float, back: float) -> None:
    # To x = ahead, back to x = back, and on: a spur of that difference, cut back to x = back.
    flat = [TOP[0], (ahead, -50.0), (back, -50.0), *TOP[1:]]
    freed = untangled(drawn(flat), lines(BLOCK))
    (note,) = freed.notes
    assert f"ran {ahead - back:.0f} mm out and back along itself" in note
    assert note.startswith("Behind point 1 ")
    assert sum(path.length_mm for path in freed.paths) == pytest.approx(600.0, abs=1e-6)
    assert area_mm2(freed) == pytest.approx(20_000.0, abs=1e-3)


@pytest.mark.parametrize("turned", [0, 20])
def test_shaken_dense_taps_round_the_top_give_the_top(turned: int) -> None:
    # Every 10 mm, each put aside along its crease by up to 9 mm: many are out of order.
    ring = [(float(x), -50.0) for x in range(-100, 100, 10)] + [
        (100.0, float(y)) for y in range(-50, 50, 10)
    ]
    ring += [(-x, -y) for x, y in ring]
    aside = np.random.default_rng(turned).uniform(-9.0, 9.0, len(ring))
    shaken = []
    for (x, y), by in zip(ring, aside.tolist(), strict=True):
        if (abs(x), abs(y)) != (100.0, 50.0):
            x, y = (x + by, y) if abs(y) == 50.0 else (x, y + by)
        shaken.append((x, y))
    freed = untangled(drawn(shaken[turned:] + shaken[:turned]), lines(BLOCK))
    assert len(freed.notes) > 2
    assert sum(path.length_mm for path in freed.paths) == pytest.approx(600.0, abs=1e-6)
    assert area_mm2(freed) == pytest.approx(20_000.0, abs=1e-3)


def test_points_at_one_place_are_one_and_say_so() -> None:
    flat = [TOP[0], TOP[1], TOP[1], *TOP[2:], TOP[0]]
    freed = untangled(drawn(flat, p2="rear", p5="front"), lines(BLOCK))
    assert freed.notes == (
        "Point 3 lies at the place of point 2 and is left out.",
        "Point 6 lies at the place of point 1 and is left out.",
    )
    assert [node.name for node in freed.outline.nodes] == ["", "rear", "", ""]


def test_an_edge_that_begins_at_a_point_left_out_begins_at_the_one_that_stays() -> None:
    freed = untangled(drawn([TOP[0], TOP[1], TOP[1], *TOP[2:]], p1="rear"), lines(BLOCK))
    assert [node.name for node in freed.outline.nodes if node.corner] == ["", "rear"]
    assert freed.outline.nodes[1].at_mm == pytest.approx((100.0, -50.0, 25.0))


def test_steps_left_out_leave_their_point_and_what_begins_there() -> None:
    places = np.array([[0.0, 0, 0], [10, 0, 0], [10, 0, 0], [10, 10, 0]])
    mark = Mark(Node((10.0, 0.0, 0.0), corner=True, name="rear"), 2)
    yes, no = np.ones(4, np.bool_), np.array([True, True, False, True])
    ring = merged(Ring(places, [None, mark, None, None], yes, no))
    assert ring.points.tolist() == [[0, 0, 0], [10, 0, 0], [10, 10, 0]]
    assert ring.mark == [None, mark, None]
    assert ring.kept.tolist() == [True, True, True]


def test_tiny_steps_beside_a_corner_of_triangles_are_no_way_back() -> None:
    # 0.008 mm beside the corners at y = 0 the line crosses two sides within 0.016 mm.
    outline = drawn([(-60.0, 0.008), (60.0, 0.008), (60.0, 40.0), (-60.0, 40.0)])
    path = lines(BLOCK)
    traced = [path(outline.nodes[i], outline.nodes[j]) for i, j in outline.spans()]
    assert min(np.linalg.norm(np.diff(traced[0].points_mm, axis=0), axis=1)) < 0.02
    freed = untangled(outline, path)
    for kept, before in zip(freed.paths, traced, strict=True):
        assert kept.points_mm.tolist() == before.points_mm.tolist()


def test_an_edge_that_begins_on_a_spur_begins_where_it_is_cut_off() -> None:
    flat = [TOP[0], (30.0, -50.0), (10.0, -50.0), *TOP[1:]]
    freed = untangled(drawn(flat, p1="left out", p2="sill"), lines(BLOCK))
    assert "The edge “left out” lay on it." in freed.notes[0]
    named = {node.name: node.at_mm for node in freed.outline.nodes if node.corner}
    assert set(named) == {"", "sill"}
    assert named["sill"] == pytest.approx((10.0, -50.0, 25.0), abs=1e-6)


def test_a_small_loop_is_left_out() -> None:
    # Leftwards past x = 3 to x = -3, up, back, and down across itself: 6 + 4 + 6 + 4 mm.
    flat = [(-60.0, -30.0), (60.0, -30.0), (60.0, 10.0), (-3.0, 10.0), (-3.0, 14.0), (3.0, 14.0)]
    freed = untangled(drawn([*flat, (3.0, 6.0), (-60.0, 6.0)]), lines(BLOCK))
    assert freed.notes == (
        "Behind point 3 the line ran in a loop of 20 mm; that is left out, with points 4, 5 and 6.",
    )
    assert area_mm2(freed) == pytest.approx(120.0 * 36.0 + 57.0 * 4.0, rel=1e-5)


def test_a_loop_that_is_much_of_a_small_outline_is_refused() -> None:
    # The same loop on an outline of 80 mm: who knows which part was meant?
    flat = [(-20.0, 0.0), (10.0, 0.0), (10.0, 8.0), (-3.0, 8.0), (-3.0, 12.0), (3.0, 12.0)]
    with pytest.raises(MeshError, match="crosses or touches itself"):
        untangled(drawn([*flat, (3.0, 4.0), (-20.0, 4.0)]), lines(BLOCK))


def test_a_line_that_runs_into_another_is_drawn_straight() -> None:
    # Both long sides follow the front edge of the top; the one farther round is drawn straight.
    flat = [(-100.0, -42.0), (-100.0, -50.0), (100.0, -50.0), (100.0, -42.0)]
    freed = untangled(drawn(flat), lines(BLOCK))
    assert freed.straight == (3,)
    (note,) = freed.notes
    assert note == (
        "Behind point 4 the line follows no feature and goes straight: it ran into the line "
        "behind point 2."
    )
    assert area_mm2(freed) == pytest.approx(200.0 * 8.0, rel=1e-6)


def test_a_crossing_in_earnest_is_refused_with_its_points() -> None:
    flat = [(-60.0, -30.0), (60.0, 30.0), (60.0, -30.0), (-60.0, 30.0)]
    with pytest.raises(MeshError, match="behind point 1 and behind point 3"):
        untangled(drawn(flat), lines(BLOCK))
    with pytest.raises(MeshError, match="three places"):
        untangled(drawn([TOP[0], TOP[1], TOP[0]]), lines(BLOCK))
    with pytest.raises(MeshError, match="Close the outline"):
        untangled(Outline(drawn(TOP).nodes), lines(BLOCK))


def test_what_only_runs_out_and_back_is_refused() -> None:
    with pytest.raises(MeshError, match="runs out and back along itself"):
        untangled(drawn([(0.0, -50.0), (10.0, -50.0), (20.0, -50.0)]), lines(BLOCK))


def test_taps_beside_a_crease_are_drawn_to_it_and_give_the_panel() -> None:
    flat = [(-96.0, -47.0), (12.0, -45.0), (3.0, -46.0), (98.0, -46.0), (97.0, 47.0), (-95.0, 47.0)]
    outline = drawn(flat)
    nodes = []
    for node in outline.nodes:
        x, y, z = snapped(BLOCK, np.array(node.at_mm)).tolist()
        nodes.append(Node((x, y, z), corner=node.corner))
    freed = untangled(Outline(tuple(nodes), closed=True), lines(BLOCK))
    assert area_mm2(freed) == pytest.approx(20_000.0, abs=1e-3)


PLACES = arrays(np.float64, (4, 3), elements=st.floats(-10, 10).map(lambda v: round(v, 3)))


@given(ends=PLACES)
def test_how_near_two_segments_come(ends: FloatArray) -> None:
    # Second opinion: the least of many places on both.
    share = np.linspace(0, 1, 41)
    one, other = (start + share[:, None] * (end - start) for start, end in (ends[:2], ends[2:]))
    sampled = np.linalg.norm(one[:, None] - other, axis=2).min()
    s, t, gap = between_segments(*(end[None] for end in ends))
    assert gap[0] <= sampled + 1e-9
    # A sample lies within half a step on each.
    step = (np.linalg.norm(ends[1] - ends[0]) + np.linalg.norm(ends[3] - ends[2])) / 80
    assert gap[0] >= sampled - step - 1e-9
    assert 0 <= s[0] <= 1
    assert 0 <= t[0] <= 1


def test_how_far_places_lie_from_a_line() -> None:
    line = np.array([[0.0, 0, 0], [10, 0, 0], [10, 10, 0]])
    points = np.array([[5.0, 3, 0], [-3, 4, 0], [14, 13, 0], [10, 5, 2]])
    assert to_line(points, line) == pytest.approx([3, 5, 5, 2])
