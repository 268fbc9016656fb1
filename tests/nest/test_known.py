"""A search that begins from sections that are known."""

from dataclasses import replace

import pytest

from layflat.nest import Layout, Placement, Request, Section, Stock, check_layout, place
from layflat.pattern import Pattern
from nest.pieces import piece

STOCK = Stock(width_mm=140, edge_margin_mm=20, end_margin_mm=5)
HALF = [(0, 0), (200, 0), (0, 100)]
"""Two such triangles make a rectangle, which neither stacks nor fronts of boxes find at once."""


def paired(pattern: Pattern) -> Layout:
    """Two triangles laid into each other by hand, on 211 mm."""
    spots = [(0.0, 5.0, 20.0), (180.0, 206.0, 120.0)]
    return Layout(
        stock=STOCK,
        gap_mm=0.0,
        placements=tuple(
            Placement(pattern=pattern, number=i, copy=i, section=0, turn_deg=turn, x_mm=x, y_mm=y)
            for i, (turn, x, y) in enumerate(spots, start=1)
        ),
        sections=(Section(start_mm=0, end_mm=211),),
        length_mm=211,
        piece_area_mm2=20_000,
        lower_bound_mm=0,
        seed=1,
        seconds=1,
    )


def laid(pattern: Pattern, known: tuple[Layout, ...]) -> Layout:
    requests = [Request(pattern=pattern, copies=6)]
    return place(requests, STOCK, gap_mm=0, seconds=0.05, seed=1, max_section_mm=212, known=known)


def test_known_sections_are_used_again_as_often_as_wanted() -> None:
    pattern = piece(HALF, name="half")
    layout = laid(pattern, (paired(pattern),))
    check_layout(layout)
    assert layout.length_mm == pytest.approx(3 * 211)
    assert layout.length_mm <= laid(pattern, ()).length_mm


def test_known_sections_that_are_not_sound_or_not_of_this_film_are_passed_over() -> None:
    pattern = piece(HALF, name="half")
    good = paired(pattern)
    first, second = good.placements
    overlapping = replace(good, placements=(first, replace(second, x_mm=150.0)))
    wider = replace(good, stock=replace(STOCK, width_mm=150))
    other = paired(piece(HALF, name="other"))
    turned = replace(good, placements=(first, replace(second, turn_deg=170.0)))
    plain = laid(pattern, ()).length_mm
    for known in (overlapping, wider, other, turned):
        layout = laid(pattern, (known,))
        check_layout(layout)
        assert layout.length_mm == pytest.approx(plain)
