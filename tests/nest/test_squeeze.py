"""Pieces moved together all at once: known places, and what must hold whatever lies there."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from layflat.nest import Request
from layflat.nest.check import too_near
from layflat.nest.pack import Pack, Spot, make_pack
from layflat.nest.parts import Frame, Part, make_parts
from layflat.nest.squeeze import parted, squeezed
from layflat.pattern import Pattern
from nest.pieces import bounded, disc, piece, rectangle, stars


def parts_of(*patterns: Pattern, frame: Frame) -> tuple[Part, ...]:
    return make_parts([Request(pattern=p, copies=1, turns_deg=(0.0,)) for p in patterns], frame)


def frame_of(usable_mm: float, *, gap_mm: float = 0.0) -> Frame:
    return Frame(usable_mm=usable_mm, longest_mm=np.inf, gap_mm=gap_mm)


def test_discs_part_to_let_a_third_between_them() -> None:
    """Three discs of 40 on a strip of 100: two at the edges, 60 apart, the third between them."""
    frame = frame_of(100.0)
    discs = parts_of(*(disc(20, name=f"disc {i}") for i in range(3)), frame=frame)
    spots = [Spot(discs[0], 0, 20, 25), Spot(discs[1], 0, 20, 75), Spot(discs[2], 0, 70, 50)]
    pack = squeezed(make_pack(spots), frame, seconds=9)
    # The centre of the third lies √(40² − 30²) behind the others', whose discs begin at 0.
    assert pack.length_mm == pytest.approx(40 + np.sqrt(40**2 - 30**2), abs=0.1)


@pytest.mark.parametrize("turn_deg", [0.0, 180.0])
def test_a_corner_comes_up_to_a_side_and_a_side_to_a_corner(turn_deg: float) -> None:
    frame = frame_of(100.0)
    wedge = piece([(0, 0), (40, 20), (0, 40)], name="wedge")
    first, second = make_parts(
        [Request(pattern=p, copies=1, turns_deg=(turn_deg,)) for p in (wedge, rectangle(30, 40))],
        frame,
    )
    turned = [Spot(part, turn_deg, 0.0, 0.0) for part in (first, second)]
    order = turned if turn_deg == 0.0 else turned[::-1]
    spots = [
        spot._replace(x_mm=at - spot.box()[0], y_mm=-spot.box()[1])
        for spot, at in zip(order, (0.0, 60.0), strict=True)
    ]
    pack = squeezed(make_pack(spots), frame, seconds=9)
    assert pack.length_mm == pytest.approx(70, abs=1e-3)


def test_what_overlaps_already_is_left_as_it_is() -> None:
    frame = frame_of(100.0)
    one, two = parts_of(rectangle(50, 20), rectangle(30, 40), frame=frame)
    pack = make_pack([Spot(one, 0, 0, 0), Spot(two, 0, 40, 0)])
    assert squeezed(pack, frame, seconds=9) is pack


def test_what_overlaps_is_parted_by_no_more_than_it_must() -> None:
    frame = frame_of(100.0)
    one, two = parts_of(rectangle(50, 60), rectangle(30, 60), frame=frame)
    pack = make_pack([Spot(one, 0, 0, 0), Spot(two, 0, 44, 0)])
    apart = parted(pack, frame, most_mm=200.0)
    assert apart is not None
    assert apart.length_mm == pytest.approx(80, abs=1e-3)
    assert not too_near(apart.patterns(), gap_mm=0.0)


def test_pieces_are_parted_across_the_roll_where_that_makes_it_shorter() -> None:
    frame = frame_of(100.0)
    one, two = parts_of(rectangle(50, 50), rectangle(30, 50), frame=frame)
    pack = make_pack([Spot(one, 0, 0, 0), Spot(two, 0, 10, 45)])
    apart = parted(pack, frame, most_mm=200.0)
    assert apart is not None
    assert apart.length_mm == pytest.approx(50, abs=1e-3)


def test_what_stays_too_long_or_finds_no_way_is_not_parted() -> None:
    frame = frame_of(100.0)
    one, two = parts_of(rectangle(50, 60), rectangle(30, 60), frame=frame)
    pack = make_pack([Spot(one, 0, 0, 0), Spot(two, 0, 44, 0)])
    assert parted(pack, frame, most_mm=79.9) is None
    # One piece in the middle of another is farther to move than pieces are moved.
    assert parted(make_pack([Spot(one, 0, 0, 0), Spot(two, 0, 10, 0)]), frame, most_mm=200) is None


@bounded
@given(
    patterns=st.lists(stars(), min_size=2, max_size=6),
    gap_mm=st.sampled_from([0.0, 4.0]),
    levels=st.lists(st.floats(0, 200), min_size=6, max_size=6),
)
def test_pieces_stay_apart_within_the_width_and_take_no_more(
    patterns: list[Pattern], gap_mm: float, levels: list[float]
) -> None:
    frame = frame_of(2000.0, gap_mm=gap_mm)
    spots: list[Spot] = []
    end = 0.0
    for part, level in zip(parts_of(*patterns, frame=frame), levels, strict=False):
        x0, y0, _, _ = part.bounds(0.0)
        spots.append(Spot(part, 0.0, end + 10 + 2 * gap_mm - x0, level - y0))
        end = spots[-1].box()[2]
    pack = make_pack(spots)
    closer: Pack = squeezed(pack, frame, seconds=9)
    assert not too_near(closer.patterns(), gap_mm=gap_mm)
    assert closer.length_mm <= pack.length_mm
    assert [spot[:2] for spot in closer.spots] == [spot[:2] for spot in pack.spots]
    for spot in closer.spots:
        assert spot.box()[1] >= -1e-6
        assert spot.box()[3] <= frame.usable_mm + 1e-6
        assert spot.box()[0] >= -1e-6
