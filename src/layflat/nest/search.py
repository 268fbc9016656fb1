"""The search for a short layout within a time budget."""

import math
import os
import random
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field

from layflat.base import Progress, StoppedError
from layflat.nest.check import TOLERANCE_MM, too_near
from layflat.nest.cover import best_cover, film_mm
from layflat.nest.engine import Found, Task, whole_seconds
from layflat.nest.fronts import front_packs
from layflat.nest.groups import Neighbours
from layflat.nest.pack import Pack, Spot, make_pack, pack_found, sliced
from layflat.nest.parts import Frame, Part
from layflat.nest.push import pushed
from layflat.nest.race import Outcome, race
from layflat.nest.shelves import shelf_packs

_STRIP_SHARE = 0.3
_GROUP_S = 3.0
_PATIENCE_S = 0.6
_GRACE_PART = 0.05
_GLANCE_S = 0.2
_GLANCE_PART = 0.2
"""How much of the time may go into confirming layouts that are only shown."""
_MOST_SIDE_BY_SIDE = 4
_SEEDS = 1 << 31
_PLAIN = {"stacks": "in stacks", "fronts": "of pieces pushed up in turn"}
"""How a layout is called that no search has made."""


@dataclass
class Search:
    """One search: what it has found, and what it may still spend.

    Attributes:
        parts, frame: what to lay out where.
        extra_mm: film that a section takes besides its pieces.
        seconds: the budget.
        seed: of everything random.
        progress: told the present length and yield beside the bound.
        describe: makes that sentence from a length.
        keep_when_stopped: whether a stop ends the search with what it has found.
        watch: told of the packs of each better layout; None where nobody looks.
        best: the packs of the shortest layout so far.
        notes: sentences on what went wrong.
        source: who made the best layout: "stacks", "fronts" or "engine".
        was_stopped: whether a person ended the search before its time.
    """

    parts: tuple[Part, ...]
    frame: Frame
    extra_mm: float
    seconds: float
    seed: int
    progress: Progress
    describe: Callable[[float], str]
    keep_when_stopped: bool = False
    watch: Callable[[Sequence[Pack]], None] | None = None
    best: list[Pack] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    source: str = "stacks"
    was_stopped: bool = False

    def __post_init__(self) -> None:
        self._started = time.monotonic()
        self._random = random.Random(self.seed)
        self._seeds = _seeds(self.seed, self._random)
        self._pool: list[Pack] = []
        self._failures: dict[str, int] = {}
        self._shown_mm = math.inf
        self._glance_at = self._started
        self._glanced: Found | None = None

    @property
    def demand(self) -> tuple[int, ...]:
        """How many pieces of each part there are to be."""
        return tuple(part.request.copies for part in self.parts)

    def run(self) -> list[Pack]:
        """The packs of the shortest layout found, a section each.

        Raises:
            StoppedError: *progress* raised it; no process is left behind.
        """
        self.best = shelf_packs(self.parts, self.frame)
        self._pool = [*self.best, *(_single(part) for part in self.parts)]
        self._take_fronts()
        self._show()
        self._tell(())
        try:
            if sum(self.demand) > 1:
                self._strip()
            if self._is_sectioned:
                self._sections()
        except StoppedError:
            if not self.keep_when_stopped:
                raise
            self.was_stopped = True
            self.notes.append("The search was stopped; this is the best layout until then.")
        if self.source in _PLAIN and sum(self.demand) > 1:
            self.notes.append(
                f"The layout is the plain one {_PLAIN[self.source]}: the search found none "
                f"shorter in {self.seconds:g} s."
            )
        self.notes += [
            f"The layout engine {why} ({times} times); its last sound layout counted."
            if times > 1
            else f"The layout engine {why}; its last sound layout counted."
            for why, times in self._failures.items()
        ]
        return self.best

    def _take_fronts(self) -> None:
        """Begin from the pieces pushed up in turn, where that is sound and shorter."""
        packs = front_packs(self.parts, self.frame, extra_mm=self.extra_mm)
        if not packs or not all(_is_sound(pack, self.frame) for pack in packs):
            return
        self._pool += packs
        if film_mm(packs, extra_mm=self.extra_mm) < self._film() - 1e-9:
            self.best, self.source = packs, "fronts"

    @property
    def _deadline(self) -> float:
        return self._started + self.seconds

    @property
    def _is_sectioned(self) -> bool:
        """Whether the shortest layout does not go into one section, as far as is known."""
        return len(self.best) > 1

    def _task(self, counts: Sequence[int], *, seconds: float, workers: int | None) -> Task:
        exploration, compression = whole_seconds(seconds)
        held = [(part, count) for part, count in zip(self.parts, counts, strict=True) if count]
        return Task(
            parts=tuple(part for part, _ in held),
            counts=tuple(count for _, count in held),
            frame=self.frame,
            seed=next(self._seeds),
            exploration_s=exploration,
            compression_s=compression,
            workers=workers,
        )

    def _strip(self) -> None:
        """Everything in one strip: the whole layout, or the order to cut sections from."""
        limited = math.isfinite(self.frame.longest_mm)
        half = self._started + _STRIP_SHARE * self.seconds
        inner = self.frame.longest_mm + self.frame.gap_mm

        def watch(outcomes: Sequence[Outcome]) -> bool:
            self._glance(outcomes)
            self._tell(outcomes)
            fits = any(o.found and o.found[-1].length_mm <= inner for o in outcomes)
            return limited and not fits and time.monotonic() > half

        while (left := self._deadline - time.monotonic()) > _PATIENCE_S / 2:
            # The engine overruns whole seconds a little; the grace lets it end by itself.
            grace = _GRACE_PART * left
            task = self._task(self.demand, seconds=left, workers=None)
            outcomes = race([task], deadline=self._deadline + grace, watch=watch)
            self._take(outcomes)
            if outcomes[0].ending == "stopped" and time.monotonic() > self._deadline:
                self.notes.append(
                    f"The search used its whole {self.seconds:g} s; the best layout found by then "
                    "counts."
                )
            if self._is_sectioned or outcomes[0].ending != "done":
                break

    def _sections(self) -> None:
        """Groups of pieces, packed a section each, as long as time remains."""
        neighbours = Neighbours(len(self.parts), choice=self._random)
        side_by_side = max(1, min(_MOST_SIDE_BY_SIDE, os.cpu_count() or 1))

        def watch(_: Sequence[Outcome]) -> bool:
            self._tell(())
            return False

        while time.monotonic() < self._deadline - _PATIENCE_S / 2:
            groups = neighbours.next_groups(self.best, least=side_by_side)
            tasks = [self._task(group, seconds=_GROUP_S, workers=1) for group in groups]
            deadline = min(self._deadline, time.monotonic() + _GROUP_S)
            self._take(race(tasks, deadline=deadline, watch=watch, patience_s=_PATIENCE_S))

    def _take(self, outcomes: Sequence[Outcome]) -> None:
        """Put what was found into the pool and choose anew."""
        fresh: list[Pack] = []
        for outcome in outcomes:
            if outcome.ending not in ("done", "stopped"):
                self._failures[outcome.ending] = self._failures.get(outcome.ending, 0) + 1
            sound = self._last_sound(outcome)
            if sound is not None:
                packs = sliced(self._pushed(sound), self.frame)
                fresh += packs if len(packs) == 1 else [self._pushed(pack) for pack in packs]
        self._choose(fresh)

    def _choose(self, fresh: Sequence[Pack]) -> None:
        if not fresh:
            return
        self._pool = [*self._pool, *fresh]
        chosen = best_cover(self._pool, self.demand, extra_mm=self.extra_mm, fallback=self.best)
        if film_mm(chosen, extra_mm=self.extra_mm) < self._film() - 1e-9:
            self.best, self.source = chosen, "engine"
            self._show()

    def _glance(self, outcomes: Sequence[Outcome]) -> None:
        """Take the newest layout of runs that go on, if somebody watches and it is sound."""
        began = time.monotonic()
        if self.watch is None or began < self._glance_at:
            return
        for outcome in outcomes:
            if outcome.found and outcome.found[-1] is not self._glanced:
                self._glanced = outcome.found[-1]
                pack = pack_found(self._glanced, outcome.task)
                if pack is not None and _is_sound(pack, self.frame):
                    self._choose(sliced(pack, self.frame))
        now = time.monotonic()
        self._glance_at = now + max(_GLANCE_S, (now - began) / _GLANCE_PART)

    def _show(self) -> None:
        if self.watch is not None and self._film() < self._shown_mm - 1e-9:
            self._shown_mm = self._film()
            self.watch(self.best)

    def _last_sound(self, outcome: Outcome) -> Pack | None:
        """The best of a run's last layouts that independent geometry confirms."""
        for found in reversed(outcome.found):
            pack = pack_found(found, outcome.task)
            if pack is not None and _is_sound(pack, self.frame):
                return pack
            self._failures["reported a layout that the check refused"] = 1
        return None

    def _pushed(self, pack: Pack) -> Pack:
        """The pack pushed together, as long as independent geometry confirms it."""
        closer = pushed(pack, gap_mm=self.frame.gap_mm)
        return closer if _is_sound(closer, self.frame) else pack

    def _film(self) -> float:
        return film_mm(self.best, extra_mm=self.extra_mm)

    def _tell(self, outcomes: Sequence[Outcome]) -> None:
        length = self._film()
        for outcome in outcomes:
            if outcome.found and outcome.found[-1].length_mm - self.frame.gap_mm <= (
                self.frame.longest_mm
            ):
                found = outcome.found[-1].length_mm - self.frame.gap_mm + self.extra_mm
                length = min(length, found)
        done = (time.monotonic() - self._started) / self.seconds
        self.progress(self.describe(length), min(1.0, done))


def _seeds(first: int, choice: random.Random) -> Iterator[int]:
    """The seeds of the engine's runs: the one that was given, then others."""
    yield first % _SEEDS
    while True:
        yield choice.randrange(_SEEDS)


def _single(part: Part) -> Pack:
    """One piece by itself, at the turn at which it takes the least length."""
    packs = [make_pack([Spot(part, turn, 0.0, 0.0)]) for turn in part.fitting]
    best = min(packs, key=lambda pack: pack.length_mm)
    # Against the lower edge margin.
    spot = best.spots[0]
    return make_pack([spot._replace(y_mm=spot.y_mm - spot.box()[1])])


def _is_sound(pack: Pack, frame: Frame) -> bool:
    """Whether the pieces of a pack lie within the usable width and a gap apart."""
    boxes = [spot.box() for spot in pack.spots]
    low, high = min(box[1] for box in boxes), max(box[3] for box in boxes)
    if low < -TOLERANCE_MM or high > frame.usable_mm + TOLERANCE_MM:
        return False
    return not too_near(pack.patterns(), gap_mm=frame.gap_mm)
