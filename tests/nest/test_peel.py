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


def test_where_nothing_fits_it_is_given_up() -> None:
    peel = begun({})
    assert peel.next_group(0.0) is not None
    assert peel.next_group(1000.0) is None
    assert not peel.is_done
