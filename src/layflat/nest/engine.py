"""Runs of the layout engine, each in a process of its own that can be ended at any time."""

import json
import queue
import random
import subprocess
import sys
import threading
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import IO, Any

from layflat.nest.parts import STRIP_SLACK_MM, Frame, Part

_WAIT_S = 5.0
_SEEDS = 1 << 31


@dataclass(frozen=True, kw_only=True, eq=False)
class Task:
    """One strip to pack as short as possible.

    Attributes:
        parts: what to pack.
        counts: how often each of them.
        frame: the strip's width and the gap.
        seed: of the engine's search, 0 or more.
        exploration_s, compression_s: whole seconds for its two phases.
        workers: threads; None is one per processor.
        patience_s: the run ends by itself once it has found nothing that is shorter by two
            thousandths for so many seconds of its own computing; None is never.
        hopes: (seconds of its own computing, length in mm) pairs: the run ends by itself when by
            then it has found nothing as short.
    """

    parts: tuple[Part, ...]
    counts: tuple[int, ...]
    frame: Frame
    seed: int
    exploration_s: int
    compression_s: int
    workers: int | None = None
    patience_s: float | None = None
    hopes: tuple[tuple[float, float], ...] = ()

    def line(self) -> str:
        """The task as the worker reads it."""
        # Pieces carry half the gap with them, so that at the strip's edges, where no gap is
        # asked for, the strip is wider by as much.
        height = self.frame.usable_mm + self.frame.gap_mm + STRIP_SLACK_MM
        items = [
            {
                "demand": count,
                "turns": None if part.turns is None else list(part.turns),
                "points": part.grown.tolist(),
            }
            for part, count in zip(self.parts, self.counts, strict=True)
        ]
        return json.dumps(
            {
                "height": height,
                "seed": self.seed,
                "exploration_s": self.exploration_s,
                "compression_s": self.compression_s,
                "workers": self.workers,
                "patience_s": self.patience_s,
                "hopes": self.hopes,
                "items": items,
            }
        )


@dataclass(frozen=True)
class Found:
    """A layout as the engine reported it, not yet believed.

    Attributes:
        length_mm: of the strip by its own count, with the gap's halves at both ends.
        spots: (index into the task's parts, turn in degrees, x, y) per piece.
    """

    length_mm: float
    spots: tuple[tuple[int, float, float, float], ...]


def worker_command() -> list[str]:
    """How the worker is started: its file alone, so that it imports nothing of this package."""
    return [sys.executable, "-P", str(Path(__file__).with_name("worker.py"))]


class EngineRun:
    """One run of the engine; a context that leaves no process behind.

    Attributes:
        ending: None while it runs; then "done", or a few words on how it failed.
    """

    def __init__(self, task: Task) -> None:
        self.ending: str | None = None
        self._lines: queue.SimpleQueue[str | None] = queue.SimpleQueue()
        self._process = subprocess.Popen(
            worker_command(),
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
            encoding="utf-8",
        )
        # A worker that does not read or write must not block us: both pipes have a thread.
        self._threads = (
            threading.Thread(target=self._feed, args=(task.line(),), daemon=True),
            threading.Thread(target=self._read, daemon=True),
        )
        for thread in self._threads:
            thread.start()

    def __enter__(self) -> "EngineRun":
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.stop()

    def poll(self) -> list[Found]:
        """The layouts reported since the last call, each better than the one before.

        Afterwards `ending` tells whether the run goes on.
        """
        found = []
        while self.ending is None:
            try:
                line = self._lines.get_nowait()
            except queue.Empty:
                break
            if line is None:
                self.ending = "ended without a word"
                break
            try:
                message = json.loads(line)
                if "end" in message:
                    self.ending = (
                        "done" if message["end"] == "done" else f"failed: {message['why']}"
                    )
                else:
                    found.append(_found(message))
            except (ValueError, KeyError, TypeError):
                self.ending = "sent something that cannot be read"
        return found

    def stop(self) -> None:
        """End the process, if it still runs, and wait until it is gone."""
        self._process.kill()
        self._process.wait()
        for thread in self._threads:
            thread.join(_WAIT_S)
        for pipe in (self._process.stdin, self._process.stdout):
            _close(pipe)
        if self.ending is None:
            self.ending = "stopped"

    def _feed(self, line: str) -> None:
        pipe = self._process.stdin
        if pipe is None:
            return
        try:
            pipe.write(line + "\n")
            pipe.flush()
        except OSError:
            # The worker is gone; the reader will see the end of its output.
            return

    def _read(self) -> None:
        pipe = self._process.stdout
        if pipe is not None:
            for line in pipe:
                self._lines.put(line)
        self._lines.put(None)


def _close(pipe: IO[Any] | None) -> None:
    if pipe is None:
        return
    try:
        pipe.close()
    except OSError:
        # What was still to be written has no reader any more.
        return


def _found(message: dict[str, Any]) -> Found:
    spots = tuple(
        (int(item), float(turn), float(x), float(y)) for item, turn, x, y in message["spots"]
    )
    return Found(length_mm=float(message["length"]), spots=spots)


def whole_seconds(seconds: float) -> tuple[int, int]:
    """A budget as the engine's whole seconds of exploration and compression, about 4 to 1.

    The engine takes whole seconds only; a run is ended from outside when its time is up, so
    that rounding up costs nothing.
    """
    total = max(2, round(seconds))
    compression = max(1, round(0.2 * total))
    return total - compression, compression


def run_seeds(first: int, choice: random.Random) -> Iterator[int]:
    """The seeds of a search's runs: the one that was given, then others."""
    yield first % _SEEDS
    while True:
        yield choice.randrange(_SEEDS)
