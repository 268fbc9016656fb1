"""Lead-ins and the short cut that gives the blade its heading."""

import math

import numpy as np
import pytest
from shapely import box, union_all

from cut.shapes import circle, plate, rectangle
from layflat.cut.elements import Loop, elements_of
from layflat.cut.entry import Waste, align_path, entries_of, start_places, waste_of
from layflat.cut.tip import tip_along
from layflat.pattern import to_polygon

ROOM = box(0.0, 0.0, 400.0, 300.0)


@pytest.fixture(scope="module")
def waste() -> Waste:
    return waste_of(union_all([to_polygon(p) for p in plate().patterns]), reach=ROOM)


@pytest.mark.parametrize("offset", [0.1, 0.25, 0.5, 1.0])
def test_all_but_a_hair_of_headings_are_aligned(waste: Waste, offset: float) -> None:
    path = align_path(waste, offset_mm=offset)
    assert path is not None
    last = path[-1] - path[-2]
    direction = math.atan2(last[1], last[0])
    lags = [
        abs(
            math.remainder(
                direction - tip_along(path, heading_rad=h, knife_offset_mm=offset, step_mm=1.0)[1],
                math.tau,
            )
        )
        for h in np.radians(np.arange(0.0, 360.0, 0.5) + 0.123)
    ]
    # Square at the bend, then 7 offsets: tan(b/2) = tan(45°) exp(-7).
    assert np.median(lags) == pytest.approx(2.0 * math.atan(math.exp(-7.0)), rel=0.01)
    assert max(lags) < math.radians(2.0)


def test_starts_keep_away_from_corners() -> None:
    loop = Loop(0, "plate", is_cut_out=False, elements=elements_of(rectangle(0, 0, 100, 60)))
    corners = np.array([0.0, 100.0, 160.0, 260.0, 320.0])
    places = start_places(loop)
    assert 1 < len(places) <= 6
    assert min(np.abs(corners - s).min() for s in places) > 3.0


@pytest.mark.parametrize("offset", [0.25, 0.5])
def test_lead_ins_end_in_the_loops_direction_and_start_clear_of_film(
    waste: Waste, offset: float
) -> None:
    hole = Loop(
        0, "hole", is_cut_out=True, elements=elements_of(circle(90, 80, 10, clockwise=True))
    )
    for entry in entries_of(hole, waste, offset_mm=offset):
        x, y, heading = hole.at(entry.along_mm)
        assert entry.in_waste
        end = entry.lead[-1].at(1.0)
        assert end[:2] == pytest.approx((x, y), abs=1e-9)
        assert math.remainder(end[2] - heading, math.tau) == pytest.approx(0.0, abs=1e-9)
        middle = math.hypot(entry.lead[0].x_mm - 90, entry.lead[0].y_mm - 80)
        assert middle < 10 - offset - 0.09
