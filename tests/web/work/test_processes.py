"""Processes of this machine are known to be gone, others never."""

import os
import signal
import subprocess
import sys

import pytest

from layflat.web.work.processes import is_gone, this_process
from web.work.yard import until

SLEEPER = (
    "from layflat.web.work.processes import this_process\n"
    "import time\n"
    "print(this_process(), flush=True)\n"
    "time.sleep(600)\n"
)


def test_a_process_is_gone_once_it_is_killed_also_before_anybody_collects_it() -> None:
    with subprocess.Popen(
        [sys.executable, "-c", SLEEPER], stdout=subprocess.PIPE, text=True
    ) as sleeper:
        assert sleeper.stdout is not None
        name = sleeper.stdout.readline().strip()
        assert name.split()[1] == str(sleeper.pid)
        assert not is_gone(name)
        os.kill(sleeper.pid, signal.SIGKILL)
        until(lambda: is_gone(name))
        assert sleeper.returncode is None
    assert is_gone(name)


def test_a_number_that_was_given_out_anew_is_another_process() -> None:
    machine, number, start = this_process().split()
    assert not is_gone(f"{machine} {number} {start}")
    assert is_gone(f"{machine} {number} {int(start) - 1}")


@pytest.mark.parametrize(
    "name", ["", "elsewhere/pid:[1] 4194305 7", "elsewhere", "{here}", "{here} x 1"]
)
def test_what_cannot_be_told_is_not_gone(name: str) -> None:
    assert not is_gone(name.format(here=this_process().split()[0]))


def test_elsewhere_than_on_linux_nothing_is_ever_gone(monkeypatch: pytest.MonkeyPatch) -> None:
    name = this_process()
    monkeypatch.setattr(sys, "platform", "win32")
    assert this_process() == ""
    assert not is_gone(name + "1")
