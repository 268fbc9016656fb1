"""Pieces pushed up in turn: sound by independent geometry, complete, and no longer than stacks."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from layflat.nest import Frame, Request, Stock, front_layout, fronts_length_mm, turned_rims
from layflat.nest.check import too_near
from layflat.nest.fronts import MOST_PIECES, front_packs
from layflat.nest.parts import make_frame, make_parts
from layflat.nest.shelves import shelf_packs
from nest.pieces import piece, rectangle

STOCK = Stock(width_mm=640, edge_margin_mm=20)
FRAME = make_frame(STOCK, gap_mm=4, max_section_mm=1500)
TURNS = (0.0, 90.0, 180.0, 270.0)


def stars(seed: int, count: int) -> list[Request]:
    """Pieces of any star-like shape, 60 to 500 mm across."""
    dice = np.random.default_rng(seed)
    found = []
    for i in range(count):
        corners = int(dice.integers(3, 12))
        angle = np.sort(dice.uniform(0, 2 * np.pi, corners))
        angle = np.linspace(0, 2 * np.pi, corners, endpoint=False) + 0.1 * angle / corners
        radius = dice.uniform(0.35, 1.0, corners) * dice.uniform(40, 250)
        points = np.column_stack((radius * np.cos(angle), radius * np.sin(angle)))
        found.append(Request(pattern=piece(points.tolist(), name=f"p{i}"), turns_deg=TURNS))
    return found


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000), st.integers(2, 9))
def test_whatever_the_shapes_packs_are_sound_and_complete(seed: int, count: int) -> None:
    parts = make_parts(stars(seed, count), FRAME)
    packs = front_packs(parts, FRAME, extra_mm=10)
    held = sorted(spot.part.index for pack in packs for spot in pack.spots)
    assert held == list(range(count))
    for pack in packs:
        boxes = np.array([spot.box() for spot in pack.spots])
        assert pack.length_mm <= FRAME.longest_mm + 1e-6
        assert boxes[:, 1].min() >= -1e-6
        assert boxes[:, 3].max() <= FRAME.usable_mm + 1e-6
        assert not too_near(pack.patterns(), gap_mm=FRAME.gap_mm)


def test_hollows_are_used_where_stacks_cannot() -> None:
    triangle = piece([(0, 0), (120, 0), (0, 190)], name="triangle")
    frame = make_frame(Stock(width_mm=240, edge_margin_mm=20), gap_mm=4, max_section_mm=None)
    parts = make_parts([Request(pattern=triangle, copies=6)], frame)
    (pack,) = front_packs(parts, frame, extra_mm=10)
    (plain,) = shelf_packs(parts, frame)
    assert pack.length_mm < 0.6 * plain.length_mm


def test_one_piece_and_very_many_are_left_to_others() -> None:
    parts = make_parts([Request(pattern=rectangle(50, 30))], FRAME)
    assert front_packs(parts, FRAME, extra_mm=10) == []
    many = make_parts([Request(pattern=rectangle(50, 30), copies=MOST_PIECES + 1)], FRAME)
    assert front_packs(many, FRAME, extra_mm=10) == []


def test_a_quick_length_is_right_for_boxes() -> None:
    # Four boxes of 280 by 180 mm, two side by side at a quarter turn or three lying.
    box = np.array([(0.0, 0.0), (280.0, 0.0), (280.0, 180.0), (0.0, 180.0)])
    frame = Frame(usable_mm=570, longest_mm=3000, gap_mm=4)
    rims = [turned_rims(box, around_mm=2.0)] * 4
    found = front_layout(rims, frame, ends_mm=10)
    assert sum(len(stretch.spots) for stretch in found) == 4
    assert fronts_length_mm(found, frame, ends_mm=10) == pytest.approx(2 * 180 + 4 + 10, abs=3)


def test_what_fits_at_no_turn_is_left_out() -> None:
    box = np.array([(0.0, 0.0), (700.0, 0.0), (700.0, 600.0), (0.0, 600.0)])
    frame = Frame(usable_mm=570, longest_mm=3000, gap_mm=4)
    assert front_layout([turned_rims(box, around_mm=2.0)], frame, ends_mm=10) == []
