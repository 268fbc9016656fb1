"""Faults in a roll: no piece and no section on them, found with geometry of the tests' own."""

from dataclasses import replace
from itertools import pairwise

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from layflat.base import CheckError, FitError, InputError
from layflat.nest import (
    Layout,
    Request,
    Stock,
    Stretch,
    check_layout,
    least_length_mm,
    place,
)
from layflat.nest.bound import lower_bound_mm
from layflat.nest.faults import windows_of
from layflat.nest.parts import make_frame, make_parts
from layflat.pattern import place as moved
from layflat.pattern import to_polygon
from nest.pieces import HOOK, piece, rectangle, stars, two_hooks

STOCK = Stock(width_mm=300, edge_margin_mm=20, end_margin_mm=5)
NO_SEARCH_S = 0.05
"""So little that the engine is never asked: the plain layouts and the choice of packs alone."""


def fault(start: float, end: float, reason: str = "crease") -> Stretch:
    return Stretch(start_mm=start, end_mm=end, reason=reason)


def on_faults(layout: Layout) -> list[str]:
    """What lies on a fault, by polygons and boxes that are made here."""
    found = []
    for spoilt in layout.stock.faults:
        band = shapely.box(spoilt.start_mm + 0.02, -1e4, spoilt.end_mm - 0.02, 1e4)
        for item in layout.placements:
            pattern = moved(
                item.pattern,
                turn_deg=item.turn_deg,
                x_mm=item.x_mm,
                y_mm=item.y_mm,
                mirrored=item.mirrored,
            )
            if to_polygon(pattern, deviation_mm=0.001).intersects(band):
                found.append(item.pattern.name)
        found += [
            "section"
            for section in layout.sections
            if shapely.box(section.start_mm, 0, section.end_mm, 1).intersects(band)
        ]
    return found


@st.composite
def faulty(draw: st.DrawFn) -> tuple[Stretch, ...]:
    gaps = draw(st.lists(st.tuples(st.floats(0, 500), st.floats(1, 200)), max_size=4))
    faults, at = [], 0.0
    for before, long in gaps:
        faults.append(fault(at + before, at + before + long))
        at += before + long
    return tuple(reversed(faults))


@settings(deadline=None, derandomize=True, max_examples=8)
@given(
    shapes=st.lists(stars(), min_size=1, max_size=5),
    faults=faulty(),
    section=st.sampled_from([None, 300.0, 700.0]),
    gap=st.sampled_from([0.0, 4.0, 14.0]),
)
def test_nothing_lies_on_a_fault_and_the_bound_holds(shapes, faults, section, gap) -> None:
    stock = replace(STOCK, faults=faults)
    requests = [Request(pattern=shape, copies=2, turns_deg=(0.0, 90.0)) for shape in shapes]
    layout = place(requests, stock, gap_mm=gap, seconds=NO_SEARCH_S, seed=1, max_section_mm=section)
    check_layout(layout)
    assert on_faults(layout) == []
    assert len(layout.placements) == 2 * len(shapes)
    assert layout.lower_bound_mm <= layout.length_mm + 1e-6
    for first, second in pairwise(layout.sections):
        assert second.start_mm >= first.end_mm - 1e-6
    frame = make_frame(stock, gap_mm=gap, max_section_mm=section)
    bare = lower_bound_mm(make_parts(requests, frame), frame, end_margin_mm=5)
    assert layout.lower_bound_mm >= bare - 1e-9


def test_the_search_lays_round_a_fault_too() -> None:
    stock = replace(STOCK, faults=(fault(210, 230), fault(500, 505, "splice")))
    requests = [Request(pattern=piece(HOOK, name="hook"), copies=16)]
    layout = place(requests, stock, gap_mm=4, seconds=1.5, seed=3, max_section_mm=400)
    assert on_faults(layout) == []
    # Film before the first fault is used: what is laid there need not lie behind it.
    assert layout.sections[0].start_mm == 0
    assert "crease from 210 to 230 mm" in layout.notes[-1]


def test_the_bound_knows_that_long_pieces_go_past_faults() -> None:
    """A bar of 200 mm cannot lie before a fault at 150 mm: it ends no sooner than 380 + ends."""
    stock = replace(STOCK, faults=(fault(150, 180),))
    bar = [Request(pattern=rectangle(200, 250), turns_deg=(0.0,))]
    layout = place(bar, stock, gap_mm=4, seconds=NO_SEARCH_S, seed=1)
    assert layout.lower_bound_mm == pytest.approx(390) == layout.length_mm
    assert least_length_mm(bar, stock, gap_mm=4) == layout.lower_bound_mm


def test_the_bound_is_met_where_film_can_be_filled() -> None:
    """Four bars of 100 mm as wide as the roll, nothing between them, and a fault at 200 to 210."""
    stock = Stock(width_mm=300, edge_margin_mm=0, end_margin_mm=0, faults=(fault(200, 210),))
    four = [Request(pattern=rectangle(100, 300), copies=4, turns_deg=(0.0,))]
    layout = place(four, stock, gap_mm=0, seconds=NO_SEARCH_S, seed=1)
    assert layout.length_mm == pytest.approx(410)
    assert layout.lower_bound_mm == pytest.approx(410, abs=1e-3)


def test_film_before_a_fault_is_filled_first() -> None:
    """Squares of 90 mm, two a stack: two stacks before the fault, the rest behind it."""
    stock = replace(STOCK, faults=(fault(250, 260),))
    squares = [Request(pattern=rectangle(90, 120), copies=8, turns_deg=(0.0,))]
    layout = place(squares, stock, gap_mm=4, seconds=NO_SEARCH_S, seed=1)
    assert [(s.start_mm, round(s.end_mm)) for s in layout.sections] == [(0, 194), (260, 454)]


def test_the_check_names_the_piece_and_the_fault() -> None:
    good = two_hooks()
    spoilt = replace(good, stock=replace(good.stock, faults=(fault(60, 61, "splice"),)))
    with pytest.raises(CheckError, match="piece 1 “hook” lies on the fault “splice” at 60 to 61"):
        check_layout(spoilt)
    check_layout(replace(good, stock=replace(good.stock, faults=(fault(110, 130),))))


BAD = {
    "backwards": ((fault(100, 90),), "from 100 to 90 mm of the roll; it must begin"),
    "before the cut end": ((fault(-1, 90),), "must begin at 0 or later"),
    "without an end": ((fault(10, float("inf")),), "end after it begins"),
    "no number": ((fault(float("nan"), 20),), "must begin at 0 or later"),
    "behind the roll": ((fault(900, 1001),), "has only 1000 mm left"),
    "very many": (tuple(fault(i, i + 0.5) for i in range(201)), "201 faults"),
}


@pytest.mark.parametrize("case", BAD)
def test_a_fault_that_cannot_be_is_refused(case: str) -> None:
    faults, sentence = BAD[case]
    with pytest.raises(InputError, match=sentence):
        windows_of(replace(STOCK, length_mm=1000, faults=faults))


def test_a_roll_that_its_faults_make_too_short_is_told() -> None:
    stock = replace(STOCK, length_mm=400, faults=(fault(150, 250),))
    bar = [Request(pattern=rectangle(200, 250), turns_deg=(0.0,))]
    with pytest.raises(FitError, match="60 mm are missing"):
        place(bar, stock, gap_mm=4, seconds=NO_SEARCH_S, seed=1)
