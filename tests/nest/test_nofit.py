"""Places that pieces keep from each other, against shapely's distances."""

import numpy as np
import pytest
import shapely
from shapely import affinity

from layflat.nest import Request, Stock
from layflat.nest.nofit import NoFit, convex_parts
from layflat.nest.parts import make_frame, make_parts
from nest.pieces import HOOK, piece

GAP_MM = 4.0
SPIKES = [
    (80 + 50 * (i % 2)) * np.array([np.cos(a), np.sin(a)])
    for i, a in enumerate(np.arange(14) * np.pi / 7)
]


def made() -> tuple[NoFit, tuple[object, ...]]:
    frame = make_frame(Stock(width_mm=500, edge_margin_mm=20), gap_mm=GAP_MM, max_section_mm=None)
    patterns = [piece(HOOK, name="hook"), piece([p.tolist() for p in SPIKES], name="spikes")]
    return NoFit(frame), make_parts([Request(pattern=one) for one in patterns], frame)


@pytest.mark.parametrize("points", [HOOK, SPIKES])
def test_convex_parts_are_convex_and_make_the_whole(points: object) -> None:
    polygon = shapely.Polygon(points)
    parts = [shapely.Polygon(one) for one in convex_parts(polygon)]
    assert all(one.is_valid and one.exterior.is_ccw for one in parts)
    assert all(one.convex_hull.area == pytest.approx(one.area) for one in parts)
    assert sum(one.area for one in parts) == pytest.approx(polygon.area)
    assert shapely.union_all(parts).symmetric_difference(polygon).area < 1e-6
    assert len(parts) < len(polygon.exterior.coords) - 3


def test_a_place_outside_the_region_keeps_the_gap_and_one_inside_does_not_by_much() -> None:
    nofit, parts = made()
    dice = np.random.default_rng(3)
    inside = 0
    for _ in range(400):
        first, second = (parts[i] for i in dice.integers(0, 2, 2))
        turns = [float(turn) for turn in dice.choice([0.0, 90.0, 180.0, 270.0], 2)]
        place = dice.uniform(-260, 260, 2)
        shapes = [
            affinity.rotate(part.polygon, turn, origin=(0, 0))
            for part, turn in zip((first, second), turns, strict=True)
        ]
        distance = shapes[0].distance(affinity.translate(shapes[1], *place))
        region = nofit.region(first, turns[0], second, turns[1])
        if region.contains(shapely.Point(place)):
            inside += 1
            # Sharp corners reach farther out: see `grow`.
            assert distance < 2.2 * GAP_MM
        else:
            assert distance > GAP_MM - 1e-6
    assert 50 < inside < 350
