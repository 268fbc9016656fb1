"""The order of sections: what is laid first is cut first, tried against every order."""

from itertools import combinations, permutations

from layflat.nest import Layout, Request, Stock, place
from nest.pieces import rectangle

STOCK = Stock(width_mm=300, edge_margin_mm=20, end_margin_mm=5)


def laid(*lays: int | None, section: float = 110.0) -> Layout:
    requests = [
        Request(pattern=rectangle(100, 240 - 10 * i, name=f"p{i}"), turns_deg=(0.0,), lay=lay)
        for i, lay in enumerate(lays)
    ]
    return place(requests, STOCK, gap_mm=4, seconds=0.05, seed=1, max_section_mm=section)


def test_sections_follow_the_order_of_laying() -> None:
    names = [p.pattern.name for p in laid(3, 1, None, 2).placements]
    assert names == ["p1", "p3", "p0", "p2"]


def test_without_an_order_the_fullest_section_comes_first() -> None:
    names = [p.pattern.name for p in laid(None, None, None).placements]
    assert names == ["p0", "p1", "p2"]


def test_as_few_pairs_as_can_be_are_cut_the_other_way_round() -> None:
    """Six bars, two a section, whatever pairs come out: no order of the sections does better."""
    layout = laid(6, 1, 5, 2, 4, 3, section=220)
    lay_of = {request.pattern.name: request.lay for request in layout.requests}
    sections = [
        [lay_of[p.pattern.name] for p in layout.placements if p.section == i]
        for i in range(len(layout.sections))
    ]

    def wrong(order) -> int:
        return sum(a > b for one, other in combinations(order, 2) for a in one for b in other)

    assert len(sections) == 3
    assert wrong(sections) == min(wrong(order) for order in permutations(sections))
