"""Edges, allowances and free places of flat patterns, against closed forms and shapely's buffer."""

import math
from dataclasses import replace

import numpy as np
import pytest
from shapely import MultiPoint, Polygon

from layflat.base import InputError
from layflat.pattern import (
    Curve,
    EdgeWish,
    Finish,
    FreePlace,
    Pattern,
    curve_length_mm,
    edge_lines,
    ordered_corners,
    pattern_area_mm2,
    reshape,
    sample,
    to_polygon,
)
from layflat.surface import EdgeKind

CORNERS = ((0.0, 0.0), (300.0, 0.0), (300.0, 200.0), (0.0, 200.0))
BOX = Pattern("box", Curve(np.array(CORNERS), np.zeros(4)))
ROUND = Pattern("round", Curve(np.array([[-100.0, 0.0], [100.0, 0.0]]), np.array([1.0, 1.0])))


def wishes(*allowances: float, names: tuple[str, ...] = ()) -> list[EdgeWish]:
    found = [EdgeWish("", EdgeKind.OPEN, each) for each in allowances]
    return [replace(w, name=n) for w, n in zip(found, names, strict=True)] if names else found


def test_strips_end_square_at_corners() -> None:
    done = reshape(BOX, corners=CORNERS, edges=wishes(10, 0, 20, 5, names=("a", "b", "c", "d")))
    # Area of a rectangle: nothing is added round the corners.
    area = 300 * 200 + 10 * 300 + 20 * 300 + 5 * 200
    assert pattern_area_mm2(done.pattern) == pytest.approx(area, abs=1.0)
    assert [edge.finish.distance_mm for edge in done.pattern.edges] == [10, 0, 20, 5]
    assert done.pattern.edges[1].finish.finish is Finish.FLUSH
    lengths = [edge.flat_length_mm for edge in done.pattern.edges]
    assert lengths == pytest.approx([300, 200, 300, 200])
    assert [mark.text for mark in done.pattern.marks] == ["a", "b", "c", "d"]
    film = to_polygon(done.pattern)
    assert not any(film.intersects(MultiPoint(mark.points_mm)) for mark in done.pattern.marks)
    assert "10 mm at a" in done.said[0]


def test_one_edge_all_round_is_a_parallel_curve() -> None:
    done = reshape(ROUND, corners=(), edges=wishes(12))
    assert pattern_area_mm2(done.pattern) == pytest.approx(math.pi * 112**2, rel=2e-4)
    peer = Polygon(sample(ROUND.outline, deviation_mm=0.005)).buffer(12, quad_segs=200)
    assert to_polygon(done.pattern).exterior.hausdorff_distance(peer.exterior) < 0.1


def test_a_hollow_edge_is_followed_until_strips_meet() -> None:
    # A bay of radius 50 in the low side.
    points = np.array([[0, 0], [100, 0], [200, 0], [300, 0], [300, 200], [0, 200]], float)
    bay = Pattern("bay", Curve(points, np.array([0, -1.0, 0, 0, 0, 0])))
    corners = ((100.0, 0.0), (200.0, 0.0))
    done = reshape(bay, corners=corners, edges=wishes(30, 0))
    half_ring = 0.5 * math.pi * (50**2 - 20**2)
    grown = pattern_area_mm2(done.pattern) - pattern_area_mm2(bay)
    # The line may lie 0.05 mm off over the strip's 63 mm and 2 x 30 mm.
    assert grown == pytest.approx(half_ring, abs=6.0)
    low = [[0, 0], [100, 0], [100, 90], [110, 90], [110, 0], [300, 0], [300, 200], [0, 200]]
    slot = Pattern("slot", Curve(np.array(low, float), np.zeros(8)))
    with pytest.raises(InputError, match="meet across a hollow"):
        reshape(
            slot,
            corners=((100, 0), (100, 80), (110, 80), (110, 0)),
            edges=wishes(6, 0, 6, 0),
        )


def test_an_outline_without_allowances_is_split_and_stays_as_it_is() -> None:
    corners = ordered_corners(ROUND, [(0.0, 103.0), (70.0, -70.0)])
    assert corners[0] == pytest.approx((100 * math.sqrt(0.5), -100 * math.sqrt(0.5)))
    assert corners[1] == pytest.approx((0.0, 100.0))
    done = reshape(ROUND, corners=corners, edges=wishes(0, 0))
    assert pattern_area_mm2(done.pattern) == pytest.approx(math.pi * 100**2, rel=1e-12)
    assert curve_length_mm(done.pattern.outline) == pytest.approx(200 * math.pi, rel=1e-12)
    at = done.pattern.outline.points_mm[done.pattern.outline_corners]
    assert at == pytest.approx(np.array(corners))
    lines = edge_lines(ROUND, corners)
    first, second = (np.hypot(*np.diff(line, axis=0).T).sum() for line in lines)
    assert first == pytest.approx(100 * 0.75 * math.pi, rel=1e-4)
    assert first + second == pytest.approx(200 * math.pi, rel=1e-4)
    assert not done.said


def test_free_places_are_cut_out_with_round_corners() -> None:
    places = (
        FreePlace("eye", "circle", 60, 100, 30, 30),
        FreePlace("badge", "rectangle", 200, 100, 80, 40),
    )
    done = reshape(BOX, corners=(), edges=wishes(0), places=places)
    area = 300 * 200 - math.pi * 15**2 - (80 * 40 - (4 - math.pi))
    assert pattern_area_mm2(done.pattern) == pytest.approx(area, rel=1e-9)
    for hole in done.pattern.cut_outs:
        assert not Polygon(sample(hole, deviation_mm=0.01)).exterior.is_ccw


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"edges": wishes(101, 0, 0, 0)}, "must be 0 to 100"),
        ({"edges": wishes(math.nan, 0, 0, 0)}, "must be 0 to 100"),
        ({"edges": wishes(0, 0)}, "the outline has 4"),
        ({"edges": wishes(0, 0, 0, 0, names=("a", "b", "a", ""))}, "Two edges are called “a”"),
        ({"corners": ((0, 0), (0.5, 0), (300, 0), (0, 200))}, "within 1 mm"),
        ({"corners": CORNERS[::-1]}, "do not follow"),
        ({"places": (FreePlace("eye", "circle", 5, 100, 30, 30),)}, "lies across the outline"),
        ({"places": (FreePlace("eye", "circle", 50, 100, 1, 1),)}, "2 to 2000"),
        ({"places": (FreePlace("eye", "circle", math.inf, 100, 9, 9),)}, "no place"),
        (
            {"places": [FreePlace(n, "circle", x, 99, 30, 30) for n, x in (("a", 50), ("b", 60))]},
            "“b” lies less than 1 mm from another",
        ),
    ],
)
def test_what_cannot_be_is_refused_in_words(change: dict[str, object], why: str) -> None:
    asked: dict[str, object] = {"corners": CORNERS, "edges": wishes(0, 0, 0, 0)}
    with pytest.raises(InputError, match=why):
        reshape(BOX, **(asked | change))  # type: ignore[arg-type]
