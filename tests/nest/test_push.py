"""Pieces pushed along the roll: known places, and what must hold whatever lies there."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from layflat.nest import Request
from layflat.nest.check import too_near
from layflat.nest.pack import Pack, Spot, make_pack
from layflat.nest.parts import Frame, Part, make_parts
from layflat.nest.push import pushed
from layflat.pattern import Pattern
from nest.pieces import HOOK, bounded, disc, piece, rectangle, stars


def parts_of(*patterns: Pattern, gap_mm: float = 0.0) -> tuple[Part, ...]:
    frame = Frame(usable_mm=2000.0, longest_mm=np.inf, gap_mm=gap_mm)
    return make_parts([Request(pattern=p, copies=1, turns_deg=None) for p in patterns], frame)


def xs(pack: Pack) -> list[float]:
    return [spot.x_mm for spot in pack.spots]


def test_rectangles_close_up_to_the_gap() -> None:
    one, two = parts_of(rectangle(50, 20), rectangle(30, 40), gap_mm=6.0)
    pack = pushed(make_pack([Spot(one, 0, 0, 0), Spot(two, 0, 80, 10)]), gap_mm=6.0)
    assert xs(pack) == pytest.approx([0, 56], abs=0.01)
    assert pack.length_mm == pytest.approx(86, abs=0.01)


def test_what_shares_no_level_does_not_hold() -> None:
    one, two = parts_of(rectangle(50, 20), rectangle(30, 40))
    pack = pushed(make_pack([Spot(one, 0, 0, 0), Spot(two, 0, 80, 25)]), gap_mm=0.0)
    assert xs(pack) == [0, 0]


def test_a_piece_slides_into_the_corner_of_another() -> None:
    """The hook is 90 long below and 30 long above; a 40 square above slides to 30."""
    hook, square = parts_of(piece(HOOK), rectangle(40, 30))
    pack = pushed(make_pack([Spot(hook, 0, 0, 0), Spot(square, 0, 120, 30)]), gap_mm=0.0)
    assert xs(pack) == pytest.approx([0, 30], abs=1e-9)
    assert pack.length_mm == pytest.approx(90)


def test_two_discs_touch_where_circles_do() -> None:
    """Centres 60 across and 100 + gap apart in all: x = √((2r + g)² − 60²)."""
    one, two = parts_of(disc(50, name="one"), disc(50, name="two"), gap_mm=4.0)
    pack = pushed(make_pack([Spot(one, 0, 0, 50), Spot(two, 0, 150, 110)]), gap_mm=4.0)
    apart = pack.spots[1].x_mm - pack.spots[0].x_mm
    # Each is drawn outside its circle by up to a hundredth of a millimetre.
    assert apart == pytest.approx(np.sqrt(104**2 - 60**2), abs=0.04)
    assert apart > np.sqrt(104**2 - 60**2) - 1e-3


def test_a_turned_piece_is_pushed_as_it_lies() -> None:
    one, two = parts_of(rectangle(50, 20), rectangle(30, 40))
    pack = pushed(make_pack([Spot(one, 90, 20, 0), Spot(two, 0, 70, 0)]), gap_mm=0.0)
    assert xs(pack) == pytest.approx([20, 20], abs=1e-9)


def test_a_chain_moves_as_a_whole() -> None:
    parts = parts_of(*(rectangle(10, 10, name=f"square {i}") for i in range(6)))
    spots = [Spot(part, 0, 15.0 * i, 0) for i, part in enumerate(parts)]
    # The order in which pieces are named does not matter.
    pack = pushed(make_pack(spots[::-1]), gap_mm=0.0)
    assert sorted(xs(pack)) == pytest.approx([0, 10, 20, 30, 40, 50])


@bounded
@given(
    patterns=st.lists(stars(), min_size=2, max_size=6),
    gap_mm=st.sampled_from([0.0, 4.0]),
    levels=st.lists(st.floats(0, 200), min_size=6, max_size=6),
    turns=st.lists(st.sampled_from([0.0, 37.0, 90.0, 180.0]), min_size=6, max_size=6),
)
def test_pieces_stay_apart_move_left_only_and_cannot_go_on(
    patterns: list[Pattern], gap_mm: float, levels: list[float], turns: list[float]
) -> None:
    parts = parts_of(*patterns, gap_mm=gap_mm)
    spots: list[Spot] = []
    end = 0.0
    for part, level, turn in zip(parts, levels, turns, strict=False):
        spot = Spot(part, turn, 0.0, 0.0)
        x0, y0, _, _ = spot.box()
        spot = spot._replace(x_mm=end + 10 - x0, y_mm=level - y0)
        spots.append(spot)
        end = spot.box()[2]
    pack = make_pack(spots)
    closer = pushed(pack, gap_mm=gap_mm)
    assert not too_near(closer.patterns(), gap_mm=gap_mm)
    assert closer.length_mm <= pack.length_mm + 1e-9
    for before, after in zip(pack.spots, closer.spots, strict=True):
        assert after.x_mm <= before.x_mm + 1e-9
        assert after[:2] == before[:2]
        assert after.y_mm == before.y_mm
    again = pushed(closer, gap_mm=gap_mm)
    assert xs(again) == pytest.approx(xs(closer), abs=1e-6)
    # What does not begin at 0 would, half a millimetre on, be too near to another piece.
    for i, spot in enumerate(closer.spots):
        if spot.box()[0] > 1e-6:
            moved = [*closer.spots]
            moved[i] = spot._replace(x_mm=spot.x_mm - 0.5)
            onward = Pack(tuple(moved), closer.length_mm)
            assert spot.box()[0] < 0.5 or too_near(onward.patterns(), gap_mm=gap_mm)
