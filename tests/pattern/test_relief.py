"""A relief in the pattern: wide enough for a knife where it opens by nothing, round at its end."""

from dataclasses import replace

import numpy as np
import pytest
from shapely import LineString, Point

from cut.shapes import on_stock
from film.shapes import cap, film_of, graph, level
from layflat.cut import AWAY_MM, CORNER_MM, generic_machine, program
from layflat.film import Flat, flatten
from layflat.pattern import (
    EdgeFinish,
    Finish,
    KeepOutShape,
    Made,
    bounds,
    from_flat,
    opening_mm,
    place,
    reliefs_of,
    to_polygon,
)
from layflat.surface import Edge, EdgeKind, Region, slit_region, whole_region

FLUSH = EdgeFinish(Finish.FLUSH)
SHORT = EdgeFinish(Finish.SHORT, 1.5)


def plate() -> tuple[Region, Flat]:
    """A flat plate with one cut, bent once, from the middle of its lower edge."""
    whole = whole_region(graph(level, width=200, depth=120, across=21, along=13))
    path = np.array([[-3.0, -60.0, 0.0], [4.0, -20.0, 0.0], [13.0, 3.0, 0.0]])
    region = slit_region(whole, path, name="relief 1")
    return region, flatten(region.mesh, film_of())


def dome() -> tuple[Region, Flat]:
    """A deep cap with two cuts."""
    mesh = cap(16, angle=0.7, radius=150.0)
    region = whole_region(mesh)
    for number, turn in enumerate((1.0, -1.0), start=1):
        at = 150.0 * np.array([[np.sin(0.7), 0, np.cos(0.7)], [np.sin(0.3), 0, np.cos(0.3)]])
        region = slit_region(region, at * [turn, 1.0, 1.0], name=f"relief {number}")
    return region, flatten(region.mesh, film_of())


def made(region: Region, flat: Flat, finish: EdgeFinish = SHORT) -> Made:
    return from_flat(flat, region, name="piece", finishes=lambda _: finish)


def test_a_cut_that_opens_by_nothing_is_a_slot_with_a_round_end() -> None:
    region, flat = plate()
    (slit,) = reliefs_of(region)
    first, second = flat.points_mm[slit.inward], flat.points_mm[slit.outward[::-1]]
    assert opening_mm(first, second) < 1e-3
    done = made(region, flat, FLUSH)
    piece = to_polygon(done.pattern)
    assert piece.is_valid
    tip = Point(flat.points_mm[slit.tip])
    assert tip.distance(piece) == pytest.approx(1.0, abs=0.06)
    assert LineString(first).buffer(0.15).intersects(piece) is True
    # Half of the way in, the slot is 0.5 mm wide; nowhere does it take more than that and the hole.
    half = LineString(first).interpolate(0.5, normalized=True)
    assert half.distance(piece) == pytest.approx(0.25, abs=0.03)
    missing = 200 * 120 - piece.area
    assert missing == pytest.approx(0.5 * LineString(first).length + np.pi, rel=0.15)
    (note,) = [note for note in done.notes if note.startswith("Relief 1")]
    assert "0.5 mm apart" in note
    assert "round hole of 1 mm" in note


def test_a_wedge_is_cut_as_it_opens_and_only_its_end_is_rounded() -> None:
    region, flat = dome()
    done = made(region, flat, FLUSH)
    piece = to_polygon(done.pattern)
    assert piece.is_valid
    for slit in reliefs_of(region):
        first, second = flat.points_mm[slit.inward], flat.points_mm[slit.outward[::-1]]
        opens = opening_mm(first, second)
        assert opens > 5.0
        assert any(f"opens to {opens:.1f} mm" in note for note in done.notes)
        for side in (first, second):
            away = piece.boundary.distance([Point(p) for p in side[:-3]])
            assert np.max(away) < 0.06


def test_sides_of_a_relief_are_flush_whatever_inner_edges_do() -> None:
    region, flat = dome()
    ended = made(region, flat, SHORT)
    finishes = {(r.name, r.finish.finish) for r in ended.pattern.edges}
    assert ("relief 1", Finish.FLUSH) in finishes
    assert ("", Finish.SHORT) in finishes


def test_wraps_and_stops_end_at_the_cut_and_the_knife_can_follow() -> None:
    """The cut program is checked by a simulation of the blade's tip: it refuses what it misses."""
    for region, flat in (plate(), dome()):
        for finish in (SHORT, EdgeFinish(Finish.WRAP, 6.0)):
            done = made(region, flat, finish)
            x0, y0, *_ = bounds(done.pattern.outline)
            laid = place(done.pattern, x_mm=20.0 - x0, y_mm=20.0 - y0)
            run = program(on_stock(laid), generic_machine())
            assert run.tip_error.max_away_mm < AWAY_MM
            assert run.tip_error.max_corner_mm < CORNER_MM


def test_an_edge_that_is_only_called_so_is_no_relief() -> None:
    region, _ = plate()
    (loop,) = region.loops
    edges = tuple(
        Edge(EdgeKind.OPEN, e.points_mm, e.name) if e.name == "relief 1" else e for e in loop.edges
    )
    assert reliefs_of(Region(region.mesh, (replace(loop, edges=edges),))) == ()


def test_a_keep_out_at_the_cut_is_still_left_free() -> None:
    region, flat = dome()
    (slit, _) = reliefs_of(region)
    at = flat.points_mm[slit.tip]
    turn = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    rim = at + 4.0 * np.column_stack((np.cos(turn), np.sin(turn)))
    free = KeepOutShape("sensor", rim, 1.5)
    done = from_flat(flat, region, name="piece", finishes=lambda _: SHORT, keep_outs=(free,))
    assert to_polygon(done.pattern).distance(Point(at)) > 5.0
