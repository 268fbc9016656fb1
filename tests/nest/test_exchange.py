"""Pieces that change places: by closed form, and what must hold whatever lies there."""

import random
import sys
from collections import Counter
from collections.abc import Sequence
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from layflat.nest import (
    Layout,
    Placement,
    Request,
    Section,
    Stock,
    check_layout,
    engine,
    exchange,
    place,
)
from layflat.nest.check import too_near
from layflat.nest.exchange import Exchange
from layflat.nest.pack import Pack, Spot, make_pack
from layflat.nest.parts import Frame, Part, make_parts
from layflat.pattern import Pattern
from nest.pieces import bounded, piece, rectangle

FRAME = Frame(usable_mm=100.0, longest_mm=500.0, gap_mm=0.0)
few = settings(bounded, max_examples=10)


def parts_of(*patterns: Pattern, turns: tuple[float, ...] = (0.0,)) -> tuple[Part, ...]:
    return make_parts([Request(pattern=one, copies=1, turns_deg=turns) for one in patterns], FRAME)


def after_all(best: Sequence[Pack], *, seed: int = 1, steps: int = 60) -> list[Pack]:
    """The layout after so many steps."""
    changes = Exchange(FRAME, choice=random.Random(seed))
    now = list(best)
    for _ in range(steps):
        now = changes.step(now) or now
    return now


def film(packs: Sequence[Pack]) -> float:
    return sum(pack.length_mm for pack in packs)


def pieces(packs: Sequence[Pack]) -> Counter[int]:
    return Counter(spot.part.index for pack in packs for spot in pack.spots)


def test_the_longer_strip_goes_where_there_is_room() -> None:
    """Beside a bar of 100 lies a strip of 80, beside one of 70 a strip of 90: 190 becomes 180."""
    bar, strip, short, longer = parts_of(
        rectangle(100, 50, name="bar"),
        rectangle(80, 40, name="strip"),
        rectangle(70, 50, name="short bar"),
        rectangle(90, 40, name="longer strip"),
    )
    best = [
        make_pack([Spot(bar, 0, 0, 0), Spot(strip, 0, 0, 55)]),
        make_pack([Spot(short, 0, 0, 0), Spot(longer, 0, 0, 55)]),
    ]
    now = after_all(best)
    assert film(now) == pytest.approx(180, abs=0.01)
    assert pieces(now) == pieces(best)


def test_two_of_one_section_change_places() -> None:
    """In rows of 100 + 60 and of 50 + 90 the strips of 60 and 50 change: 160 becomes 150."""
    patterns = [rectangle(100, 50), rectangle(60, 50), rectangle(90, 50), rectangle(50, 50)]
    long, middle, other, least = parts_of(*patterns)
    best = [
        make_pack(
            [
                Spot(long, 0, 0, 0),
                Spot(middle, 0, 100, 0),
                Spot(other, 0, 0, 50),
                Spot(least, 0, 90, 50),
            ]
        )
    ]
    now = after_all(best)
    assert film(now) == pytest.approx(150, abs=0.01)
    assert pieces(now) == pieces(best)


def test_a_piece_comes_in_at_the_turn_at_which_it_is_alike() -> None:
    """The larger of two wedges lies half a turn round, and there is room for it by the other."""
    wedge = [(0, 0), (80, 0), (80, 60), (0, 20)]
    larger = [(90, 60), (0, 60), (0, 0), (90, 40)]
    bar, small, short, large = parts_of(
        rectangle(100, 35, name="bar"),
        piece(wedge, name="wedge"),
        rectangle(70, 35, name="short bar"),
        piece(larger, name="larger wedge"),
        turns=(0.0, 180.0),
    )
    best = [
        make_pack([Spot(bar, 0, 0, 0), Spot(small, 0, 0, 38)]),
        make_pack([Spot(short, 0, 0, 0), Spot(large, 0, 0, 38)]),
    ]
    now = after_all(best)
    assert film(now) == pytest.approx(180, abs=0.01)
    turns = {spot.part.index: spot.turn_deg for pack in now for spot in pack.spots}
    assert turns == {0: 0.0, 1: 180.0, 2: 0.0, 3: 180.0}


def test_pieces_of_one_size_and_unlike_shape_stay_where_they_are() -> None:
    """A change would bring 40 mm; but such ones hardly ever do, and each takes its time."""
    bar, block, short, strip = parts_of(
        rectangle(100, 50), rectangle(44, 44), rectangle(60, 50), rectangle(100, 20)
    )
    best = [
        make_pack([Spot(bar, 0, 0, 0), Spot(block, 0, 0, 52)]),
        make_pack([Spot(short, 0, 0, 0), Spot(strip, 0, 0, 70)]),
    ]
    assert after_all(best) == best


def test_what_the_check_refuses_is_not_handed_out(monkeypatch: pytest.MonkeyPatch) -> None:
    one, other, third = parts_of(rectangle(50, 50), rectangle(52, 50), rectangle(30, 100))
    best = [
        make_pack([Spot(one, 0, 0, 0), Spot(third, 0, 60, 0)]),
        make_pack([Spot(other, 0, 0, 0)]),
    ]

    def overlapping(pack: Pack, frame: Frame, *, most_mm: float) -> Pack:
        return make_pack(spot._replace(x_mm=0.0) for spot in pack.spots)

    monkeypatch.setattr(exchange, "parted", overlapping)
    assert after_all(best) == best


def test_nothing_is_tried_twice_also_where_the_same_places_are_another_section() -> None:
    one, other = parts_of(rectangle(50, 50), rectangle(52, 50))
    changes = Exchange(FRAME, choice=random.Random(1))
    tried: list[object] = []

    def after(*change: object) -> list[Pack]:
        tried.append(change)
        return []

    changes._after = after  # type: ignore[method-assign]
    for _ in range(5):
        pair = [make_pack([Spot(one, 0, 0, 0)]), make_pack([Spot(other, 0, 0, 0)])]
        assert changes.step(pair) == []
    assert len(tried) == 1


def test_a_search_tries_it_beside_its_runs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Two halves make a rectangle: of 200 and 190 mm 200 mm each, of one size 200 and 190."""
    script = tmp_path / "worker.py"
    script.write_text("import time; time.sleep(600)")
    monkeypatch.setattr(engine, "worker_command", lambda: [sys.executable, "-I", str(script)])
    stock = Stock(width_mm=140, edge_margin_mm=20, end_margin_mm=5)
    large, small = (piece([(0, 0), (long, 0), (0, 100)], name="half") for long in (200, 190))
    mixed = Layout(
        stock=stock,
        gap_mm=0.0,
        placements=tuple(
            Placement(
                pattern=pattern,
                number=i,
                copy=1 + i // 3,
                section=i // 3,
                turn_deg=turn,
                x_mm=x,
                y_mm=y,
            )
            for i, (pattern, turn, x, y) in enumerate(
                [
                    (large, 0.0, 5.0, 20.0),
                    (small, 180.0, 205.0, 120.0),
                    (large, 0.0, 215.0, 20.0),
                    (small, 180.0, 415.0, 120.0),
                ],
                start=1,
            )
        ),
        sections=(Section(start_mm=0, end_mm=210), Section(start_mm=210, end_mm=420)),
        length_mm=420,
        piece_area_mm2=39_000,
        lower_bound_mm=0,
        seed=1,
        seconds=1,
    )
    layout = place(
        [Request(pattern=pattern, copies=2) for pattern in (large, small)],
        stock,
        gap_mm=0,
        seconds=2,
        seed=1,
        max_section_mm=212,
        known=(mixed,),
    )
    check_layout(layout)
    assert layout.length_mm == pytest.approx(210 + 200, abs=0.1)


@st.composite
def layouts(draw: st.DrawFn) -> list[Pack]:
    """Sections of blunt wedges of about one size, one behind the other in two rows."""
    count = draw(st.integers(4, 8))
    sizes = st.floats(38, 46)
    patterns = [
        piece([(0, 0), (draw(sizes), 0), (draw(sizes), draw(sizes)), (0, draw(sizes))])
        for _ in range(count)
    ]
    parts = parts_of(*patterns, turns=(0.0, 180.0))
    first = draw(st.integers(2, count - 2))
    return [
        make_pack(
            Spot(part, 0.0, 50.0 * (place // 2), 50.0 * (place % 2))
            for place, part in enumerate(own)
        )
        for own in (parts[:first], parts[first:])
    ]


@few
@given(layouts(), st.integers(0, 99))
def test_no_layout_gets_longer_or_loses_a_piece_or_the_gap(best: list[Pack], seed: int) -> None:
    changes = Exchange(FRAME, choice=random.Random(seed))
    now: Sequence[Pack] = best
    for _ in range(20):
        changed = changes.step(now)
        if not changed:
            continue
        assert film(changed) < film(now)
        assert pieces(changed) == pieces(best)
        for pack in changed:
            assert not too_near(pack.patterns(), gap_mm=0.0)
            assert max(spot.box()[3] for spot in pack.spots) <= FRAME.usable_mm + 1e-6
            assert min(spot.box()[1] for spot in pack.spots) >= -1e-6
        now = changed
