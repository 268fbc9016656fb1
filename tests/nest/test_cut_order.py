"""The order of sections: what is laid first is cut first, tried against every order."""

from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations, permutations

from layflat.nest import Layout, Request, Stock, check_layout, judge_hand, place
from nest.pieces import rectangle

STOCK = Stock(width_mm=300, edge_margin_mm=20, end_margin_mm=5)


def laid(*lays: int | None, section: float = 110.0) -> Layout:
    requests = [
        Request(pattern=rectangle(100, 240 - 10 * i, name=f"p{i}"), turns_deg=(0.0,), lay=lay)
        for i, lay in enumerate(lays)
    ]
    return place(requests, STOCK, gap_mm=4, seconds=0.05, seed=1, max_section_mm=section)


def lays_by_section(layout: Layout) -> list[list[int]]:
    lay_of = {request.pattern.name: request.lay for request in layout.requests}
    return [
        [lay_of[p.pattern.name] for p in layout.placements if p.section == i]
        for i in range(len(layout.sections))
    ]


def wrong(order: Sequence[Sequence[int]]) -> int:
    """How many pairs of pieces come the other way round."""
    return sum(a > b for one, other in combinations(order, 2) for a in one for b in other)


def test_sections_follow_the_order_of_laying() -> None:
    names = [p.pattern.name for p in laid(3, 1, None, 2).placements]
    assert names == ["p1", "p3", "p0", "p2"]


def test_without_an_order_the_fullest_section_comes_first() -> None:
    names = [p.pattern.name for p in laid(None, None, None).placements]
    assert names == ["p0", "p1", "p2"]


def test_as_few_pairs_as_can_be_are_cut_the_other_way_round() -> None:
    """Six bars, two a section, whatever pairs come out: no order of the sections does better."""
    layout = laid(6, 1, 5, 2, 4, 3, section=220)
    sections = lays_by_section(layout)
    assert len(sections) == 3
    assert wrong(sections) == min(wrong(order) for order in permutations(sections))


def by_hand(*lays: int, across_mm: float) -> Layout:
    """Bars one behind the other along the roll, with a little film between them."""
    requests = [
        Request(pattern=rectangle(100, across_mm - i, name=f"p{i}"), turns_deg=(0.0,), lay=lay)
        for i, lay in enumerate(lays)
    ]
    first = place(requests[:1], STOCK, gap_mm=4, seconds=0.01, seed=1)
    apart = [
        replace(first.placements[0], pattern=one.pattern, number=i + 1, x_mm=5 + 120.0 * i)
        for i, one in enumerate(requests)
    ]
    given = replace(first, placements=tuple(apart), requests=tuple(requests))
    return judge_hand(given, max_section_mm=120).require_cuttable()


def searched_around(hand: Layout, pinned: int) -> Layout:
    return place(
        hand.requests,
        STOCK,
        gap_mm=4,
        seconds=0.3,
        seed=1,
        max_section_mm=120,
        known=[hand],
        pinned=[hand.placements[pinned]],
    )


def test_around_what_is_pinned_sections_follow_the_order_of_laying() -> None:
    """Sections before the one that holds it, and those behind: no order of them does better."""
    hand = by_hand(8, 9, 7, 6, 10, 5, 4, 3, 2, 1, across_mm=120)
    layout = searched_around(hand, pinned=4)
    check_layout(layout)
    assert layout.length_mm < 0.8 * hand.length_mm
    sections = lays_by_section(layout)
    at = next(i for i, lays in enumerate(sections) if 10 in lays)
    assert layout.sections[at].start_mm == hand.sections[4].start_mm
    for run in (sections[:at], sections[at + 1 :]):
        assert wrong(run) == min(wrong(order) for order in permutations(run))
    assert at > 1


def test_what_a_person_arranged_keeps_its_order_where_nothing_is_shorter() -> None:
    """Bars as wide as the film: the sections only close up."""
    layout = searched_around(by_hand(3, 2, 1, across_mm=240), pinned=2)
    assert lays_by_section(layout) == [[3], [2], [1]]
    assert any("is the one that was given" in note for note in layout.notes)
