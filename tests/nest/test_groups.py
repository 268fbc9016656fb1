"""Groups that are dealt: near the best layout, no fuller than sections get, none twice."""

import random

import pytest

from layflat.nest import Request
from layflat.nest.groups import Dealer, Group, grown_areas
from layflat.nest.pack import Pack, Spot, make_pack
from layflat.nest.parts import Frame, Part, make_parts
from nest.pieces import rectangle

FRAME = Frame(usable_mm=100.0, longest_mm=500.0, gap_mm=5.0)
ROOM = 105.0 * 505.0


@pytest.fixture(scope="module")
def parts() -> tuple[Part, ...]:
    """Two pieces of one part, three of another."""
    return make_parts(
        [
            Request(pattern=rectangle(50, 50), copies=2),
            Request(pattern=rectangle(40, 40), copies=3),
        ],
        FRAME,
    )


def two_packs(parts: tuple[Part, ...]) -> list[Pack]:
    """Each part's pieces in a section."""
    return [
        make_pack(Spot(part, 0.0, 60.0 * i, 0.0) for i in range(count))
        for part, count in ((parts[0], 2), (parts[1], 3))
    ]


def dealer(parts: tuple[Part, ...], *, seed: int = 1, room: float = ROOM) -> Dealer:
    return Dealer(grown_areas(parts), room, choice=random.Random(seed))


def test_areas_have_half_the_gap_round_them(parts: tuple[Part, ...]) -> None:
    assert grown_areas(parts) == pytest.approx([55.0**2, 45.0**2], rel=0.01)


def test_a_deal_holds_what_it_takes_apart(parts: tuple[Part, ...]) -> None:
    packs, deals = two_packs(parts), dealer(parts)
    seen: set[Group] = set()
    for _ in range(30):
        deal = deals.next_deal(packs)
        seen.update(deal.groups)
        if deal.out:
            held = deals.group(spot for pack in deal.out for spot in pack.spots)
            assert tuple(map(sum, zip(*deal.groups, strict=True))) == held
    # As they are; joined; given either way; swapped.
    assert {(2, 0), (0, 3), (2, 3), (1, 3), (2, 1), (0, 2), (1, 1), (1, 2)} <= seen


def test_no_group_is_fuller_than_sections_get(parts: tuple[Part, ...]) -> None:
    # All pieces take 0.91 of such a section.
    deals = dealer(parts, room=sum(grown_areas(parts)[i] * (2 + i) for i in (0, 1)) / 0.91)
    for _ in range(30):
        assert (2, 3) not in deals.next_deal(two_packs(parts)).groups


def test_groups_are_not_tried_twice_while_there_are_others(parts: tuple[Part, ...]) -> None:
    packs, deals = two_packs(parts), dealer(parts)
    found = [deals.next_deal(packs) for _ in range(8)]
    fresh = [frozenset(deal.groups) for deal in found if not deal.is_again]
    assert len(set(fresh)) == len(fresh) >= 5


def test_a_single_section_is_packed_anew_as_a_whole(parts: tuple[Part, ...]) -> None:
    packs, deals = two_packs(parts)[:1], dealer(parts)
    assert {deals.next_deal(packs).groups for _ in range(4)} == {((2, 0),)}


def test_what_was_proposed_comes_first_and_once(parts: tuple[Part, ...]) -> None:
    packs, deals = two_packs(parts), dealer(parts)
    deals.propose([(2, 2), (1, 0), (2, 2), (1, 2)])
    groups = {deals.next_deal(packs).groups for _ in range(4)}
    assert groups == {((2, 0),), ((0, 3),), ((2, 2),), ((1, 2),)}


def test_at_last_the_sections_themselves_are_packed_again_in_turn(parts: tuple[Part, ...]) -> None:
    packs, deals = two_packs(parts), dealer(parts)
    found = [deals.next_deal(packs, at_last=True) for _ in range(14)]
    again = [deal.groups[0] for deal in found if deal.is_again]
    assert len(again) >= 4
    assert abs(again.count((2, 0)) - again.count((0, 3))) <= 1


def test_full_groups_leave_large_pieces_their_share_of_small_ones() -> None:
    """Ten large pieces in all, and as much area in small ones: no group is of small ones alone."""
    parts = make_parts(
        [
            Request(pattern=rectangle(50, 50), copies=10),
            Request(pattern=rectangle(10, 10), copies=140),
        ],
        FRAME,
    )
    deals = dealer(parts, room=8 * 55.0**2)
    for _ in range(20):
        large, small = group = deals.full_group((10, 140))
        assert 0.7 <= deals.area(group) / (8 * 55.0**2) <= 0.9
        assert 2 <= large <= 5
        assert small > 20


def test_a_group_need_not_be_all_that_is_left(parts: tuple[Part, ...]) -> None:
    deals = dealer(parts)
    assert deals.full_group((1, 2)) == (1, 2)
    found = {deals.full_group((1, 2), may_be_all=False) for _ in range(20)}
    assert any(sum(group) < 3 for group in found)
    assert all(0 < sum(group) <= 3 for group in found)
