"""The same work on several things, in several processes that can be stopped at once."""

import multiprocessing
import signal
import sys
from collections.abc import Callable, Sequence
from multiprocessing.connection import Connection, wait
from multiprocessing.process import BaseProcess
from typing import Any, Generic, TypeVar

from layflat.base import CheckError, LayflatError, Progress, StoppedError, part_of, silent

_Setup = TypeVar("_Setup")
_Task = TypeVar("_Task")
_Result = TypeVar("_Result")
_LOOK_S = 0.25
"""How often somebody who wants to stop is heard while nothing comes in."""
_END_S = 15.0
"""How long a process may take to end, with what it has half-written taken away."""


def each(
    do: Callable[[_Setup, _Task, Progress], _Result],
    setup: _Setup,
    tasks: Sequence[_Task],
    *,
    names: Sequence[str],
    workers: int,
    progress: Progress = silent,
) -> tuple[_Result | LayflatError, ...]:
    """What *do* makes of each task, in their order; an error that it raised stands in its place.

    Args:
        do: a function of a module, called in another process with *setup*, a task and a progress.
        setup: what all tasks need; it is sent once to each process.
        tasks: taken in this order by whoever is free.
        names: of the tasks, for progress and errors.
        workers: processes; with 1, or in a process that may have none, all is done in this one.
        progress: told each step; raise `StoppedError` from it to stop. No process is left then.
    """
    if workers <= 1 or len(tasks) <= 1 or multiprocessing.current_process().daemon:
        count = len(tasks)
        told = [
            part_of(progress, start=i / count, end=(i + 1) / count, prefix=f"{name}: ")
            for i, name in enumerate(names)
        ]
        return tuple(_done(do, setup, task, told[i]) for i, task in enumerate(tasks))
    with _Crew(do, setup, min(workers, len(tasks))) as crew:
        return crew.run(tasks, names, progress)


def _done(
    do: Callable[[_Setup, _Task, Progress], _Result],
    setup: _Setup,
    task: _Task,
    progress: Progress,
) -> _Result | LayflatError:
    """What *do* makes of one task, or the error of its input; being stopped is none."""
    try:
        return do(setup, task, progress)
    except StoppedError:
        raise
    except LayflatError as error:
        return error


class _Crew(Generic[_Setup, _Task, _Result]):
    """The processes of one run."""

    def __init__(
        self, do: Callable[[_Setup, _Task, Progress], _Result], setup: _Setup, count: int
    ) -> None:
        # A process begun anew shares nothing with this one: no locks, no open files, no database.
        context = multiprocessing.get_context("spawn")
        self.pipes: list[Connection] = []
        self.processes: list[BaseProcess] = []
        for _ in range(count):
            mine, theirs = context.Pipe()
            process = context.Process(target=_serve, args=(theirs,), daemon=True)
            process.start()
            theirs.close()
            self.pipes.append(mine)
            self.processes.append(process)
        self.first = (do, setup)

    def __enter__(self) -> "_Crew[_Setup, _Task, _Result]":
        return self

    def __exit__(self, *_: object) -> None:
        for pipe in self.pipes:
            pipe.close()
        for process in self.processes:
            process.terminate()
        for process in self.processes:
            process.join(_END_S)
            if process.is_alive():
                process.kill()
                process.join()

    def run(
        self, tasks: Sequence[_Task], names: Sequence[str], progress: Progress
    ) -> tuple[_Result | LayflatError, ...]:
        """Hand out all tasks and gather what comes of them."""
        try:
            return self._gathered(tasks, names, progress)
        except (EOFError, OSError) as error:
            raise CheckError(
                "A process that worked for this one ended by itself, perhaps for want of memory; "
                "try again with fewer processes."
            ) from error

    def _gathered(
        self, tasks: Sequence[_Task], names: Sequence[str], progress: Progress
    ) -> tuple[_Result | LayflatError, ...]:
        results: list[Any] = [None] * len(tasks)
        at = [0.0] * len(tasks)
        waiting = list(range(len(tasks)))[::-1]
        busy: dict[Connection, int] = {}
        step = "starting"
        # Not as the arguments of a process: where one ends before it has read them, the standard
        # library waits for it for ever.
        for pipe in self.pipes:
            progress(step, 0.0)
            pipe.send(self.first)
            _hand_out(pipe, waiting, tasks, busy)
        while busy:
            progress(step, sum(at) / len(tasks))
            for ready in wait(list(busy), _LOOK_S):
                assert isinstance(ready, Connection)
                index = busy[ready]
                kind, value = ready.recv()
                if kind == "at":
                    said, at[index] = value
                    step = f"{names[index]}: {said}"
                    continue
                results[index], at[index] = value, 1.0
                del busy[ready]
                _hand_out(ready, waiting, tasks, busy)
        progress(step, 1.0)
        return tuple(results)


def _hand_out(
    pipe: Connection, waiting: list[int], tasks: Sequence[Any], busy: dict[Connection, int]
) -> None:
    if waiting:
        busy[pipe] = waiting.pop()
        pipe.send(tasks[busy[pipe]])


def _serve(pipe: Connection) -> None:
    """A process's life: what to do, then tasks in, their progress and results out."""
    # A person's Ctrl-C reaches the whole group of processes; the first one decides what it means.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    # Ended by the first one, a process still takes away what it has half-written.
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(0))

    def tell(step: str, fraction: float) -> None:
        pipe.send(("at", (step, fraction)))

    try:
        do, setup = pipe.recv()
        while True:
            task = pipe.recv()
            pipe.send(("done", _done(do, setup, task, tell)))
    except (EOFError, OSError):
        return
