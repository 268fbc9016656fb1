"""A first layout, section after section."""

import random

from layflat.nest import Request
from layflat.nest.groups import Dealer, Group, grown_areas
from layflat.nest.pack import Pack, Spot, make_pack
from layflat.nest.parts import Frame, make_parts
from layflat.nest.peel import Peel
from nest.pieces import rectangle

FRAME = Frame(usable_mm=100.0, longest_mm=500.0, gap_mm=5.0)
PARTS = make_parts(
    [Request(pattern=rectangle(20 + i, 20), copies=1) for i in range(20)],
    FRAME,
)
ROOM = 5 * 25.0 * 35.0
EVERY: Group = (1,) * 20


def laid(group: Group, *, every_mm: float) -> Pack:
    held = [part for part, count in zip(PARTS, group, strict=True) if count]
    return make_pack(Spot(part, 0.0, every_mm * i, 0.0) for i, part in enumerate(held))


def begun(shortest: dict[Group, Pack]) -> Peel:
    deals = Dealer(grown_areas(PARTS), ROOM, choice=random.Random(1))
    return Peel(deals, None, EVERY, shortest, longest_mm=500.0, begin=0.0, seconds=40.0)


def test_of_each_sections_groups_the_densest_stays_and_all_pieces_are_there_once() -> None:
    shortest: dict[Group, Pack] = {}
    peel = begun(shortest)
    tried: list[Group] = []
    now = 0.0
    while (wanted := peel.next_group(now)) is not None:
        group, hoped = wanted
        tried.append(group)
        assert hoped <= 500.0
        shortest.setdefault(group, laid(group, every_mm=40.0 if len(tried) % 3 else 30.0))
        now += 1.0
    assert peel.is_done
    counts = [pack.counts(20) for pack in peel.packs]
    assert tuple(map(sum, zip(*counts, strict=True))) == EVERY
    assert all(counts[0][i] in (0, 1) for i in range(20))
    # The first section had time for several groups, and the third was laid most densely.
    assert peel.packs[0] is shortest[tried[2]]


class Pairs(Dealer):
    """Deals two pieces at a time, where six or so would make a full section."""

    def full_group(self, left: Group, *, may_be_all: bool = True) -> Group:
        del may_be_all
        first = [i for i, count in enumerate(left) if count][:2]
        return tuple(int(i in first) for i in range(len(left)))


def test_more_sections_than_full_ones_take_no_more_time() -> None:
    shortest: dict[Group, Pack] = {}
    deals = Pairs(grown_areas(PARTS), ROOM, choice=random.Random(1))
    peel = Peel(deals, None, EVERY, shortest, longest_mm=500.0, begin=0.0, seconds=40.0)
    now = 0.0
    while (wanted := peel.next_group(now)) is not None:
        shortest[wanted[0]] = laid(wanted[0], every_mm=200.0)
        now += 1.0
    assert len(peel.packs) == 10
    # Past its time each section that is left takes the first group there is.
    assert now <= 50.0


def test_what_fits_by_its_area_alone_is_parted() -> None:
    shortest: dict[Group, Pack] = {}
    deals = Dealer(grown_areas(PARTS), ROOM, choice=random.Random(1))
    five: Group = (1,) * 5 + (0,) * 15
    assert deals.full_group(five) == five
    peel = Peel(deals, None, five, shortest, longest_mm=500.0, begin=0.0, seconds=40.0)
    tries = 0
    while (wanted := peel.next_group(0.01 * tries)) is not None:
        tries += 1
        if sum(wanted[0]) <= 3:
            shortest[wanted[0]] = laid(wanted[0], every_mm=40.0)
        assert tries < 100
    assert peel.is_done
    assert sum(len(pack.spots) for pack in peel.packs) == 5


def test_where_nothing_fits_it_is_given_up() -> None:
    peel = begun({})
    assert peel.next_group(0.0) is not None
    assert peel.next_group(1000.0) is None
    assert not peel.is_done
