"""Somebody watches the search: each layout told of is sound and shorter than the one before."""

import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from typing import Any

import pytest

from layflat.base import StoppedError
from layflat.nest import Layout, Request, Stock, check_layout, place
from layflat.nest import search as searching
from layflat.nest.engine import Task
from layflat.nest.parts import make_frame, make_parts
from layflat.nest.race import Outcome, race, relay
from nest.pieces import HOOK, disc, piece, rectangle

STOCK = Stock(width_mm=300, edge_margin_mm=20, end_margin_mm=5)
REQUESTS = [
    Request(pattern=piece(HOOK, name="hook"), copies=6),
    Request(pattern=disc(60), copies=3, turns_deg=None),
]


@pytest.mark.parametrize("section_mm", [None, 400.0])
def test_what_is_told_is_sound_and_ever_shorter(section_mm: float | None) -> None:
    told: list[Layout] = []
    layout = place(
        REQUESTS, STOCK, gap_mm=4, seconds=1, seed=2, max_section_mm=section_mm, watch=told.append
    )
    lengths = [one.length_mm for one in told]
    assert lengths == sorted(lengths, reverse=True)
    assert len(set(lengths)) == len(lengths) >= 1
    for one in told:
        check_layout(one)
        assert one.lower_bound_mm == layout.lower_bound_mm
    assert layout.length_mm == lengths[-1]


def test_a_run_is_looked_into_before_it_ends(monkeypatch: pytest.MonkeyPatch) -> None:
    told: list[Layout] = []
    before_the_end: list[int] = []

    def to_the_first_better(tasks: Any, **_: Any) -> list[Outcome]:
        """The engine until it beats the plain layout; the watcher is asked once, before the end."""
        plain_mm = told[0].length_mm

        def is_better(outcomes: Sequence[Outcome]) -> bool:
            found = outcomes[0].found
            return bool(found) and found[-1].length_mm + 10 < plain_mm

        outcomes = race(tasks, deadline=time.monotonic() + 60, watch=is_better)
        asked["watch"](outcomes)
        before_the_end.append(len(told))
        return outcomes

    asked: dict[str, Callable[[Sequence[Outcome]], bool]] = {}

    def noted(tasks: Any, *, watch: Callable[[Sequence[Outcome]], bool], **more: Any) -> Any:
        asked["watch"] = watch
        return to_the_first_better(tasks, **more)

    monkeypatch.setattr(searching, "race", noted)
    place(REQUESTS, STOCK, gap_mm=4, seconds=600, seed=2, watch=told.append)
    assert before_the_end[0] == 2


def test_who_watches_may_end_the_search() -> None:
    def enough(_: Layout) -> None:
        raise StoppedError("Enough.")

    with pytest.raises(StoppedError):
        place(REQUESTS, STOCK, gap_mm=4, seconds=60, seed=2, watch=enough)


def test_one_piece_is_told_of_too() -> None:
    told: list[Layout] = []
    one = [Request(pattern=rectangle(100, 40))]
    layout = place(one, STOCK, gap_mm=4, seconds=60, seed=1, watch=told.append)
    assert [item.placements for item in told] == [layout.placements]


def test_runs_follow_each_other_and_none_is_left_when_nobody_asks_any_more() -> None:
    frame = make_frame(STOCK, gap_mm=4, max_section_mm=None)
    parts = make_parts(REQUESTS[:1], frame)
    asked: list[int] = []

    def tasks() -> Iterator[Task]:
        for seed in range(5):
            asked.append(seed)
            yield Task(
                parts=parts,
                counts=(2,),
                frame=frame,
                seed=seed,
                exploration_s=600,
                compression_s=600,
                workers=1,
                patience_s=0.02,
                hopes=((600.0, 1.0),),
            )

    runs = relay(tasks(), at_once=2, deadline=time.monotonic() + 60, watch=lambda: None)
    first = next(runs)
    assert first.ending == "done"
    assert first.found
    assert asked == [0, 1]
    next(runs)
    assert len(asked) <= 3
    runs.close()
    assert list(runs) == []


def test_a_run_that_is_too_long_for_its_place_ends_by_itself() -> None:
    frame = make_frame(STOCK, gap_mm=4, max_section_mm=None)
    parts = make_parts(REQUESTS, frame)
    task = Task(
        parts=parts, counts=(6, 3), frame=frame, seed=1, exploration_s=600, compression_s=600
    )
    hopeless = replace(task, hopes=((0.05, 1.0),))
    outcomes = race([hopeless], deadline=time.monotonic() + 20, watch=lambda _: False)
    assert outcomes[0].ending == "done"
