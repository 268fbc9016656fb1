"""Engine runs side by side, watched: the best layout of each, whatever becomes of its process."""

import time
from collections.abc import Callable, Generator, Iterator, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, field

from layflat.nest.engine import EngineRun, Found, Task

_LOOK_S = 0.02
_KEPT = 4


@dataclass
class Outcome:
    """What became of one run.

    Attributes:
        task: what was asked.
        found: the last few layouts, best last.
        ending: "done", "stopped", or a few words on how it failed.
    """

    task: Task
    found: list[Found] = field(default_factory=list)
    ending: str = "stopped"


def race(
    tasks: Sequence[Task],
    *,
    deadline: float,
    watch: Callable[[Sequence[Outcome]], bool],
) -> list[Outcome]:
    """Run the tasks side by side until all have ended, or time is up.

    Args:
        tasks: each gets a process at once.
        deadline: by `time.monotonic`; what still runs then is stopped, its layouts are kept.
        watch: called many times a second with the outcomes so far; True stops all runs. What
            it raises is passed on, after every process has been ended.
    """
    outcomes = [Outcome(task) for task in tasks]
    with ExitStack() as stack:
        runs = [stack.enter_context(EngineRun(task)) for task in tasks]
        while time.monotonic() < deadline:
            for run, outcome in zip(runs, outcomes, strict=True):
                if fresh := run.poll():
                    outcome.found = [*outcome.found, *fresh][-_KEPT:]
            if watch(outcomes) or all(run.ending is not None for run in runs):
                break
            time.sleep(_LOOK_S)
        for run, outcome in zip(runs, outcomes, strict=True):
            outcome.found = [*outcome.found, *run.poll()][-_KEPT:]
            run.stop()
            outcome.ending = run.ending or "stopped"
    return outcomes


def relay(
    tasks: Iterator[Task],
    *,
    at_once: int,
    deadline: float,
    watch: Callable[[], None],
) -> Generator[Outcome, None, None]:
    """Run one task after the other, some at once, and hand out each as soon as it has ended.

    Args:
        tasks: the next one is asked for when a process is free.
        at_once: so many processes.
        deadline: by `time.monotonic`; what still runs then is stopped and handed out.
        watch: called many times a second. What it raises is passed on, after every process has
            been ended; so does an end of the iteration by its user.
    """
    running: list[tuple[EngineRun, Outcome]] = []
    try:
        while True:
            is_over = time.monotonic() >= deadline
            while not is_over and len(running) < at_once:
                task = next(tasks, None)
                if task is None:
                    break
                running.append((EngineRun(task), Outcome(task)))
            if not running:
                return
            for one in list(running):
                run, outcome = one
                outcome.found = [*outcome.found, *run.poll()][-_KEPT:]
                if is_over or run.ending is not None:
                    running.remove(one)
                    run.stop()
                    outcome.ending = run.ending or "stopped"
                    yield outcome
            watch()
            time.sleep(_LOOK_S)
    finally:
        for run, _ in running:
            run.stop()
