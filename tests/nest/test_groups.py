import random

from layflat.nest import Request
from layflat.nest.groups import Neighbours
from layflat.nest.pack import Pack, Spot, make_pack
from layflat.nest.parts import Frame, make_parts
from nest.pieces import rectangle


def two_packs() -> list[Pack]:
    """Two pieces of one part in a section, three of another in the next."""
    frame = Frame(usable_mm=100.0, longest_mm=500.0, gap_mm=5.0)
    first, second = make_parts(
        [
            Request(pattern=rectangle(50, 50), copies=2),
            Request(pattern=rectangle(40, 40), copies=3),
        ],
        frame,
    )
    return [
        make_pack(Spot(part, 0.0, 60.0 * i, 0.0) for i in range(count))
        for part, count in ((first, 2), (second, 3))
    ]


def test_all_moves_near_a_layout_are_found_and_none_other() -> None:
    """Joined; one given either way (a piece by itself needs no search); one swapped."""
    neighbours = Neighbours(2, choice=random.Random(1))
    packs = two_packs()
    seen = set()
    for _ in range(10):
        groups = neighbours.next_groups(packs, least=1)
        assert groups
        seen.update(groups)
    assert seen == {(2, 3), (1, 3), (2, 1), (0, 2), (1, 1), (1, 2)}


def test_groups_are_not_tried_twice_while_there_are_others() -> None:
    neighbours = Neighbours(2, choice=random.Random(1))
    groups = neighbours.next_groups(two_packs(), least=6)
    assert len(groups) == len(set(groups)) == 6


def test_a_single_section_is_packed_anew_as_a_whole() -> None:
    neighbours = Neighbours(2, choice=random.Random(1))
    (group,) = neighbours.next_groups(two_packs()[:1], least=4)
    assert group == (2, 0)
