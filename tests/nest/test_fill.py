"""Small pieces in the waste of packed sections."""

import random
from dataclasses import replace

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from layflat.nest import Request, fill
from layflat.nest.closer import is_sound
from layflat.nest.dealing import Dealing
from layflat.nest.fill import Filler
from layflat.nest.groups import Dealer, grown_areas
from layflat.nest.pack import Pack, Spot, make_pack
from layflat.nest.parts import Frame, Part, make_parts
from layflat.nest.peel import Peel
from layflat.pattern import Pattern
from nest.pieces import bounded, disc, piece, rectangle, stars

FRAME = Frame(usable_mm=100.0, longest_mm=500.0, gap_mm=5.0)
QUARTERS = (0.0, 90.0, 180.0, 270.0)
few = settings(bounded, max_examples=8)


def parts_of(*patterns: Pattern, copies: int = 1, turns: tuple[float, ...] = (0.0,)) -> list[Part]:
    requests = [Request(pattern=one, copies=copies, turns_deg=turns) for one in patterns]
    return list(make_parts(requests, FRAME))


def walls(wall: Part, *, slot_mm: float) -> Pack:
    """Two walls across the whole width, with a slot between them."""
    along = wall.bounds(0.0)[2]
    return make_pack([Spot(wall, 0.0, 0.0, 0.0), Spot(wall, 0.0, along + slot_mm, 0.0)])


@pytest.mark.parametrize(("slot", "held"), [(29.8, 0), (30.2, 1), (54.8, 1), (55.2, 2)])
def test_a_slot_holds_what_the_gaps_leave_room_for(slot: float, held: int) -> None:
    # n pieces of 20 mm with a gap of 5 mm on either side of each take 25 n + 5.
    wall, small = parts_of(rectangle(40, 100), rectangle(20, 90), copies=2)
    pack = walls(wall, slot_mm=slot)
    fuller = Filler([wall, small], FRAME).filled(pack, (0, 2))
    assert len(fuller.spots) == 2 + held
    assert fuller.length_mm == pack.length_mm
    assert (fuller is pack) == (held == 0)


def test_no_more_goes_in_than_there_is_and_it_is_turned_where_that_helps() -> None:
    wall, small = parts_of(rectangle(40, 100), rectangle(90, 10), turns=QUARTERS)
    fuller = Filler([wall, small], FRAME).filled(walls(wall, slot_mm=80.0), (0, 1))
    assert [spot.turn_deg % 180.0 for spot in fuller.spots[2:]] == [90.0]
    assert Filler([wall, small], FRAME).filled(fuller, (0, 0)) is fuller


def test_a_hollow_is_waste_too_but_a_cut_out_of_a_piece_is_not() -> None:
    frame = [(0, 0), (100, 0), (100, 100), (0, 100)]
    hollow = piece(
        [(0, 0), (100, 0), (100, 100), (80, 100), (80, 20), (20, 20), (20, 100), (0, 100)]
    )
    closed = piece(frame, holes=[[(20, 20), (20, 90), (80, 90), (80, 20)]])
    cup = disc(20)
    for around, held in ((hollow, 1), (closed, 0)):
        large, small = parts_of(around, cup)
        pack = make_pack([Spot(large, 0.0, 0.0, 0.0)])
        assert len(Filler([large, small], FRAME).filled(pack, (0, 1)).spots) == 1 + held


class Nowhere:
    """No-fit regions that keep nothing apart."""

    def region(self, *_: object) -> shapely.Geometry:
        return shapely.Polygon()


def test_what_independent_geometry_refuses_is_left_out(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(fill, "NoFit", lambda *_, **__: Nowhere())
    wall, small = parts_of(rectangle(40, 100), rectangle(20, 90))
    pack = walls(wall, slot_mm=28.0)
    assert Filler([wall, small], FRAME).filled(pack, (0, 1)) is pack


@few
@given(
    large=st.lists(stars(), min_size=2, max_size=2),
    small=st.integers(8, 30),
    apart=st.floats(0, 60),
)
def test_a_filled_pack_is_sound_and_no_longer(
    large: list[Pattern], small: int, apart: float
) -> None:
    frame = Frame(usable_mm=260.0, longest_mm=2000.0, gap_mm=4.0)
    requests = [Request(pattern=one, copies=3, turns_deg=QUARTERS) for one in large]
    requests.append(Request(pattern=rectangle(small, 2 * small), copies=3, turns_deg=QUARTERS))
    parts = make_parts(requests, frame)
    spots: list[Spot] = []
    at = 0.0
    for part in parts[:-1]:
        x0, y0, x1, _ = part.bounds(0.0)
        spots.append(Spot(part, 0.0, at - x0, -y0))
        at += x1 - x0 + frame.gap_mm + apart
    pack = make_pack(spots)
    fuller = Filler(parts, frame).filled(pack, (0,) * len(large) + (3,))
    assert fuller.spots[: len(spots)] == pack.spots
    assert fuller.length_mm == pack.length_mm
    assert len(fuller.spots) <= len(spots) + 3
    assert is_sound(fuller, frame)
    assert max(spot.box()[2] for spot in fuller.spots) <= pack.length_mm + 1e-6
    assert min(spot.box()[0] for spot in fuller.spots) >= -1e-6


def test_a_section_gives_its_small_pieces_to_the_waste_of_another() -> None:
    wall, small, other = parts_of(
        rectangle(40, 100), rectangle(20, 90), rectangle(30, 100), copies=2
    )
    parts = [wall, small, other]
    dealer = Dealer(grown_areas(parts), 105.0 * 505.0, choice=random.Random(1))
    deals = Dealing(dealer, Filler(parts, FRAME), longest_mm=500.0)
    first = walls(wall, slot_mm=31.0)
    giver = make_pack(
        [
            Spot(other, 0.0, 0.0, 0.0),
            Spot(small, 0.0, 35.0, 0.0),
            Spot(other, 0.0, 100.0, 0.0),
        ]
    )
    best = [first, giver]
    group, hoped = deals.next_group(best, at_last=False)
    assert group == (0, 0, 2)
    assert hoped == pytest.approx(giver.length_mm)
    rest = make_pack([Spot(other, 0.0, 0.0, 0.0), Spot(other, 0.0, 35.0, 0.0)])
    deals.note(rest)
    (layout,) = deals.packed(group, best)
    assert layout[1] is rest
    assert layout[0].length_mm == first.length_mm
    assert layout[0].counts(3) == (2, 1, 0)
    # Each section gives once: what follows is another deal.
    assert deals.next_group(best, at_last=False)[0] != (0, 0, 2)


class All:
    """A filler that finds room for everything."""

    def __init__(self, part: Part) -> None:
        self._part = part

    def filled(self, pack: Pack, spare: tuple[int, ...]) -> Pack:
        added = [Spot(self._part, 0.0, 0.0, 0.0)] * spare[self._part.index]
        return replace(pack, spots=(*pack.spots, *added))


def test_a_first_layout_fills_each_section_with_what_is_left() -> None:
    (small,) = parts_of(rectangle(20, 90), copies=9)
    dealer = Dealer(grown_areas([small]), 3 * 25.0 * 95.0, choice=random.Random(1))
    shortest: dict[tuple[int, ...], Pack] = {}
    peel = Peel(dealer, All(small), (9,), shortest, longest_mm=500.0, begin=0.0, seconds=10.0)
    wanted = peel.next_group(0.0)
    assert wanted is not None
    assert sum(wanted[0]) < 9
    shortest[wanted[0]] = make_pack(Spot(small, 0.0, 25.0 * k, 0.0) for k in range(sum(wanted[0])))
    assert peel.next_group(100.0) is None
    assert peel.is_done
    assert [len(pack.spots) for pack in peel.packs] == [9]
