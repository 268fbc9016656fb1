"""Notches in flaps that would be crowded: how many, how wide, and when trimming is better."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import Polygon

from flat_shapes import Line, circle_edge, panel, straight
from layflat.cut import generic_machine, program
from layflat.film import generic_film
from layflat.nest import Request, Stock, layout_drawing, place
from layflat.pattern import (
    EdgeFinish,
    Finish,
    Made,
    from_flat,
    pattern_json,
    read_pattern_json,
    to_polygon,
)
from layflat.pattern.edges import FlatEdge
from layflat.pattern.fold import Limits, Reason, fold_strain
from layflat.pattern.notches import ENOUGH_MM, LEAST_TAB_MM, RADIUS_MM, ROOT_MM
from layflat.pattern.wrap_depth import Depths, depths
from layflat.surface import Edge, EdgeKind

LIMITS = Limits(0.05, 0.1)
NOWHERE = Polygon()


def disc(radius: float, depth: float = 8.0) -> Made:
    flat, region = panel(circle_edge("rim", (0.0, 0.0), radius, step=min(0.1 * radius, 5.0)))
    return from_flat(flat, region, name="disc", finishes=lambda _: EdgeFinish(Finish.WRAP, depth))


def arc(radius: float, degrees: float = 180.0) -> FlatEdge:
    """A round edge, the material on its left; hollow where the radius is negative."""
    turn = np.radians(np.linspace(0.0, degrees, 361)) * np.sign(radius)
    points = abs(radius) * np.column_stack((np.cos(turn), np.sin(turn)))
    return FlatEdge(Edge(EdgeKind.OPEN, np.zeros((1, 3)), "rim"), points, math.pi, math.pi, False)


def wavy(amplitudes: list[float], *, mirrored: bool = False) -> FlatEdge:
    """A smooth line with round and hollow places."""
    x = np.linspace(0.0, 150.0, 101)
    y = sum(a * np.sin((i + 1) * np.pi * x / 150.0) for i, a in enumerate(amplitudes)) + 0.0 * x
    line = np.column_stack((x, y))
    if mirrored:
        line = (line * [-1.0, 1.0])[::-1]
    return FlatEdge(Edge(EdgeKind.OPEN, np.zeros((1, 3)), "rim"), line, math.pi, math.pi, False)


@pytest.mark.parametrize("radius", [73.0, 100.0, 400.0])
def test_a_rim_within_the_limit_is_neither_trimmed_nor_notched(radius: float) -> None:
    done = disc(radius)
    assert done.notes == ()
    assert to_polygon(done.pattern).area == pytest.approx(np.pi * (radius + 8.0) ** 2, rel=3e-4)


def test_a_rim_that_bears_six_millimetres_is_trimmed_and_not_notched() -> None:
    done = disc(60.0)
    ((_, found),) = done.wraps
    assert found.notches == ()
    assert found.mm == pytest.approx(60.0 * 0.1 / 0.9, rel=0.01)
    assert found.mm.min() >= ENOUGH_MM
    assert set(found.reasons) == {Reason.CROWDING}
    assert any("crowded by more than its limit" in note for note in done.notes)
    assert any("10 % for warmed wraps: assumed" in note for note in done.notes)


@pytest.mark.parametrize("radius", [25.0, 40.0, 50.0])
def test_notches_take_out_the_excess_and_no_tab_is_too_wide(radius: float) -> None:
    done = disc(radius)
    ((_, found),) = done.wraps
    assert found.mm == pytest.approx(8.0)
    count = len(found.notches)
    # The folded line is 2 pi w shorter than the flat one; the notches are that wide together.
    assert sum(n.mouth_mm for n in found.notches) == pytest.approx(2 * np.pi * 8.0, rel=0.01)
    tab = 2 * np.pi * radius / count
    assert tab >= LEAST_TAB_MM
    # Sheared by half the turn of its tab, the film is compressed by a quarter of it.
    assert tab / radius / 4.0 <= LIMITS.crowding * 1.001
    assert 2 * np.pi * radius / (count - 1) / radius / 4.0 > LIMITS.crowding
    # Nearer the edge than the roots, it bears its crowding.
    assert -fold_strain(found.fold, ROOT_MM).min() <= LIMITS.crowding
    assert any(f"{count} notches" in note for note in done.notes)


def test_roots_keep_off_the_edge_and_are_round() -> None:
    piece = to_polygon(disc(40.0).pattern)
    away = np.hypot(*np.array(piece.exterior.coords).T)
    assert away.min() == pytest.approx(40.0 + ROOT_MM, abs=0.06)
    # A disc a little smaller than the root's fits between the sides: no sharp end.
    bare = Polygon(piece.exterior.convex_hull).difference(piece)
    # The hull cuts the round rim's tips by slivers, too.
    notches = [part for part in shapely.get_parts(bare) if part.area > 1.0]
    assert len(notches) == len(disc(40.0).wraps[0][1].notches)
    for notch in notches:
        fits = notch.buffer(-(RADIUS_MM - 0.05))
        assert not fits.is_empty
        assert np.hypot(fits.centroid.x, fits.centroid.y) > 40.0 + ROOT_MM


@pytest.mark.parametrize("radius", [8.0, 14.0])
def test_where_notches_would_be_too_dense_the_flap_is_trimmed_and_it_is_said(radius: float) -> None:
    done = disc(radius)
    ((_, found),) = done.wraps or ((None, None),)
    if found is None:
        assert any("too round" in note for note in done.notes)
        return
    assert found.notches == ()
    assert found.dense
    assert found.mm == pytest.approx(radius * 0.1 / 0.9, rel=0.03)
    assert any(f"closer than {LEAST_TAB_MM:g} mm" in note for note in done.notes)


def rounded(radius: float) -> list[Line]:
    """A plate of 200 by 120 mm with round corners, as one closed edge."""
    points: list[tuple[float, float]] = []
    for x, y, start in ((200 - radius, radius, -90), (200 - radius, 120 - radius, 0),
                        (radius, 120 - radius, 90), (radius, radius, 180)):  # fmt: skip
        turns = np.radians(np.linspace(start, start + 90, 25))
        points += [(x + radius * math.cos(a), y + radius * math.sin(a)) for a in turns]
    line = zip(points, [*points[1:], points[0]], strict=True)
    return [("rim", [tuple(p) for start, end in line for p in straight(start, end, 10.0)])]


@pytest.mark.parametrize("radius", [12.0, 20.0, 30.0, 55.0])
def test_the_cut_s_own_check_passes_a_notched_and_a_trimmed_piece(radius: float) -> None:
    flat, region = panel(rounded(radius))
    done = from_flat(flat, region, name="plate", finishes=lambda _: EdgeFinish(Finish.WRAP, 8.0))
    ((_, found),) = done.wraps
    assert bool(found.notches) == (radius < 50.0)
    piece = to_polygon(done.pattern)
    assert piece.is_valid
    assert not piece.interiors
    # Every corner alike, wherever the closed edge begins.
    assert len(found.notches) % 4 == 0
    slopes = np.diff(found.mm) / np.hypot(*np.diff(found.points, axis=0).T)
    assert np.abs(slopes).max() <= 0.5 + 1e-6
    curve = done.pattern.outline
    steps = np.hypot(*np.diff(np.vstack((curve.points_mm, curve.points_mm[:1])), axis=0).T)
    assert steps.min() > 0.1
    stock = Stock(width_mm=610, edge_margin_mm=20)
    layout = place([Request(pattern=done.pattern)], stock, gap_mm=10, seconds=0.2, seed=1)
    cut = program(layout_drawing(layout), generic_machine())
    assert cut.hpgl
    stored = read_pattern_json(pattern_json(done.pattern))
    assert np.array_equal(stored.outline.points_mm, curve.points_mm)


depths_mm = st.floats(1.0, 20.0)
waves = st.lists(st.floats(-6.0, 6.0), min_size=1, max_size=6)
shares = st.floats(0.0, 0.3)


def solved(edge: FlatEdge, wanted: float, stretch: float, crowding: float) -> Depths:
    return depths(edge, wanted, NOWHERE, limits=Limits(stretch, crowding))


@settings(max_examples=12, deadline=None)
@given(amplitudes=waves, wanted=depths_mm, stretch=shares, crowding=shares)
def test_depths_are_never_above_what_was_asked_nor_below_nothing_and_mirror(
    amplitudes: list[float], wanted: float, stretch: float, crowding: float
) -> None:
    found = solved(wavy(amplitudes), wanted, stretch, crowding)
    assert found.mm.min() >= 0.0
    assert found.mm.max() <= wanted
    along = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(found.points, axis=0).T))))
    assert (np.abs(np.diff(found.mm)) <= 0.5 * np.diff(along) + 1e-9).all()
    trimmed = found.mm < wanted - 0.05
    assert all((r is not Reason.NONE) == t for r, t in zip(found.reasons, trimmed, strict=True))
    image = solved(wavy(amplitudes, mirrored=True), wanted, stretch, crowding)
    assert len(image.notches) == len(found.notches)
    assert image.mm[::-1] == pytest.approx(found.mm, abs=1e-6)


@settings(max_examples=12, deadline=None)
@given(amplitudes=waves, wanted=depths_mm, less=shares, more=shares)
def test_film_that_bears_more_is_wrapped_as_deep_or_deeper(
    amplitudes: list[float], wanted: float, less: float, more: float
) -> None:
    less, more = sorted((less, more))
    edge = wavy(amplitudes)
    shallow, deep = (solved(edge, wanted, limit, 0.5) for limit in (less, more))
    assert (deep.mm >= shallow.mm - 1e-9).all()
    shallow, deep = (solved(edge, wanted, 0.5, limit) for limit in (less, more))
    # Notches may keep a flap deeper than a greater limit alone would.
    assert shallow.notches or (deep.mm >= shallow.mm - 1e-9).all()


def test_a_limit_that_nothing_satisfies_leaves_the_edge_flush_and_says_so() -> None:
    found = solved(arc(40.0), 8.0, 0.0, 0.0)
    assert found.deepest_mm == pytest.approx(0.0, abs=1e-9)
    assert found.notches == ()


def test_the_default_limit_of_warmed_wraps_spares_an_ordinary_corner() -> None:
    """8 mm square round 72 mm: 8 / (72 + 8) = 10 %."""
    limit = generic_film().wrap_finger_limit
    found = solved(arc(8.0 / limit - 8.0 + 0.5), 8.0, 0.05, limit)
    assert found.mm.min() == pytest.approx(8.0)


def test_an_edge_that_is_straight_but_for_rounding_is_wrapped_as_asked() -> None:
    found = solved(wavy([-1e-306]), 8.0, 0.05, 0.1)
    assert found.mm == pytest.approx(8.0)
    assert found.notches == ()
