"""Work in several processes: its order, its errors, its end."""

import multiprocessing
import os
import signal
import time
from collections.abc import Callable

import pytest

from layflat.base import CheckError, LayflatError, Progress, SettingError, StoppedError
from layflat.job import processes


def square(setup: int, task: int, progress: Progress) -> tuple[int, int]:
    progress("squaring", 0.5)
    if task == 13:
        raise SettingError("Thirteen is not squared.")
    return setup + task * task, os.getpid()


def dies(_setup: None, _task: int, progress: Progress) -> None:
    progress("dying", 0.1)
    os.kill(os.getpid(), signal.SIGKILL)


def lasts(_setup: None, _task: int, progress: Progress) -> None:
    while True:
        progress("lasting", 0.5)
        time.sleep(0.01)


def breaks(_setup: None, task: int, _progress: Progress) -> float:
    return 1 / task


def told() -> tuple[list[tuple[str, float]], Progress]:
    said: list[tuple[str, float]] = []
    return said, lambda step, fraction: said.append((step, fraction))


@pytest.mark.parametrize("workers", [1, 2])
def test_results_in_order_an_error_in_the_place_of_its_task(workers: int) -> None:
    said, progress = told()
    tasks = [3, 13, 5, 7, 9]
    ended = processes.each(
        square, 100, tasks, names=[f"n{task}" for task in tasks], workers=workers, progress=progress
    )
    assert isinstance(ended[1], LayflatError)
    assert str(ended[1]) == "Thirteen is not squared."
    found = [end for end in ended if not isinstance(end, LayflatError)]
    assert [value for value, _ in found] == [109, 125, 149, 181]
    mine = os.getpid()
    assert all((pid == mine) == (workers == 1) for _, pid in found)
    assert len({pid for _, pid in found}) <= workers
    fractions = [fraction for _, fraction in said]
    assert fractions == sorted(fractions)
    assert {f"n{task}: squaring" for task in tasks} >= {step for step, _ in said} - {"starting"}


@pytest.mark.parametrize("do", [dies, breaks])
def test_a_process_that_ends_by_itself_is_said(do: Callable[[None, int, Progress], object]) -> None:
    with pytest.raises(CheckError, match="ended by itself"):
        processes.each(do, None, [0, 0], names=["one", "two"], workers=2)
    assert multiprocessing.active_children() == []


def test_stopping_leaves_no_process() -> None:
    def stops(step: str, _fraction: float) -> None:
        if "lasting" in step:
            raise StoppedError("Stopped.")

    with pytest.raises(StoppedError):
        processes.each(lasts, None, [0, 0], names=["one", "two"], workers=2, progress=stops)
    assert multiprocessing.active_children() == []
