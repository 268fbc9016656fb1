"""Layouts of published instances, with the published best beside them.

Sources of instances and records: see `strip_instances`. The check and the lower bound are
asserted always; that a layout is no denser than the record would be a reason to audit, not a
fault, but within seconds no search comes near it. The floor on density, a number of points
below the record, is a project choice and no published figure: the plain layout in stacks
misses it, the engine's very first layout reaches it.
"""

import pytest

from layflat.nest import Request, Stock, check_layout, place
from layflat.nest.bound import lower_bound_mm
from layflat.nest.parts import make_frame, make_parts
from nest.pieces import rectangle
from reference.strip_instances import INSTANCES, Instance, bare_stock

STRIP_MM = 1000.0
FLOOR_POINTS = 25.0
"""Project choice."""
HEIGHT_EXCESS = 1.0005


@pytest.mark.parametrize("instance", INSTANCES, ids=lambda instance: instance.name)
def test_the_transcribed_shapes_have_the_published_area(instance: Instance) -> None:
    """1596 and 1083, counted from the published files."""
    assert instance.area == {"shapes0": 1596, "shapes1": 1596, "fu": 1083}[instance.name]


@pytest.mark.parametrize("instance", INSTANCES, ids=lambda instance: instance.name)
def test_a_published_instance(instance: Instance, record_property) -> None:
    layout = place(
        instance.requests(strip_mm=STRIP_MM), bare_stock(STRIP_MM), gap_mm=0.0, seconds=3, seed=1
    )
    check_layout(layout)
    length = layout.length_mm * instance.height / STRIP_MM
    density = instance.area / (length * instance.height)
    record = instance.area / (instance.record_length * instance.height)
    record_property("density", f"{density:.2%}, published best {record:.2%}")
    assert layout.yield_ == pytest.approx(density)
    assert layout.length_mm >= layout.lower_bound_mm
    assert density <= record * HEIGHT_EXCESS
    assert density >= record - FLOOR_POINTS / 100


@pytest.mark.parametrize("instance", INSTANCES, ids=lambda instance: instance.name)
def test_the_bound_is_at_least_that_by_area_and_below_the_record(instance: Instance) -> None:
    """The published trivial bound is area / height; a bound above the record would be false."""
    frame = make_frame(bare_stock(STRIP_MM), gap_mm=0.0, max_section_mm=None)
    parts = make_parts(instance.requests(strip_mm=STRIP_MM), frame)
    bound = lower_bound_mm(parts, frame, end_margin_mm=0.0) * instance.height / STRIP_MM
    assert bound >= instance.area / instance.height * (1 - 1e-6)
    assert bound <= instance.record_length * HEIGHT_EXCESS


C1_P1 = (
    (2, 12), (7, 12), (8, 6), (3, 6), (3, 5), (5, 5), (3, 12), (3, 7),
    (5, 7), (2, 6), (3, 2), (4, 2), (3, 4), (4, 4), (9, 2), (11, 2),
)  # fmt: skip
"""E. Hopper and B. C. H. Turton, An empirical investigation of meta-heuristic and heuristic
algorithms for a 2D packing problem, Eur. J. Oper. Res. 128 (2001) 34-57, problem C1-P1: strip
width 20, least height 20. Dimensions from memory; that they fill 20 by 20 without turning was
confirmed with a constraint solver."""


def test_rectangles_with_a_known_least_length() -> None:
    """The bound is the optimum itself; even the plain layout in stacks is 10 % off at most."""
    scale = STRIP_MM / 20
    requests = [
        Request(
            pattern=rectangle(scale * height, scale * width, name=f"{i + 1}"),
            turns_deg=(0.0, 90.0),
        )
        for i, (width, height) in enumerate(C1_P1)
    ]
    stock = Stock(width_mm=STRIP_MM + 0.1, edge_margin_mm=0.0, end_margin_mm=0.0)
    layout = place(requests, stock, gap_mm=0.0, seconds=3, seed=1)
    check_layout(layout)
    assert layout.lower_bound_mm == pytest.approx(1000.0, rel=2e-4)
    assert 1000.0 * (1 - 2e-4) <= layout.length_mm <= 1101.0
