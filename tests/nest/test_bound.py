import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from layflat.nest import Request
from layflat.nest.bound import lower_bound_mm
from layflat.nest.parts import Frame, make_parts
from layflat.nest.shelves import shelf_packs
from nest.pieces import bounded, disc, piece, rectangle


def bound(requests, *, usable=100.0, longest=np.inf, gap=0.0, end=0.0) -> float:
    frame = Frame(usable_mm=usable, longest_mm=longest, gap_mm=gap)
    return lower_bound_mm(make_parts(requests, frame), frame, end_margin_mm=end)


def test_by_area_without_a_gap() -> None:
    """Ten squares of 20 mm on 100 mm: two columns of five, and no layout is shorter."""
    squares = Request(pattern=rectangle(20, 20), copies=10)
    assert bound([squares]) == pytest.approx(40.0)


def test_by_area_with_a_gap() -> None:
    """Ten squares of 16 mm, 4 mm apart, on 96 mm: the same columns, 36 mm long.

    Grown by half the gap a square has 400 mm² less what its round corners miss: the bound may
    lie below the true least by that much, and never above.
    """
    squares = Request(pattern=rectangle(16, 16), copies=10)
    corners = 10 * (4 - np.pi) * 2**2 / 100
    assert 36.0 - corners - 0.1 <= bound([squares], usable=96, gap=4) <= 36.0


def test_pieces_that_cannot_lie_side_by_side_lie_one_after_the_other() -> None:
    """Five bars of 30 by 51 mm on 100 mm have area for 77 mm, but need 150 mm."""
    bars = Request(pattern=rectangle(30, 51), copies=5)
    assert bound([bars]) == pytest.approx(150.0, rel=1e-3)


def test_a_gap_can_keep_pieces_from_lying_side_by_side() -> None:
    """Two bars of 48 mm and a gap of 5 mm are more than 100 mm, so that all follow each other."""
    bars = Request(pattern=rectangle(30, 48), copies=4)
    assert bound([bars], gap=3) < 80
    assert 4 * 30 <= bound([bars], gap=5) <= 4 * 30 + 3 * 5


def test_triangles_that_interlock_are_not_taken_for_their_boxes() -> None:
    """Two right triangles of 60 by 90 make one rectangle of 60 by 90; their boxes cannot pair."""
    triangles = Request(pattern=piece([(0, 0), (60, 0), (0, 90)]), copies=2)
    assert bound([triangles]) <= 60 + 1e-9


def test_the_longest_piece_counts_at_its_best_turn() -> None:
    """A bar that may be turned needs its short side only, but must fit across."""
    assert bound([Request(pattern=rectangle(80, 10), turns_deg=(0.0, 90.0))]) >= 10
    long_bar = rectangle(300, 10)
    assert bound([Request(pattern=long_bar, turns_deg=(0.0, 90.0))]) == pytest.approx(300)
    assert bound([Request(pattern=long_bar, turns_deg=(0.0,))], end=5) == pytest.approx(310)


def test_cut_outs_are_not_counted_as_film_that_is_needed() -> None:
    frame = [(0, 0), (80, 0), (80, 80), (0, 80)]
    hole = [(10, 10), (10, 70), (70, 70), (70, 10)]
    ring = Request(pattern=piece(frame, holes=[hole]), copies=3)
    full = Request(pattern=piece(frame), copies=3)
    assert bound([ring]) < bound([full]) == pytest.approx(240, rel=1e-3)


def test_every_section_brings_its_ends() -> None:
    """Six squares of 100 mm at most two a section: three sections, each with two ends of 5 mm."""
    squares = Request(pattern=rectangle(100, 100), copies=6)
    assert bound([squares], longest=200, end=5) == pytest.approx(630)


def test_a_free_disc_is_bounded_by_its_diameter() -> None:
    assert bound([Request(pattern=disc(40), turns_deg=None)]) == pytest.approx(80, abs=0.03)


@bounded
@given(
    sides=st.lists(st.tuples(st.floats(5, 90), st.floats(5, 90)), min_size=1, max_size=8),
    gap=st.floats(0, 8),
    limited=st.booleans(),
)
def test_no_layout_is_below_the_bound(sides, gap: float, limited: bool) -> None:
    frame = Frame(usable_mm=100.0, longest_mm=150.0 if limited else np.inf, gap_mm=gap)
    requests = [
        Request(pattern=rectangle(*side), turns_deg=(0.0, 90.0), copies=2) for side in sides
    ]
    parts = make_parts(requests, frame)
    packs = shelf_packs(parts, frame)
    film = sum(pack.length_mm + 10 for pack in packs) + (len(packs) - 1) * max(0, gap - 10)
    assert lower_bound_mm(parts, frame, end_margin_mm=5) <= film + 1e-6
