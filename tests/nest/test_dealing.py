"""Deals under way: one group after the other, as long as there is hope."""

import random

import pytest

from layflat.nest import Request
from layflat.nest.dealing import Dealing
from layflat.nest.groups import Deal, Dealer, grown_areas
from layflat.nest.pack import Pack, Spot, make_pack
from layflat.nest.parts import Frame, Part, make_parts
from nest.pieces import rectangle

FRAME = Frame(usable_mm=100.0, longest_mm=500.0, gap_mm=5.0)


@pytest.fixture(scope="module")
def parts() -> tuple[Part, ...]:
    """Two pieces of each of two parts of one size."""
    return make_parts([Request(pattern=rectangle(50, 50), copies=2) for _ in range(2)], FRAME)


def pack(spots: list[Part], *, every_mm: float) -> Pack:
    return make_pack(Spot(part, 0.0, every_mm * i, 0.0) for i, part in enumerate(spots))


def dealing(parts: tuple[Part, ...]) -> Dealing:
    areas = grown_areas(parts)
    dealer = Dealer(areas, 105.0 * 505.0, choice=random.Random(1))
    return Dealing(dealer, None, longest_mm=500.0)


def test_groups_follow_each_other_and_make_a_layout(parts: tuple[Part, ...]) -> None:
    one, other = parts
    best = [pack([one, one], every_mm=100.0), pack([other, other], every_mm=100.0)]
    deals = dealing(parts)
    deals.open(Deal(((2, 1), (0, 1)), tuple(best)), best)
    group, hoped = deals.next_group(best, at_last=False)
    # Three of four pieces may take three quarters of what all take now.
    assert group == (2, 1)
    assert hoped == pytest.approx(0.75 * 300.0)
    first = pack([one, one, other], every_mm=55.0)
    deals.note(first)
    assert deals.packed(group, best) == []
    group, hoped = deals.next_group(best, at_last=False)
    assert group == (0, 1)
    assert hoped == pytest.approx(300.0 - first.length_mm)
    last = pack([other], every_mm=55.0)
    deals.note(last)
    assert deals.packed(group, best) == [[first, last]]


def test_a_deal_whose_first_group_is_too_long_is_dropped(parts: tuple[Part, ...]) -> None:
    one, other = parts
    best = [pack([one, one], every_mm=100.0), pack([other, other], every_mm=100.0)]
    deals = dealing(parts)
    deals.open(Deal(((2, 1), (0, 1)), tuple(best)), best)
    group, _ = deals.next_group(best, at_last=False)
    deals.note(pack([one, one, other], every_mm=120.0))
    assert deals.packed(group, best) == []
    following = [deals.next_group(best, at_last=False)[0] for _ in range(2)]
    assert (0, 1) not in following


def test_a_deal_of_sections_that_are_no_more_there_makes_no_layout(
    parts: tuple[Part, ...],
) -> None:
    one, other = parts
    best = [pack([one, one], every_mm=100.0), pack([other, other], every_mm=100.0)]
    deals = dealing(parts)
    deals.open(Deal(((1, 1), (1, 1)), tuple(best)), best)
    group, _ = deals.next_group(best, at_last=False)
    deals.note(pack([one, other], every_mm=55.0))
    others = [pack([one, other], every_mm=60.0), pack([one, other], every_mm=60.0)]
    assert deals.packed(group, others) == []


def test_the_shortest_pack_of_a_group_is_kept(parts: tuple[Part, ...]) -> None:
    deals = dealing(parts)
    for every in (70.0, 60.0, 80.0):
        deals.note(pack([parts[0], parts[0]], every_mm=every))
    assert [one.length_mm for one in deals.shortest.values()] == [pytest.approx(110.0)]
