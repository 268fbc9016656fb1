"""The guard must catch what it is there for: every fault is put in on purpose."""

from collections.abc import Callable
from dataclasses import replace

import pytest

from layflat.base import CheckError
from layflat.nest import (
    Layout,
    Placement,
    Request,
    Section,
    Stock,
    check_layout,
)
from nest.pieces import piece, rectangle, two_hooks


def with_second(layout: Layout, **changes: object) -> Layout:
    first, second = layout.placements
    return replace(layout, placements=(first, replace(second, **changes)))


def test_a_sound_layout_passes() -> None:
    check_layout(two_hooks())


def test_a_piece_moved_by_a_tenth_of_a_millimetre_is_caught() -> None:
    with pytest.raises(CheckError, match=r"piece 1 “hook” and piece 2 “hook” are 4\.90 mm apart"):
        check_layout(two_hooks(y_mm=-0.1))


def test_a_hundredth_is_within_the_tolerance() -> None:
    check_layout(two_hooks(y_mm=-0.005))
    with pytest.raises(CheckError, match="apart"):
        check_layout(two_hooks(y_mm=-0.011))


FAULTS: dict[str, tuple[Callable[[Layout], Layout], str]] = {
    "overlap": (lambda good: with_second(good, y_mm=100.0), "overlap"),
    "turned": (lambda good: with_second(good, turn_deg=181.0), "piece 2 “hook” is turned by 181°"),
    "upside down": (
        lambda good: replace(good, requests=(replace(good.requests[0], turns_deg=(0.0,)),)),
        "piece 2 “hook” is turned by 180°",
    ),
    "mirrored": (
        lambda good: with_second(good, mirrored=True, x_mm=10.0),
        "was not asked for like this",
    ),
    "missing": (
        lambda good: replace(good, placements=good.placements[:1]),
        "“hook” is there 1 times instead of 2",
    ),
    "twice": (
        lambda good: replace(
            good, requests=(replace(good.requests[0], copies=1),)
        ),
        "“hook” is there 2 times instead of 1",
    ),
    "roll edge": (
        lambda good: with_second(good, y_mm=115.2),
        r"piece 2 “hook” reaches 0\.20 mm into an edge margin",
    ),
    "other roll edge": (
        lambda good: replace(good, stock=replace(good.stock, edge_margin_mm=20.1)),
        r"piece 1 “hook” reaches 0\.10 mm into an edge margin",
    ),
    "end of the section": (
        lambda good: with_second(good, x_mm=100.5),
        r"piece 2 “hook” reaches 0\.50 mm into an end margin",
    ),
    "no section": (lambda good: with_second(good, section=1), "piece 2 “hook” is in no section"),
    "sections overlap": (
        lambda good: replace(
            good,
            sections=(*good.sections, Section(start_mm=100.0, end_mm=200.0)),
            length_mm=200.0,
        ),
        "section 2 begins before the one before it ends",
    ),
    "more film than said": (
        lambda good: replace(good, length_mm=109.0),
        r"the sections end 1\.00 mm beyond",
    ),
    "numbers": (lambda good: with_second(good, number=3), "not numbered from 1"),
}  # fmt: skip


@pytest.mark.parametrize("fault", FAULTS)
def test_a_fault_is_caught_by_name(fault: str) -> None:
    spoil, message = FAULTS[fault]
    with pytest.raises(CheckError, match=message):
        check_layout(spoil(two_hooks()))


def test_a_gap_across_two_sections_counts() -> None:
    """Without end margins the pieces of two sections may come too near to each other."""
    pattern = rectangle(50, 50)
    placements = tuple(
        Placement(
            pattern=pattern, number=i + 1, copy=i + 1, section=i, turn_deg=0, x_mm=53.0 * i, y_mm=0
        )
        for i in range(2)
    )
    layout = Layout(
        stock=Stock(width_mm=50, edge_margin_mm=0, end_margin_mm=0),
        gap_mm=5,
        placements=placements,
        sections=(Section(start_mm=0, end_mm=51.5), Section(start_mm=51.5, end_mm=103)),
        length_mm=103,
        piece_area_mm2=5000,
        lower_bound_mm=0,
        seed=1,
        seconds=1,
        requests=(Request(pattern=pattern, copies=2),),
    )
    with pytest.raises(CheckError, match=r"are 3\.00 mm apart"):
        check_layout(layout)


def test_a_piece_may_lie_in_another_ones_cut_out_but_not_too_near() -> None:
    hole = [(20, 20), (20, 80), (80, 80), (80, 20)]
    ring = piece([(0, 0), (100, 0), (100, 100), (0, 100)], holes=[hole], name="ring")
    small = rectangle(48, 48, name="small")
    stock = Stock(width_mm=100, edge_margin_mm=0, end_margin_mm=0)

    def layout(at: float) -> Layout:
        return Layout(
            stock=stock,
            gap_mm=5,
            placements=(
                Placement(pattern=ring, number=1, copy=1, section=0, turn_deg=0, x_mm=0, y_mm=0),
                Placement(pattern=small, number=2, copy=1, section=0, turn_deg=0, x_mm=at, y_mm=at),
            ),
            sections=(Section(start_mm=0, end_mm=100),),
            length_mm=100,
            piece_area_mm2=0,
            lower_bound_mm=0,
            seed=1,
            seconds=1,
        )

    check_layout(layout(26.0))
    with pytest.raises(CheckError, match=r"are 4\.50 mm apart"):
        check_layout(layout(24.5))


def test_an_arc_is_measured_as_an_arc() -> None:
    """Two discs of 100 mm, 5 mm apart; and the same, 0.02 mm nearer."""
    pattern = piece([(100, 0), (-100, 0)], bulges=[1, 1], name="disc")

    def layout(distance: float) -> Layout:
        places = ((100.0, 1), (300.0 + distance, 2))
        return Layout(
            stock=Stock(width_mm=200, edge_margin_mm=0, end_margin_mm=0),
            gap_mm=5,
            placements=tuple(
                Placement(
                    pattern=pattern,
                    number=number,
                    copy=number,
                    section=0,
                    turn_deg=0,
                    x_mm=x,
                    y_mm=100,
                )
                for x, number in places
            ),
            sections=(Section(start_mm=0, end_mm=405),),
            length_mm=405,
            piece_area_mm2=0,
            lower_bound_mm=0,
            seed=1,
            seconds=1,
        )

    check_layout(layout(5.0))
    with pytest.raises(CheckError, match="apart"):
        check_layout(layout(4.98))


def test_many_faults_are_counted() -> None:
    good = two_hooks()
    crowd = tuple(replace(good.placements[0], number=i + 1, copy=i + 1) for i in range(6))
    asked = (Request(pattern=good.placements[0].pattern, copies=6),)
    with pytest.raises(CheckError, match="; and 10 more"):
        check_layout(replace(good, placements=crowd, requests=asked))
