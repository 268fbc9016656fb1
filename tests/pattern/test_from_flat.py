"""Edges, keep-outs and marks on panels drawn in the plane, where every number is known."""

import math

import numpy as np
import pytest
from shapely import LineString, Point, Polygon

from flat_shapes import circle_edge, panel, polygon_edges
from layflat.base import InputError
from layflat.pattern import (
    EdgeFinish,
    Finish,
    KeepOutShape,
    Made,
    MarkKind,
    from_flat,
    pattern_area_mm2,
    to_polygon,
)
from layflat.surface import Edge

SIDE = 200.0
SQUARE = [(0.0, 0.0), (SIDE, 0.0), (SIDE, SIDE), (0.0, SIDE)]
FLUSH = EdgeFinish(Finish.FLUSH)


def square(finish: EdgeFinish, *keep_outs: KeepOutShape) -> Made:
    flat, region = panel(polygon_edges(SQUARE))
    return from_flat(flat, region, name="square", finishes=lambda _: finish, keep_outs=keep_outs)


def test_a_flush_square_is_itself() -> None:
    made = square(FLUSH)
    assert pattern_area_mm2(made.pattern) == pytest.approx(SIDE**2, abs=0.05 * 4 * SIDE)
    assert len(made.pattern.outline.points_mm) == 4
    assert made.notes == ()
    for record in made.pattern.edges:
        assert record.flat_length_mm == pytest.approx(SIDE, abs=1e-6)
        assert record.surface_length_mm == pytest.approx(SIDE, abs=1e-6)


@pytest.mark.parametrize("short_mm", [1.5, 12.0])
def test_stopping_short_all_round_is_a_smaller_square(short_mm: float) -> None:
    made = square(EdgeFinish(Finish.SHORT, short_mm))
    inset = Polygon(SQUARE).buffer(-short_mm, join_style="mitre")
    away = to_polygon(made.pattern).symmetric_difference(inset)
    assert away.area < 0.05 * inset.length


def test_wraps_end_in_mitres_that_do_not_lie_double() -> None:
    depth = 10.0
    piece = to_polygon(square(EdgeFinish(Finish.WRAP, depth)).pattern)
    # Four trapezia: full length at the fold, shorter by the depth at both ends outside, less at
    # most one relief of 1 mm along each end.
    most = SIDE**2 + 4 * depth * (SIDE - depth)
    assert most - 8 * 1.0 * depth < piece.area < most + 0.05 * piece.length
    # Folded under along its edge, no flap reaches beyond the diagonal of its corner.
    for turn in range(4):
        flap = piece.intersection(Polygon([(0, 0), (SIDE, 0), (SIDE, -2 * depth), (0, -2 * depth)]))
        folded = Polygon([(x, -y) for x, y in flap.exterior.coords])
        wedge = Polygon([(0, 0), (SIDE, 0), (SIDE / 2, SIDE / 2)])
        assert folded.difference(wedge.buffer(0.06)).area < 0.1, turn
        piece = Polygon([(y, SIDE - x) for x, y in piece.exterior.coords])


def test_a_hollow_corner_between_wraps_is_relieved() -> None:
    corners = [(0, 0), (300, 0), (300, 120), (120, 120), (120, 300), (0, 300)]
    flat, region = panel(polygon_edges([(float(x), float(y)) for x, y in corners]))
    made = from_flat(flat, region, name="L", finishes=lambda _: EdgeFinish(Finish.WRAP, 8.0))
    piece = to_polygon(made.pattern)
    # Film can turn: nothing is left at the corner itself, and a slit leads to it.
    assert not piece.contains(Point(120.3, 120.3))
    assert not piece.contains(Point(124, 124))
    assert piece.contains(Point(150, 124))
    assert piece.contains(Point(118, 118))


def test_a_wrap_beside_a_short_edge_keeps_behind_it() -> None:
    def finish(edge: Edge) -> EdgeFinish:
        return EdgeFinish(Finish.WRAP, 10.0) if edge.name == "side 1" else EdgeFinish(
            Finish.SHORT, 3.0
        )  # fmt: skip

    flat, region = panel(polygon_edges(SQUARE))
    piece = to_polygon(from_flat(flat, region, name="s", finishes=finish).pattern)
    x0, y0, x1, y1 = piece.bounds
    assert (x0, y0, x1, y1) == pytest.approx((3, -10, SIDE - 3, SIDE - 3), abs=0.06)


def test_keep_outs_have_their_clearance_and_no_sharp_corner() -> None:
    rim = np.array([(80.0, 80.0), (120.0, 80.0), (120.0, 110.0), (80.0, 110.0)])
    made = square(FLUSH, KeepOutShape("emblem", rim, 2.0))
    (hole,) = to_polygon(made.pattern).interiors
    assert hole.distance(LineString(rim)) >= 2.0 - 0.06
    # Opening a hole by a disc leaves it as it is only if no corner of it is sharper.
    opened = Polygon(hole).buffer(-0.95).buffer(0.95)
    assert Polygon(hole).difference(opened).area < 0.05


def test_too_small_a_clearance_is_widened_and_said() -> None:
    rim = np.array([(80.0, 80.0), (120.0, 80.0), (120.0, 110.0), (80.0, 110.0)])
    made = square(FLUSH, KeepOutShape("jet", rim, 0.4))
    assert any("“jet” was widened" in note for note in made.notes)


def test_a_keep_out_at_the_edge_is_cut_into_it() -> None:
    rim = np.array([(-10.0, 90.0), (15.0, 90.0), (15.0, 110.0), (-10.0, 110.0)])
    made = square(FLUSH, KeepOutShape("lock", rim, 1.5))
    assert made.pattern.cut_outs == ()
    assert any("cut into it" in note for note in made.notes)
    taken = SIDE**2 - pattern_area_mm2(made.pattern)
    assert taken == pytest.approx(16.5 * 23 - (2 - math.pi / 2) * 1.5**2, rel=0.05)


def test_a_keep_out_that_leaves_nothing_or_parts_the_piece_is_refused() -> None:
    everything = np.array([(-5.0, -5.0), (205.0, -5.0), (205.0, 205.0), (-5.0, 205.0)])
    with pytest.raises(InputError, match="Nothing is left"):
        square(FLUSH, KeepOutShape("all", everything, 1.5))
    band = np.array([(-5.0, 90.0), (205.0, 90.0), (205.0, 110.0), (-5.0, 110.0)])
    with pytest.raises(InputError, match="falls into 2 parts"):
        square(FLUSH, KeepOutShape("band", band, 1.5))


def test_an_opening_stopped_short_grows() -> None:
    ring = circle_edge("grille", (100.0, 100.0), 30.0, step=4.0, clockwise=True)
    flat, region = panel(polygon_edges(SQUARE), [ring])
    made = from_flat(flat, region, name="s", finishes=lambda _: EdgeFinish(Finish.SHORT, 2.0))
    (hole,) = to_polygon(made.pattern).interiors
    assert Polygon(hole).area == pytest.approx(math.pi * 32.0**2, rel=0.01)


def test_a_wrap_into_an_opening_is_as_deep_as_film_stretches() -> None:
    """A stretch flange: w / (r - w) at the limit (sheet-metal handbooks; from memory)."""
    ring = circle_edge("grille", (100.0, 100.0), 30.0, step=4.0, clockwise=True)
    flat, region = panel(polygon_edges(SQUARE), [ring])
    made = from_flat(flat, region, name="s", finishes=lambda _: EdgeFinish(Finish.WRAP, 10.0))
    limit = flat.film.stretch_limit
    (hole,) = to_polygon(made.pattern).interiors
    radius = math.sqrt(Polygon(hole).area / math.pi)
    depth = 30.0 - radius
    assert 0.8 * limit < depth / (30.0 - depth) <= 1.1 * limit
    assert any("trimmed" in note for note in made.notes)


def test_marks_lie_beside_the_film() -> None:
    made = square(EdgeFinish(Finish.SHORT, 1.5))
    piece = to_polygon(made.pattern)
    kinds = [mark.kind for mark in made.pattern.marks]
    assert kinds.count(MarkKind.ALIGN) == 4
    assert kinds.count(MarkKind.NUMBER) == 1
    for mark in made.pattern.marks:
        assert not any(piece.contains(Point(point)) for point in mark.points_mm)
