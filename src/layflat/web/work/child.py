"""The process that computes: a child of a worker, with Django set up in it.

It can crash, hang or be ended without harm to anything else. It ends by itself, with all that it
started, when its worker is gone: the lifeline, a pipe of which the worker holds the other end,
breaks then.
"""

import logging
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from enum import Enum
from multiprocessing import Pipe, get_context
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from typing import Any

_TELL_S = 0.5
_END_S = 5.0
_GROUPS = sys.platform != "win32"
logger = logging.getLogger(__name__)


class Kind(Enum):
    """What a message of the child says; the content that follows is in brackets."""

    BEGUN = "begun"  # nothing
    PROGRESS = "progress"  # step, fraction
    DONE = "done"  # result
    REFUSED = "refused"  # a sentence for people
    BROKEN = "broken"  # why, as a clause


class Child:
    """A child as its worker sees it.

    Args:
        task: name of the task.
        inputs: its arguments.
    """

    def __init__(self, task: str, inputs: dict[str, Any]) -> None:
        self._inbox, outbox = Pipe(duplex=False)
        lifeline, self._lifeline = Pipe(duplex=False)
        arguments = (task, inputs, outbox, lifeline)
        self._process = _started(compute, arguments, name=f"layflat {task}")
        outbox.close()
        lifeline.close()

    def message(self, wait_s: float) -> tuple[Any, ...] | None:
        """The next message, if there is one within *wait_s* seconds; a crash is one too."""
        try:
            if not self._inbox.poll(wait_s):
                return None
            message: tuple[Any, ...] = self._inbox.recv()
        except (EOFError, OSError):
            self._process.join(_END_S)
            return (Kind.BROKEN, _why(self._process.exitcode))
        return message

    def end(self) -> None:
        """End it hard, with all that it started."""
        pid = self._process.pid
        if _GROUPS and pid is not None:
            with suppress(ProcessLookupError, PermissionError):
                os.killpg(pid, signal.SIGKILL)
        elif pid is not None:
            # Windows has no process groups; its own command ends a tree.
            tree = ["taskkill", "/T", "/F", "/PID", str(pid)]
            subprocess.run(tree, capture_output=True, check=False)
        self._process.kill()
        self._process.join(_END_S)
        self._inbox.close()
        self._lifeline.close()


def warm_up() -> None:
    """Start, and wait for, what starts children here; that can take seconds on a busy machine."""
    if sys.platform == "linux":
        _started(_nothing, (), name="layflat warm-up").join()


def _started(target: Callable[..., None], arguments: tuple[Any, ...], *, name: str) -> BaseProcess:
    process: BaseProcess
    if sys.platform == "linux":
        server = get_context("forkserver")
        server.set_forkserver_preload(["layflat.web.work.nursery", __name__])
        process = server.Process(target=target, args=arguments, name=name)
    else:
        process = get_context("spawn").Process(target=target, args=arguments, name=name)
    process.start()
    return process


def _nothing() -> None:
    """What the first child does."""


def _why(exit_code: int | None) -> str:
    if exit_code is not None and exit_code < 0:
        with suppress(ValueError):
            return f"its process was ended by {signal.Signals(-exit_code).name}"
    return f"its process ended with code {exit_code}"


class _Reporter:
    """The progress that the task is given: sends the newest, at most twice a second."""

    def __init__(self, outbox: Connection) -> None:
        self._outbox = outbox
        self._sending = threading.Lock()
        self._newest: tuple[str, float] | None = None
        self._news = threading.Event()
        threading.Thread(target=self._tell, daemon=True).start()

    def __call__(self, step: str, fraction: float) -> None:
        self._newest = (step, float(fraction))
        self._news.set()

    def send(self, kind: Kind, *content: Any) -> None:
        """Send a message; nobody may be there to hear it."""
        with self._sending, suppress(OSError):
            self._outbox.send((kind, *content))

    def _tell(self) -> None:
        while True:
            self._news.wait()
            self._news.clear()
            if self._newest is not None:
                self.send(Kind.PROGRESS, *self._newest)
            time.sleep(_TELL_S)


def compute(task: str, inputs: dict[str, Any], outbox: Connection, lifeline: Connection) -> None:
    """Run the task *task*; what the child does from its first to its last moment."""
    if _GROUPS:
        os.setsid()  # so that it can be ended with all that it starts
    threading.Thread(target=_end_with_worker, args=(lifeline,), daemon=True).start()
    reporter = _Reporter(outbox)
    reporter.send(*_outcome(task, inputs, reporter))
    outbox.close()


def _outcome(task: str, inputs: dict[str, Any], reporter: _Reporter) -> tuple[Any, ...]:
    import django

    from layflat.base import LayflatError

    django.setup()
    from layflat.web.work.tasks import find

    reporter.send(Kind.BEGUN)
    try:
        return (Kind.DONE, find(task).run(inputs, reporter))
    except LayflatError as error:
        return (Kind.REFUSED, str(error))
    except Exception as error:
        logger.exception("%s broke off.", task)
        return (Kind.BROKEN, f"of a fault in the program ({type(error).__name__}: {error})")


def _end_with_worker(lifeline: Connection) -> None:
    with suppress(EOFError, OSError):
        lifeline.recv()
    if _GROUPS:
        os.killpg(os.getpgrp(), signal.SIGKILL)
    os._exit(1)
