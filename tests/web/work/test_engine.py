"""What the engine does when Dask has given up workers; real ones are in test_running.py."""

from types import SimpleNamespace
from typing import Any

import pytest
from distributed.core import Status

from layflat.web.work.engine import DaskEngine


class Cluster:
    """Two workers wanted; in what state they are, and what was asked for."""

    def __init__(self, *states: Status) -> None:
        self.workers = {i: SimpleNamespace(status=state) for i, state in enumerate(states)}
        self.asked: list[int] = []

    def scale(self, count: int) -> None:
        self.asked.append(count)


@pytest.mark.parametrize(
    ("states", "stay", "asked"),
    [
        ((Status.running, Status.running), [0, 1], []),
        ((Status.running, Status.starting), [0, 1], []),
        ((Status.running,), [0], [2]),
        ((), [], [2]),
        ((Status.running, Status.failed), [0], [2]),
        ((Status.closed, Status.running), [1], [2]),
    ],
)
def test_workers_that_are_missing_are_started_anew(
    states: tuple[Status, ...], stay: list[int], asked: list[int]
) -> None:
    engine = DaskEngine(scheduler="", workers=2, on_over=lambda: None)
    cluster: Any = Cluster(*states)
    engine._cluster = cluster
    engine._complete()
    assert (list(cluster.workers), cluster.asked) == (stay, asked)
