"""The whole way with the real engine; budgets are short, results are judged by the check."""

import json
from collections.abc import Callable, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from layflat.base import FitError, InputError, StoppedError
from layflat.nest import Layout, Request, Stock, check_layout, layout_report, place
from layflat.nest import search as searching
from layflat.nest.bound import lower_bound_mm
from layflat.nest.engine import Found
from layflat.nest.parts import make_frame, make_parts
from layflat.nest.race import Outcome
from layflat.nest.shelves import shelf_packs
from layflat.pattern import Pattern, bounds, to_polygon
from layflat.pattern import place as moved
from nest.pieces import HOOK, disc, piece, rectangle, stars

STOCK = Stock(width_mm=300, edge_margin_mm=20, end_margin_mm=5)


def boxes(layout: Layout) -> np.ndarray:
    """(n, 4): the pieces' exact boxes."""
    return np.array(
        [
            bounds(
                moved(
                    p.pattern,
                    turn_deg=p.turn_deg,
                    x_mm=p.x_mm,
                    y_mm=p.y_mm,
                    mirrored=p.mirrored,
                ).outline
            )
            for p in layout.placements
        ]
    )


@pytest.fixture(scope="module")
def mixed() -> Layout:
    """Thirteen pieces of four kinds in sections of at most 400 mm."""
    requests = [
        Request(pattern=piece(HOOK, name="hook"), copies=4),
        Request(pattern=piece(HOOK, name="hook"), copies=3, mirrored=True, turns_deg=(0.0,)),
        Request(pattern=disc(60), copies=4, turns_deg=None),
        Request(pattern=rectangle(250, 80, name="bar"), copies=2, turns_deg=(0.0, 90.0)),
    ]
    return place(requests, STOCK, gap_mm=4, seconds=3, seed=3, max_section_mm=400)


def test_all_pieces_are_there_in_whole_sections(mixed: Layout) -> None:
    check_layout(mixed)
    assert len(mixed.placements) == 13
    assert len(mixed.sections) > 1
    for section in mixed.sections:
        assert section.end_mm - section.start_mm <= 400 + 1e-6
    assert mixed.length_mm == mixed.sections[-1].end_mm


def test_pieces_are_numbered_section_by_section_along_the_roll(mixed: Layout) -> None:
    assert [p.number for p in mixed.placements] == list(range(1, 14))
    keys = [(p.section, box[0]) for p, box in zip(mixed.placements, boxes(mixed), strict=True)]
    for (section, start), (next_section, next_start) in pairwise(keys):
        assert section <= next_section
        # Pieces that were pushed against one another may start at one place, up to rounding.
        assert section < next_section or start <= next_start + 1e-6


def test_copies_are_told_apart(mixed: Layout) -> None:
    hooks = [p.copy for p in mixed.placements if p.pattern.name == "hook" and p.mirrored]
    assert sorted(hooks) == [1, 2, 3]


def test_only_allowed_turns_and_mirrored_as_asked(mixed: Layout) -> None:
    for placement in mixed.placements:
        if placement.pattern.name == "hook":
            allowed = {0.0} if placement.mirrored else {0.0, 180.0}
            assert placement.turn_deg in allowed


def test_the_edge_margin_is_not_the_gap(mixed: Layout) -> None:
    """Pieces come up to the edge margin, not half a gap short of it, and not beyond."""
    low, high = boxes(mixed)[:, 1].min(), boxes(mixed)[:, 3].max()
    assert 20 - 0.01 <= low < 21
    assert high <= 280 + 0.01
    across = [Request(pattern=rectangle(size, 260), turns_deg=(0.0,)) for size in (100, 90)]
    layout = place(across, STOCK, gap_mm=4, seconds=1, seed=1)
    assert boxes(layout)[:, 1] == pytest.approx(20, abs=0.01)
    assert boxes(layout)[:, 3] == pytest.approx(280, abs=0.01)


def test_yield_and_bound_belong_together(mixed: Layout) -> None:
    area = sum(to_polygon(p.pattern, deviation_mm=0.001).area for p in mixed.placements)
    assert mixed.piece_area_mm2 == pytest.approx(area, rel=1e-4)
    assert mixed.yield_ == pytest.approx(area / (mixed.length_mm * 300), rel=1e-4)
    assert 0 < mixed.lower_bound_mm <= mixed.length_mm


def test_the_layout_is_no_longer_than_the_plain_one(mixed: Layout) -> None:
    frame = make_frame(STOCK, gap_mm=4, max_section_mm=400)
    packs = shelf_packs(make_parts(mixed.requests, frame), frame)
    assert mixed.length_mm <= sum(pack.length_mm + 10 for pack in packs) + 1e-6


def test_the_report_is_plain_json_with_the_promised_keys(mixed: Layout) -> None:
    report = json.loads(json.dumps(layout_report(mixed)))
    assert {
        "length_mm",
        "yield",
        "lower_bound_mm",
        "gap_mm",
        "width_mm",
        "edge_margin_mm",
        "sections",
        "placements",
        "seconds",
    } <= set(report)
    assert [n for section in report["sections"] for n in section["pieces"]] == list(range(1, 14))
    assert set(report["placements"][0]) == {
        "piece", "number", "copy", "section", "turn_deg", "mirrored", "x_mm", "y_mm",
    }  # fmt: skip


@settings(deadline=None, derandomize=True, max_examples=6)
@given(
    patterns=st.lists(stars(), min_size=1, max_size=7),
    gap=st.sampled_from([0.0, 3.0, 5.0]),
    turns=st.sampled_from([(0.0,), (0.0, 180.0), (17.0, 90.0), None]),
    section=st.sampled_from([None, 450.0]),
    mirrored=st.booleans(),
)
def test_any_pieces_come_out_as_asked(
    patterns: list[Pattern],
    gap: float,
    turns: tuple[float, ...] | None,
    section: float | None,
    mirrored: bool,
) -> None:
    requests = [
        Request(pattern=pattern, copies=1 + i % 2, turns_deg=turns, mirrored=mirrored)
        for i, pattern in enumerate(patterns)
    ]
    layout = place(requests, STOCK, gap_mm=gap, seconds=0.5, seed=1, max_section_mm=section)
    check_layout(layout)
    assert layout.lower_bound_mm <= layout.length_mm + 1e-6


def test_a_single_piece_needs_no_search() -> None:
    layout = place(
        [Request(pattern=rectangle(100, 40), turns_deg=(0.0, 90.0))],
        STOCK,
        gap_mm=4,
        seconds=100,
        seed=1,
    )
    assert layout.length_mm == pytest.approx(40 + 10)
    assert layout.placements[0].turn_deg == 90.0
    assert layout.notes == ()


def test_a_piece_exactly_as_wide_as_the_roll_is_laid() -> None:
    layout = place(
        [Request(pattern=rectangle(50, 260), copies=2)], STOCK, gap_mm=4, seconds=0.5, seed=1
    )
    assert layout.length_mm == pytest.approx(50 + 4 + 50 + 10, abs=0.05)


@pytest.mark.parametrize("section_mm", [None, 400.0])
def test_where_nothing_is_shorter_nothing_is_searched(
    monkeypatch: pytest.MonkeyPatch, section_mm: float | None
) -> None:
    for name in ("race", "relay"):
        monkeypatch.setattr(searching, name, lambda *_, **__: pytest.fail("the engine was asked"))
    # The longest piece is as long as the layout, whatever lies beside it.
    requests = [
        Request(pattern=rectangle(300, 100), turns_deg=(0.0,)),
        Request(pattern=rectangle(120, 100), copies=2),
    ]
    layout = place(requests, STOCK, gap_mm=4, seconds=100, seed=1, max_section_mm=section_mm)
    assert layout.length_mm == pytest.approx(300 + 10)
    assert layout.length_mm == pytest.approx(layout.lower_bound_mm)
    assert layout.notes == ()


def test_a_run_ends_once_it_has_found_what_no_layout_goes_below(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """By the engine's word; what it found is looked at then."""
    answers = []
    gap = 4.0

    def told(tasks: Any, *, watch: Callable[[Sequence[Outcome]], bool], **_: Any) -> list[Outcome]:
        own = [bound + gap - 10 + more for more in (1.0, 0.0)]
        outcomes = [Outcome(task=tasks[0], found=[Found(length, ())]) for length in own]
        answers.extend(watch([one]) for one in outcomes)
        raise StoppedError("seen")

    requests = [Request(pattern=piece(HOOK), copies=6)]
    frame = make_frame(STOCK, gap_mm=gap, max_section_mm=None)
    bound = lower_bound_mm(make_parts(requests, frame), frame, end_margin_mm=5)
    monkeypatch.setattr(searching, "race", told)
    with pytest.raises(StoppedError):
        place(requests, STOCK, gap_mm=gap, seconds=100, seed=1)
    assert answers == [False, True]


def test_no_limit_gives_one_section() -> None:
    layout = place(
        [Request(pattern=rectangle(200, 200), copies=5)], STOCK, gap_mm=4, seconds=0.5, seed=1
    )
    assert len(layout.sections) == 1


def test_sections_keep_the_gap_when_there_are_no_end_margins() -> None:
    stock = replace(STOCK, end_margin_mm=0)
    layout = place(
        [Request(pattern=rectangle(200, 200), copies=3)],
        stock,
        gap_mm=4,
        seconds=0.5,
        seed=1,
        max_section_mm=250,
    )
    assert [s.start_mm for s in layout.sections] == pytest.approx([0, 204, 408])
    assert layout.lower_bound_mm <= layout.length_mm == pytest.approx(608)


def test_a_short_roll_is_refused_before_the_search_when_even_the_bound_is_too_long() -> None:
    short = replace(STOCK, length_mm=500)
    with pytest.raises(FitError, match=r"has 500 mm left, even the best layout needs 510 mm: 10"):
        place([Request(pattern=rectangle(500, 250))], short, gap_mm=4, seconds=100, seed=1)


def test_a_short_roll_is_refused_after_the_search_with_what_is_missing() -> None:
    """Two L that do not nest: the bound by area would do, the layout does not."""
    short = replace(STOCK, length_mm=150)
    tall = piece([(0, 0), (100, 0), (100, 30), (30, 30), (30, 250), (0, 250)], name="tall")
    requests = [Request(pattern=tall, copies=2, turns_deg=(0.0,))]
    with pytest.raises(FitError, match=r"the best layout that was found needs .* are missing"):
        place(requests, replace(short, length_mm=143), gap_mm=4, seconds=0.5, seed=1)


@pytest.mark.parametrize(
    ("options", "what"),
    [
        ({"seconds": 0.0}, "time budget"),
        ({"seconds": float("nan")}, "time budget"),
        ({"seed": -1}, "seed"),
        ({"gap_mm": -1.0}, "gap"),
    ],
)
def test_absurd_options_are_refused(options: dict[str, float], what: str) -> None:
    chosen = {"gap_mm": 4.0, "seconds": 1.0, "seed": 1, **options}
    with pytest.raises(InputError, match=what):
        place([Request(pattern=rectangle(10, 10))], STOCK, **chosen)


def test_progress_tells_length_yield_and_bound() -> None:
    told: list[tuple[str, float]] = []
    place(
        [Request(pattern=piece(HOOK), copies=6)],
        STOCK,
        gap_mm=4,
        seconds=0.5,
        seed=1,
        progress=lambda step, fraction: told.append((step, fraction)),
    )
    assert all("yield" in step and "possible" in step for step, _ in told)
    fractions = [fraction for _, fraction in told]
    assert fractions == sorted(fractions)
    assert fractions[-1] == 1.0
