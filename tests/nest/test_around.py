"""The search around pinned pieces: they stay, and the result is never longer than the hand's."""

from dataclasses import replace

import numpy as np
import pytest

from layflat.base import InputError, StoppedError
from layflat.nest import (
    Layout,
    Placement,
    Request,
    Stock,
    Stretch,
    check_layout,
    judge_hand,
    place,
)
from layflat.pattern import Pattern
from nest.pieces import HOOK, piece, rectangle

STOCK = Stock(width_mm=340, edge_margin_mm=20, end_margin_mm=5)
GAP_MM = 4.0
LONGEST_MM = 400.0


def shapes() -> list[Pattern]:
    dice = np.random.default_rng(7)
    found = [piece(HOOK, name="hook"), rectangle(280.0, 40.0, name="bar")]
    for number in range(5):
        angles = 2 * np.pi * np.arange(7) / 7
        radii = dice.uniform(40, 95, 7)
        points = np.column_stack((radii * np.cos(angles), radii * np.sin(angles)))
        found.append(piece(points.tolist(), name=f"patch {number}"))
    return found


PATTERNS = shapes()
REQUESTS = [Request(pattern=one, turns_deg=(0.0, 90.0, 180.0, 270.0)) for one in PATTERNS]


def loose(*, apart_mm: float = 30.0, stock: Stock = STOCK) -> Layout:
    """Everything in one row along the roll, far apart, as somebody might put it down first."""
    placements = []
    at = 5.0
    for number, pattern in enumerate(PATTERNS, start=1):
        low = pattern.outline.points_mm.min(axis=0)
        wide = float(np.ptp(pattern.outline.points_mm[:, 0]))
        placements.append(
            Placement(
                pattern=pattern,
                number=number,
                copy=1,
                section=0,
                turn_deg=0.0,
                x_mm=at - float(low[0]),
                y_mm=20.0 - float(low[1]),
            )
        )
        at += wide + apart_mm
    made = Layout(
        stock=stock,
        gap_mm=GAP_MM,
        placements=tuple(placements),
        sections=(),
        length_mm=0.0,
        piece_area_mm2=0.0,
        lower_bound_mm=0.0,
        seed=0,
        seconds=0.0,
        requests=tuple(REQUESTS),
    )
    return judge_hand(made, max_section_mm=LONGEST_MM).require_cuttable()


def around(
    pinned: list[Placement],
    known: list[Layout],
    *,
    stock: Stock = STOCK,
    seconds: float = 0.4,
    **more: object,
) -> Layout:
    return place(
        REQUESTS,
        stock,
        gap_mm=GAP_MM,
        seconds=seconds,
        seed=1,
        max_section_mm=LONGEST_MM,
        pinned=pinned,
        known=known,
        **more,
    )


def stays(pinned: list[Placement], layout: Layout) -> bool:
    """Whether what is pinned is just where it was, to the last digit."""
    lies = {(p.pattern.name, p.turn_deg, p.x_mm, p.y_mm) for p in layout.placements}
    return all((p.pattern.name, p.turn_deg, p.x_mm, p.y_mm) in lies for p in pinned)


def test_what_is_pinned_stays_and_the_rest_closes_up() -> None:
    hand = loose()
    pinned = [hand.placements[0], hand.placements[2]]
    shown: list[Layout] = []
    layout = around(pinned, [hand], watch=shown.append)
    assert stays(pinned, layout)
    check_layout(layout)
    assert judge_hand(layout, max_section_mm=LONGEST_MM).is_cuttable
    assert layout.length_mm < 0.8 * hand.length_mm
    # The hand's own is what everybody sees first, its sections as near together as they go.
    assert shown[0].length_mm <= hand.length_mm
    assert all(stays(pinned, one) for one in shown)
    assert layout.lower_bound_mm <= layout.length_mm


def test_a_layout_that_cannot_be_shortened_stays_as_it_was() -> None:
    hand = around([loose().placements[-1]], [loose()])
    pinned = [*hand.placements]
    again = around(pinned, [hand], seconds=0.1)
    assert again.length_mm == hand.length_mm
    assert stays(pinned, again)
    few = around(pinned[:-1], [hand], seconds=0.01)
    assert few.length_mm <= hand.length_mm + 1e-9


def test_it_is_never_longer_than_the_hand_s_without_any_time() -> None:
    """Six bars in two columns of 70 mm, which putting in the widest first does not find."""
    highs = (30.0, 20.0, 20.0, 30.0, 20.0, 20.0)
    bars = [rectangle(100.0, high, name=f"bar {i}") for i, high in enumerate(highs)]
    stock = Stock(width_mm=110, edge_margin_mm=20, end_margin_mm=5)
    lows = (20.0, 50.0, 70.0)
    hand = replace(
        loose(),
        stock=stock,
        gap_mm=0.0,
        placements=tuple(
            Placement(
                pattern=bar,
                number=i + 1,
                copy=1,
                section=0,
                turn_deg=0.0,
                x_mm=5.0 + 100.0 * (i // 3),
                y_mm=lows[i % 3],
            )
            for i, bar in enumerate(bars)
        ),
    )
    requests = [Request(pattern=bar, turns_deg=(0.0,)) for bar in bars]
    lengths = [
        place(
            requests,
            stock,
            gap_mm=0,
            seconds=1e-6,
            seed=1,
            pinned=hand.placements[:1],
            known=known,
        ).length_mm
        for known in ([hand], [])
    ]
    assert lengths == pytest.approx([210.0, 310.0])


def test_without_a_layout_to_begin_from_the_rest_lies_about_what_is_pinned() -> None:
    # A place that is another to the last digit once the margin is taken off and put on again.
    stock, across = replace(STOCK, edge_margin_mm=20.1), 95.10164301120837
    first = replace(loose().placements[0], x_mm=200.0, y_mm=across, turn_deg=90.0)
    layout = around([first], [], stock=stock)
    assert stays([first], layout)
    check_layout(layout)
    assert len(layout.placements) == len(PATTERNS)


def test_known_layouts_that_do_not_hold_what_is_pinned_are_passed_over() -> None:
    hand = loose()
    moved = replace(hand.placements[2], y_mm=hand.placements[2].y_mm + 40.0)
    layout = around([moved], [hand])
    assert stays([moved], layout)
    check_layout(layout)


def test_it_keeps_clear_of_faults() -> None:
    crease = Stretch(start_mm=395, end_mm=399, reason="crease")
    spoiled = replace(STOCK, faults=(crease,))
    hand = loose()
    pinned = [replace(hand.placements[1], x_mm=420.0)]
    layout = around(pinned, [], stock=spoiled)
    assert stays(pinned, layout)
    check_layout(layout)
    assert layout.sections[0].end_mm <= 395
    assert any("crease" in note for note in layout.notes)


def test_film_that_lies_idle_before_what_is_pinned_is_said() -> None:
    pinned = [replace(loose().placements[1], x_mm=2000.0)]
    layout = around(pinned, [], seconds=0.1)
    assert stays(pinned, layout)
    assert any("mm of film before it are not used" in note for note in layout.notes)


def test_what_cannot_stay_is_refused() -> None:
    first, second, *_ = loose().placements
    with pytest.raises(
        InputError, match=r"What is pinned cannot stay\. It cannot be cut .* overlap"
    ):
        around([first, replace(second, x_mm=first.x_mm)], [])
    with pytest.raises(InputError, match="“hook” is pinned, but it was not asked for like this"):
        around([replace(first, turn_deg=45.0)], [])
    with pytest.raises(InputError, match="“hook” is pinned, but it was not asked for like this"):
        around([first, replace(first, x_mm=300.0)], [])


def test_it_can_be_stopped() -> None:
    hand = loose()
    said: list[float] = []

    def stop(_step: str, done: float) -> None:
        said.append(done)
        if len(said) > 2:
            raise StoppedError("Stopped.")

    with pytest.raises(StoppedError):
        around([hand.placements[0]], [hand], progress=stop, seconds=60)
    said.clear()
    kept = around([hand.placements[0]], [hand], progress=stop, seconds=60, keep_when_stopped=True)
    assert kept.length_mm <= hand.length_mm
    assert any("stopped" in note for note in kept.notes)
