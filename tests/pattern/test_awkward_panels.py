"""Panels that are hard to finish: each gives one sound piece, or one sentence that helps.

`manifold3d` (Clipper2's polygon algebra) judges the pieces beside shapely.
"""

import math
from collections.abc import Callable, Sequence

import numpy as np
import pytest
from manifold3d import CrossSection, FillRule
from shapely import Point, Polygon

from flat_shapes import Line, circle_edge, panel, polygon_edges
from layflat.base import FloatArray, InputError
from layflat.pattern import (
    EdgeFinish,
    Finish,
    KeepOutShape,
    Made,
    from_flat,
    pattern_area_mm2,
    to_polygon,
)
from layflat.surface import Edge

FLUSH = EdgeFinish(Finish.FLUSH)
WRAP = EdgeFinish(Finish.WRAP, 10.0)
SHORT = EdgeFinish(Finish.SHORT, 1.5)


def made(
    outline: Sequence[Line],
    openings: Sequence[Sequence[Line]] = (),
    *,
    finish: Callable[[Edge], EdgeFinish],
    keep_outs: Sequence[KeepOutShape] = (),
) -> Made:
    flat, region = panel(outline, openings)
    return from_flat(flat, region, name="piece", finishes=finish, keep_outs=keep_outs)


def sound(result: Made) -> Polygon:
    """The piece, if shapely and manifold3d both find it sound."""
    piece = to_polygon(result.pattern, deviation_mm=0.002)
    assert piece.is_valid
    rings = [np.array(ring.coords)[:-1] for ring in (piece.exterior, *piece.interiors)]
    section = CrossSection([ring.astype(np.float64) for ring in rings], FillRule.EvenOdd)
    assert len(section.decompose()) == 1
    assert section.num_contour() == len(rings)
    assert section.area() == pytest.approx(pattern_area_mm2(result.pattern), rel=1e-4)
    return piece


def corner_of(angle_deg: float) -> list[Line]:
    tip = math.radians(angle_deg)
    return polygon_edges([(0.0, 0.0), (250.0, 0.0), (250.0 * math.cos(tip), 250.0 * math.sin(tip))])


@pytest.mark.parametrize("finish", [FLUSH, SHORT, WRAP], ids=["flush", "short", "wrap"])
def test_a_corner_of_20_degrees(finish: EdgeFinish) -> None:
    piece = sound(made(corner_of(20.0), finish=lambda _: finish))
    triangle = Polygon([(0, 0), (250, 0), (250 * math.cos(0.349066), 250 * math.sin(0.349066))])
    if finish is SHORT:
        assert piece.area == pytest.approx(triangle.buffer(-1.5, join_style="mitre").area, abs=20)
    elif finish is WRAP:
        assert piece.area > triangle.area
        assert piece.within(triangle.buffer(10.06, join_style="mitre", mitre_limit=10))


def test_a_wrap_ends_where_a_gap_edge_begins_that_runs_straight_on() -> None:
    """Two edges in one line: the flap on one must not reach over the strip along the other."""
    corners = [(0.0, 0.0), (150.0, 0.0), (300.0, 0.0), (300.0, 200.0), (0.0, 200.0)]

    def finish(edge: Edge) -> EdgeFinish:
        return WRAP if edge.name == "side 1" else SHORT

    piece = sound(made(polygon_edges(corners), finish=finish))
    _, low, _, _ = piece.bounds
    assert low == pytest.approx(-10.0, abs=0.06)
    beyond = piece.intersection(Polygon([(150, -20), (300, -20), (300, 1.4), (150, 1.4)]))
    assert beyond.area < 0.05


def test_wraps_that_would_meet_in_a_narrow_slot() -> None:
    corners = [(0, 0), (300, 0), (300, 200), (153, 200), (153, 60), (147, 60), (147, 200), (0, 200)]
    edges = polygon_edges([(float(x), float(y)) for x, y in corners])
    result = made(edges, finish=lambda _: WRAP)
    piece = sound(result)
    slot = Polygon([(147, 120), (153, 120), (153, 150), (147, 150)])
    assert slot.difference(piece).area == pytest.approx(1.0 * 30, rel=0.15)
    assert any("across a slot" in note for note in result.notes)


def test_a_wrap_deeper_than_the_panel_is_wide() -> None:
    deep = EdgeFinish(Finish.WRAP, 40.0)
    strip = polygon_edges([(0.0, 0.0), (300.0, 0.0), (300.0, 12.0), (0.0, 12.0)])
    piece = sound(made(strip, finish=lambda _: deep))
    # Four mitred trapezia round a strip; those at its short ends run to a point.
    assert piece.area > 300 * 12 + 2 * 40 * (300 - 80)
    assert piece.within(Polygon([(-40.1, -40.1), (340.1, -40.1), (340.1, 52.1), (-40.1, 52.1)]))


def test_two_openings_whose_wraps_would_meet() -> None:
    square = polygon_edges([(0.0, 0.0), (300.0, 0.0), (300.0, 200.0), (0.0, 200.0)])
    holes = [
        [*reversed_square(60.0, 60.0, 80.0)],
        [*reversed_square(141.0, 60.0, 80.0)],
    ]
    result = made(square, holes, finish=lambda edge: FLUSH if "side" in edge.name else WRAP)
    piece = sound(result)
    assert len(piece.interiors) == 2
    for ring in piece.interiors:
        assert Polygon(ring).area < 80.0 * 80.0


def reversed_square(x: float, y: float, side: float) -> list[Line]:
    corners = [(x, y), (x, y + side), (x + side, y + side), (x + side, y)]
    return polygon_edges(corners, names=["a", "b", "c", "d"])


def box(x: float, y: float, width: float, height: float) -> FloatArray:
    return np.array([(x, y), (x + width, y), (x + width, y + height), (x, y + height)])


SQUARE = polygon_edges([(0.0, 0.0), (200.0, 0.0), (200.0, 200.0), (0.0, 200.0)])


@pytest.mark.parametrize("x", [-12.0, -5.0, 0.0, 1.49, 1.51, 2.0, 190.0, 198.49])
def test_a_keep_out_at_the_outline(x: float) -> None:
    """From across the edge to just inside it, where a thread of film would be left."""
    keep = KeepOutShape("lock", box(x, 90.0, 10.0, 20.0), 1.5)
    result = made(SQUARE, finish=lambda _: FLUSH, keep_outs=[keep])
    piece = sound(result)
    assert piece.distance(Polygon(keep.points_mm)) > 1.5 - 0.06
    assert not piece.interiors
    left = [x - 1.5, 200.0 - (x + 11.5)]
    thread = any(0.0 < width < 1.0 for width in left)
    assert any("thread" in note for note in result.notes) == thread


def test_a_keep_out_over_the_whole_piece_is_refused_with_its_name() -> None:
    keep = KeepOutShape("panel", box(-9.0, -9.0, 218.0, 218.0), 1.5)
    with pytest.raises(InputError, match="Nothing is left of “piece”"):
        made(SQUARE, finish=lambda _: FLUSH, keep_outs=[keep])


def test_a_keep_out_between_two_openings_joins_them_to_one_hole() -> None:
    holes = [reversed_square(30.0, 80.0, 40.0), reversed_square(130.0, 80.0, 40.0)]
    keep = KeepOutShape("bar", box(60.0, 95.0, 80.0, 10.0), 2.0)
    piece = sound(made(SQUARE, holes, finish=lambda _: FLUSH, keep_outs=[keep]))
    assert len(piece.interiors) == 1


@pytest.mark.parametrize("clearance", [1.0, 2.0, 5.0])
def test_a_clearance_is_that_of_clipper(clearance: float) -> None:
    """A rim's offset with round corners, by Clipper2 through manifold3d; a hollow rim is closed."""
    rim = np.array([(60, 60), (140, 60), (140, 140), (100, 100), (60, 140)], float)
    keep = KeepOutShape("emblem", rim, clearance)
    result = made(SQUARE, finish=lambda _: FLUSH, keep_outs=[keep])
    from manifold3d import JoinType

    section = CrossSection([rim], FillRule.NonZero)
    for step in (clearance, 1.0, -1.0):
        section = section.offset(step, JoinType.Round, 2.0, 512)
    holed = 200.0**2 - section.area()
    around = Polygon(rim).length + 2 * math.pi * clearance
    assert pattern_area_mm2(result.pattern) == pytest.approx(holed, abs=0.05 * around)
    assert sound(result).area == pytest.approx(holed, abs=0.05 * around)


@pytest.mark.parametrize("distance", [1.0, 3.0, 8.0])
def test_stopping_short_is_the_offset_of_clipper(distance: float) -> None:
    from manifold3d import JoinType

    corners = [(0, 0), (300, 0), (260, 140), (150, 90), (40, 180)]
    edges = polygon_edges([(float(x), float(y)) for x, y in corners])
    piece = sound(made(edges, finish=lambda _: EdgeFinish(Finish.SHORT, distance)))
    outer = CrossSection([np.array(corners, float)], FillRule.NonZero)
    # Mitred at the outer corners; round at the hollow one, as an offset inwards is by itself.
    inner = outer.offset(-distance, JoinType.Round, 2.0, 512)
    assert piece.area == pytest.approx(inner.area(), abs=0.05 * piece.length)


def test_film_between_two_openings_that_a_strip_takes_away_is_noticed() -> None:
    holes = [reversed_square(50.0, 50.0, 50.0), reversed_square(101.0, 50.0, 50.0)]
    result = made(SQUARE, holes, finish=lambda _: EdgeFinish(Finish.SHORT, 1.0))
    assert len(sound(result).interiors) == 1


def flower(count: int) -> list[Line]:
    angle = 2 * np.pi * np.arange(count) / count
    radius = 300.0 + 40.0 * np.cos(5 * angle)
    points = np.column_stack((radius * np.cos(angle), radius * np.sin(angle)))
    return [("rim", [(float(x), float(y)) for x, y in points])]


def test_work_grows_with_the_points_not_with_their_square(monkeypatch: pytest.MonkeyPatch) -> None:
    """600 points against 150: counted in distances that the fit asks for, per point of the rim."""
    import layflat.pattern.spans as spans

    counts: list[int] = []
    real = spans._away

    def counting(points: FloatArray, *others: object) -> FloatArray:
        found = real(points, *others)
        counts.append(found.size)
        return found

    monkeypatch.setattr(spans, "_away", counting)
    work = []
    for count in (150, 600):
        counts.clear()
        sound(made(flower(count), finish=lambda _: SHORT))
        work.append(sum(counts))
    assert work[1] / work[0] < 4.0**1.3


def test_the_same_panel_moved_and_turned_gives_the_same_piece() -> None:
    corners = [(0, 0), (300, 0), (260, 140), (150, 90), (40, 180)]
    edges = polygon_edges([(float(x), float(y)) for x, y in corners])
    turn = np.array([[0.6, -0.8], [0.8, 0.6]])
    moved = [
        (name, [tuple(turn @ np.array(point) + [1234.5, -987.6]) for point in line])
        for name, line in edges
    ]
    areas = [pattern_area_mm2(made(e, finish=lambda _: WRAP).pattern) for e in (edges, moved)]
    assert areas[0] == pytest.approx(areas[1], abs=0.5)


def test_a_disc_is_drawn_with_few_arcs_and_no_noise_in_its_numbers() -> None:
    disc = circle_edge("rim", (0.0, 0.0), 100.0, step=8.0)
    result = made(disc, finish=lambda _: WRAP)
    assert len(result.pattern.outline.bulges) <= 8
    assert sound(result).contains(Point(0, 109.9))
    square = made(SQUARE, finish=lambda _: WRAP).pattern.outline.points_mm
    np.testing.assert_array_equal(square, np.round(square, 4))
