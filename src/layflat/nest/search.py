"""The search for a short layout within a time budget."""

import math
import os
import random
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass, field, replace

from layflat.base import Progress, StoppedError
from layflat.nest.check import TOLERANCE_MM
from layflat.nest.closer import closer, is_sound, last_sound
from layflat.nest.cover import best_cover, film_mm
from layflat.nest.dealing import Dealing, run_limits
from layflat.nest.engine import Found, Task, run_seeds, whole_seconds
from layflat.nest.exchange import Exchange
from layflat.nest.faults import WHOLE, Window
from layflat.nest.fill import Filler
from layflat.nest.fronts import front_packs
from layflat.nest.groups import Dealer, Group, grown_areas
from layflat.nest.pace import Pace
from layflat.nest.pack import Pack, pack_found, single_pack, sliced_ways
from layflat.nest.parts import Frame, Part
from layflat.nest.race import Outcome, race, relay
from layflat.nest.shelves import shelf_packs

_STRIP_SHARE, _STRIP_SHARE_KNOWN, _STRIP_SHARE_MANY = 0.3, 0.1, 0.05
"""How much of the time one strip of everything gets where sections are limited: at first; where
sections are known already; where there is time to deal pieces to several sections."""
_MANY_S = 2.0
"""So many seconds for each section are time enough for that."""
_STRIP_SHARE_NEARLY = 0.7
_NEARLY = 1.12
"""A strip that is no longer than so many sections may yet fit into one, and is searched on."""
_GROUP_S = 16.0
"""What a group is given at most."""
_AT_LAST = 0.25
"""In this last part of the time sections are mostly packed again as they are."""
_PEEL_PART = 0.25
"""How much of the rest of the time goes into a first layout, section after section."""
_CHOICE_PART, _DENSEST = 0.05, 250
"""How much of the time may go into choosing from all packs there are, so many at most."""
_EXCHANGE_PART = 0.25
"""How much of the time, before its last part, goes into changes of places."""
_LEAST_S = 0.15
_CLOSER_PART, _CLOSER_S = 0.02, 0.7
"""How much of the time, at most so many seconds, pushing a strip together may take."""
_LAST_FOUND = 3
"""So many of a strip's last layouts are moved together: the shortest need not stay it."""
_GLANCE_S = 0.2
_GLANCE_PART = 0.2
"""How much of the time may go into confirming layouts that are only shown."""
_MOST_SIDE_BY_SIDE = 4
_PLAIN = {"stacks": "in stacks", "fronts": "of pieces pushed up in turn"}
"""How a layout is called that no search has made."""


@dataclass
class Search:
    """One search: what it has found, and what it may still spend.

    Attributes:
        parts, frame: what to lay out where.
        extra_mm: film that a section takes besides its pieces.
        windows: the sound film of the roll.
        seconds: the budget.
        seed: of everything random.
        progress: told the present length and yield beside the bound.
        describe: makes that sentence from a length.
        keep_when_stopped: whether a stop ends the search with what it has found.
        watch: told of the packs of each better layout; None where nobody looks.
        known: packs to begin from.
        least_mm: the film that no layout goes below: one that is no longer ends the search.
        best: the packs of the shortest layout so far.
        notes: sentences on what went wrong.
        source: who made the best layout: "stacks", "fronts", "known" or "engine".
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
    windows: Sequence[Window] = WHOLE
    known: Sequence[Pack] = ()
    least_mm: float = 0.0
    best: list[Pack] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    source: str = "stacks"
    was_stopped: bool = False

    def __post_init__(self) -> None:
        self._started = time.monotonic()
        self._random = random.Random(self.seed)
        self._seeds = run_seeds(self.seed, self._random)
        self._pool: list[Pack] = []
        gap = self.frame.gap_mm
        self._dealer = Dealer(
            grown_areas(self.parts),
            (self.frame.usable_mm + gap) * (self._longest_first_mm + gap),
            choice=self._random,
        )
        self._dealing = Dealing(
            self._dealer, Filler(self.parts, self.frame), longest_mm=self._longest_first_mm
        )
        self._exchange = Exchange(self.frame, choice=random.Random(self.seed))
        self._exchanging, self._is_peeling = Pace(_EXCHANGE_PART), False
        self._asked: dict[Task, Group] = {}
        self._choosing = Pace(_CHOICE_PART)
        self._failures: dict[str, int] = {}
        self._shown_mm = math.inf
        self._glancing = Pace(_GLANCE_PART, least_s=_GLANCE_S)
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
        plain = shelf_packs(self.parts, self.frame)
        last = len(self.windows) - 1
        self.best = [replace(pack, window=last) for pack in plain]
        self._pool = [*plain, *(single_pack(part) for part in self.parts)]
        for pack in self._pool:
            self._dealing.note(pack)
        # At once: what follows may take a second or two with many pieces.
        self._show()
        if self._has_faults:
            self._choose([pack for one in plain for pack in self._cut_up(one)], source="stacks")
        longest = self.frame.longest_mm + TOLERANCE_MM
        self._choose(
            [
                pack
                for one in self.known
                if one.length_mm <= longest and is_sound(one, self.frame)
                for pack in self._cut_up(one)
            ],
            source="known",
        )
        if self.source != "known":
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
        if self.source in _PLAIN and self._deadline > self._started and sum(self.demand) > 1:
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
        if not packs or not all(is_sound(pack, self.frame) for pack in packs):
            return
        if self._has_faults:
            self._choose([pack for one in packs for pack in self._cut_up(one)], source="fronts")
            return
        self._pool += packs
        self._better(packs, source="fronts")

    @property
    def _deadline(self) -> float:
        """When the search ends: at once, where nothing is shorter."""
        is_least = self._film() <= self.least_mm + TOLERANCE_MM
        return self._started + (0.0 if is_least else self.seconds)

    @property
    def _has_faults(self) -> bool:
        return len(self.windows) > 1

    @property
    def _longest_first_mm(self) -> float:
        """The longest stretch of pieces that goes into one section before any fault."""
        return min(self.frame.longest_mm, self.windows[0].length_mm - self.extra_mm)

    def _cut_up(self, pack: Pack) -> list[Pack]:
        """A pack cut into sections, also so that a first one fills each window between faults."""
        firsts = [window.length_mm - self.extra_mm for window in self.windows]
        return sliced_ways(pack, self.frame, firsts_mm=firsts)

    @property
    def _is_sectioned(self) -> bool:
        """Whether the shortest layout does not go into one section, as far as is known."""
        return len(self.best) > 1

    @property
    def _has_time(self) -> bool:
        """Whether there will be several sections, and time to deal pieces to each."""
        sections = self._dealer.sections(self.demand)
        return sections > 1 and self.seconds > _MANY_S * sections

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
        limited = math.isfinite(self._longest_first_mm)
        share = _STRIP_SHARE if not self.known else _STRIP_SHARE_KNOWN
        share = _STRIP_SHARE_MANY if self._has_time else share
        half = self._started + share * self.seconds
        nearly = self._started + max(share, _STRIP_SHARE_NEARLY) * self.seconds
        inner = self._longest_first_mm + self.frame.gap_mm

        def watch(outcomes: Sequence[Outcome]) -> bool:
            self._glance(outcomes)
            if self._tell(outcomes) <= self.least_mm + TOLERANCE_MM:
                return True
            fits = any(o.found and o.found[-1].length_mm <= inner for o in outcomes)
            near = any(o.found and o.found[-1].length_mm <= _NEARLY * inner for o in outcomes)
            return limited and not fits and time.monotonic() > (nearly if near else half)

        while (left := self._deadline - time.monotonic()) > _LEAST_S:
            # The last part of the time is for moving the engine's layouts together. It counts in
            # whole seconds, and its last ones must not be cut off: its steps are finest then.
            until = self._deadline - min(_CLOSER_PART * left, _CLOSER_S)
            whole = math.floor(until - time.monotonic())
            task = self._task(self.demand, seconds=whole, workers=None)
            outcomes = race([task], deadline=until, watch=watch)
            is_over = time.monotonic() > until
            self._take(outcomes, last=_LAST_FOUND)
            if outcomes[0].ending == "stopped" and is_over:
                self.notes.append(
                    f"The search used its whole {self.seconds:g} s; the best layout found by then "
                    "counts."
                )
            if self._is_sectioned or outcomes[0].ending != "done":
                break

    def _sections(self) -> None:
        """Groups of pieces, packed a section each, as long as time remains."""
        outcomes = relay(
            self._group_tasks(),
            at_once=max(1, min(_MOST_SIDE_BY_SIDE, os.cpu_count() or 1)),
            deadline=self._deadline,
            watch=self._while_packing,
        )
        with closing(outcomes):
            for outcome in outcomes:
                self._take([outcome])
                for packs in self._dealing.packed(self._asked.pop(outcome.task), self.best):
                    if not self._has_faults:
                        self._better(packs, source="engine")

    def _while_packing(self) -> None:
        """What is done beside the engine's runs: pieces change places."""
        self._tell(())
        left = self._deadline - time.monotonic()
        is_due = self._exchanging.is_due or left < _AT_LAST * self.seconds
        if self._has_faults or self._is_peeling or not is_due or left < 0:
            return
        with self._exchanging.working():
            packs = self._exchange.step(self.best)
        for pack in packs:
            self._dealing.note(pack)
        if packs:
            self._better(packs, source="engine")

    def _group_tasks(self) -> Iterator[Task]:
        """Each next group to pack."""
        now = time.monotonic()
        seconds = _PEEL_PART * (self._deadline - now)
        peel = self._dealing.peel(self.demand, begin=now, seconds=seconds)
        self._is_peeling = not self.known and self._has_time
        while (now := time.monotonic()) < self._deadline - _LEAST_S:
            at_last = now > self._deadline - _AT_LAST * self.seconds
            wanted = peel.next_group(now) if self._is_peeling else None
            if self._is_peeling and wanted is None:
                self._is_peeling = False
                if peel.is_done:
                    self._better(peel.packs, source="engine")
            group, hoped = wanted or self._dealing.next_group(self.best, at_last=at_last)
            task = self._task(group, seconds=_GROUP_S, workers=1)
            task = run_limits(task, hoped, at_last=at_last)
            self._asked[task] = group
            yield task

    def _take(self, outcomes: Sequence[Outcome], *, last: int = 1) -> None:
        """Put what was found into the pool, the last layouts of each run, and choose anew."""
        fresh: list[Pack] = []
        for outcome in outcomes:
            if outcome.ending not in ("done", "stopped"):
                self._failures[outcome.ending] = self._failures.get(outcome.ending, 0) + 1
            sound, was_refused = last_sound(outcome, self.frame, most=last)
            if was_refused:
                self._failures["reported a layout that the check refused"] = 1
            if sound:
                fresh += self._tightened(sound)
        self._choose(fresh)

    def _tightened(self, sound: Sequence[Pack]) -> list[Pack]:
        """The shortest of some packs of the same pieces, moved together and cut into sections."""
        is_draft = self._has_time and sound[0].length_mm > _NEARLY * self._longest_first_mm
        if is_draft:
            # Sections will be dealt; moving all of its pieces together would take seconds.
            packs = self._cut_up(sound[0])
        else:
            ways = [closer(pack, self.frame) for pack in sound]
            packs = self._cut_up(min(ways, key=lambda pack: pack.length_mm))
            if len(packs) > 1:
                packs = [closer(pack, self.frame) for pack in packs]
        self._dealing.propose_parts(sound[0], self.frame)
        return packs

    def _choose(self, fresh: Sequence[Pack], *, source: str = "engine") -> None:
        """Have packs to choose from; choose, unless choosing has taken much time of late."""
        for pack in fresh:
            self._dealing.note(pack)
        if not fresh or not (self._choosing.is_due or self._has_faults):
            return
        with self._choosing.working():
            chosen = best_cover(
                [*self._pool, *self.best, *self._dealing.densest(_DENSEST, extra_mm=self.extra_mm)],
                self.demand,
                extra_mm=self.extra_mm,
                fallback=self.best,
                windows=self.windows,
            )
            self._better(chosen, source=source)

    def _better(self, packs: Sequence[Pack], *, source: str) -> None:
        """Take a whole layout if it is shorter."""
        if self._film_of(packs) < self._film() - 1e-9:
            self.best, self.source = list(packs), source
            self._show()

    def _glance(self, outcomes: Sequence[Outcome]) -> None:
        """Take the newest layout of runs that go on, if somebody watches and it is sound."""
        if self.watch is None or not self._glancing.is_due:
            return
        with self._glancing.working():
            for outcome in outcomes:
                if outcome.found and outcome.found[-1] is not self._glanced:
                    self._glanced = outcome.found[-1]
                    pack = pack_found(self._glanced, outcome.task)
                    if pack is not None and is_sound(pack, self.frame):
                        self._choose(self._cut_up(pack))

    def _show(self) -> None:
        if self.watch is not None and self._film() < self._shown_mm - 1e-9:
            self._shown_mm = self._film()
            self.watch(self.best)

    def _film(self) -> float:
        return self._film_of(self.best)

    def _film_of(self, packs: Sequence[Pack]) -> float:
        return film_mm(packs, extra_mm=self.extra_mm, windows=self.windows)

    def _tell(self, outcomes: Sequence[Outcome]) -> float:
        """Tell how far it is; the present film, by the engine's own word where that is shorter."""
        length = self._film()
        for outcome in outcomes:
            if outcome.found and outcome.found[-1].length_mm - self.frame.gap_mm <= (
                self._longest_first_mm
            ):
                found = outcome.found[-1].length_mm - self.frame.gap_mm + self.extra_mm
                length = min(length, self.windows[0].start_mm + found)
        done = (time.monotonic() - self._started) / self.seconds
        self.progress(self.describe(length), min(1.0, done))
        return length
