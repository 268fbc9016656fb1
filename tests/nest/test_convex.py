"""Convex parts of an outline: they cover it, overlap nowhere, and are few."""

import numpy as np
import pytest
import shapely
from hypothesis import given
from shapely import Polygon

from layflat.nest.convex import convex_parts
from layflat.nest.outward import ring_points
from layflat.pattern import Pattern, to_polygon
from nest.pieces import HOOK, bounded, piece, rectangle, stars


@pytest.mark.parametrize(("pattern", "count"), [(rectangle(50, 20), 1), (piece(HOOK), 2)])
def test_known_shapes_need_so_many(pattern: Pattern, count: int) -> None:
    assert len(convex_parts(ring_points(to_polygon(pattern, deviation_mm=0.1)))) == count


@bounded
@given(pattern=stars())
def test_parts_are_convex_and_make_up_the_outline(pattern: Pattern) -> None:
    outline = to_polygon(pattern, deviation_mm=0.5)
    parts = [Polygon(ring) for ring in convex_parts(ring_points(outline))]
    assert sum(part.area for part in parts) == pytest.approx(outline.area, rel=1e-9)
    assert shapely.union_all(parts).symmetric_difference(outline).area < 1e-6 * outline.area
    for part in parts:
        assert part.convex_hull.area == pytest.approx(part.area, rel=1e-9)
    # Each reflex corner takes two cuts at most, so that there are four times the least at most.
    ring = ring_points(outline)
    into, out = ring - np.roll(ring, 1, axis=0), np.roll(ring, -1, axis=0) - ring
    reflex = int((into[:, 0] * out[:, 1] < into[:, 1] * out[:, 0]).sum())
    assert len(parts) <= 2 * reflex + 1


def test_where_triangles_do_not_make_up_the_outline_the_hull_stands_for_it() -> None:
    """An outline that crosses itself is no polygon: nothing smaller than it may stand for it."""
    bow = np.array([[0.0, 0.0], [40.0, 40.0], [40.0, 0.0], [0.0, 10.0]])
    (hull,) = convex_parts(bow)
    assert Polygon(hull).area == pytest.approx(Polygon(bow).convex_hull.area)
