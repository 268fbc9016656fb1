"""Engine runs side by side, watched: the best layout of each, whatever becomes of its process."""

import time
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, field

from layflat.nest.engine import EngineRun, Found, Task

_LOOK_S = 0.02
_KEPT = 4
_WORTH = 0.002


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
    patience_s: float | None = None,
) -> list[Outcome]:
    """Run the tasks side by side until all have ended, or time is up.

    Args:
        tasks: each gets a process at once.
        deadline: by `time.monotonic`; what still runs then is stopped, its layouts are kept.
        watch: called many times a second with the outcomes so far; True stops all runs. What
            it raises is passed on, after every process has been ended.
        patience_s: a run that has a layout and finds none that is better by a part of `_WORTH`
            for so long is stopped.
    """
    outcomes = [Outcome(task) for task in tasks]
    with ExitStack() as stack:
        runs = [stack.enter_context(EngineRun(task)) for task in tasks]
        news = [time.monotonic()] * len(runs)
        lengths = [float("inf")] * len(runs)
        while time.monotonic() < deadline:
            for i, (run, outcome) in enumerate(zip(runs, outcomes, strict=True)):
                if fresh := run.poll():
                    outcome.found = [*outcome.found, *fresh][-_KEPT:]
                    if fresh[-1].length_mm < (1.0 - _WORTH) * lengths[i]:
                        news[i], lengths[i] = time.monotonic(), fresh[-1].length_mm
                waited = time.monotonic() - news[i]
                if outcome.found and patience_s is not None and waited > patience_s:
                    run.stop()
            if watch(outcomes) or all(run.ending is not None for run in runs):
                break
            time.sleep(_LOOK_S)
        for run, outcome in zip(runs, outcomes, strict=True):
            outcome.found = [*outcome.found, *run.poll()][-_KEPT:]
            run.stop()
            outcome.ending = run.ending or "stopped"
    return outcomes
