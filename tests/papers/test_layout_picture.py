"""The picture of a layout can be drawn of any sound piece, however fine its parts."""

import numpy as np

from layflat.nest import Layout, Placement, Section, Stock
from layflat.papers import layout_picture
from layflat.pattern import Curve, Pattern, sample, to_polygon


def thin_bridge() -> Pattern:
    """A slot from above that ends 0.35 mm before a round edge, beyond the edge's coarse chord."""
    edge = Curve(np.array([(0, 0), (400, 0), (400, 300), (0, 300)]), np.array([0.2, 0, 0, 0]))
    start, end = sample(edge, deviation_mm=0.75)[2:4]
    outward = np.array([end[1] - start[1], start[0] - end[0]]) / np.hypot(*(end - start))
    tip = 0.5 * (start + end) + 0.4 * outward
    slot = [(tip[0] + 8.0, 300.0), tuple(tip), (tip[0] - 8.0, 300.0)]
    outline = np.array([(0, 0), (400, 0), (400, 300), *slot, (0, 300)])
    return Pattern("bridge", Curve(outline, np.array([0.2, 0, 0, 0, 0, 0, 0])))


def test_a_thin_bridge_is_drawn_on_a_small_picture() -> None:
    pattern = thin_bridge()
    assert to_polygon(pattern).is_valid
    assert not to_polygon(pattern, deviation_mm=0.75).is_valid
    place = Placement(
        pattern=pattern, number=1, copy=1, section=0, turn_deg=0.0, x_mm=30.0, y_mm=80.0
    )
    layout = Layout(
        stock=Stock(width_mm=610.0, edge_margin_mm=20.0),
        gap_mm=4.0,
        placements=(place, place),
        sections=(Section(start_mm=0.0, end_mm=3000.0),),
        length_mm=3000.0,
        piece_area_mm2=100_000.0,
        lower_bound_mm=500.0,
        seed=1,
        seconds=1.0,
    )
    assert layout_picture(layout, width_mm=200.0, height_mm=90.0).startswith("<svg")
