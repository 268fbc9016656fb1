"""The loop that makes what runs agree with the rows, in the server's process.

It needs no memory of its own: after any crash, of whatever, the rows say what is to be done.
Several such loops on several machines do no harm, since a row is claimed by one worker only.
"""

import logging
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Protocol

from django.conf import settings
from django.db import close_old_connections, connections

from layflat.web.work import rows
from layflat.web.work.due import Due
from layflat.web.work.processes import is_gone

_EVERY_S = 1.0
_GONE_S = 2.0
"""A worker on this machine beats twice a second; one that is gone is not waited for longer."""
logger = logging.getLogger(__name__)


class Engine(Protocol):
    """Whatever executes computations."""

    def submit(self, due: Sequence[Due]) -> None:
        """See to it that rows are run; what is under way stays so."""

    def close(self) -> None:
        """End what this process started."""


class Reconciler:
    """Submits open rows, and takes back running ones that give no more sign."""

    def __init__(self, engine: Engine, *, lost_s: float) -> None:
        self._engine = engine
        self._lost_s = lost_s
        self._woken = threading.Event()
        self._ending = threading.Event()
        self._thread = threading.Thread(target=self._loop, name="reconciler", daemon=True)

    def tick(self) -> None:
        """Do once what there is to do."""
        rows.retire_other_versions()
        rows.take_back_gone(is_gone, grace_s=_GONE_S)
        rows.take_back_lost(self._lost_s)
        self._engine.submit(rows.all_due())

    def wake(self) -> None:
        """Do it now rather than at the next second."""
        self._woken.set()

    def start(self) -> None:
        """Go on doing it in a thread."""
        self._thread.start()

    def stop(self) -> None:
        """End the thread, then the engine."""
        self._ending.set()
        self._woken.set()
        self._thread.join()
        self._engine.close()

    def _loop(self) -> None:
        while not self._ending.is_set():
            self._woken.clear()
            close_old_connections()
            try:
                self.tick()
            except Exception:
                # A database or scheduler that is away comes back; this loop must be there then.
                logger.exception("Computations could not be looked after; trying again.")
            self._woken.wait(_EVERY_S)
        connections.close_all()


_here: list[Reconciler] = []


def wake() -> None:
    """Wake the loop of this process, if it has one; else that of the server sees it in a second."""
    for reconciler in tuple(_here):
        reconciler.wake()


@contextmanager
def working() -> Iterator[None]:
    """Have computations executed while the block runs."""
    from layflat.web.work.engine import DaskEngine, LocalEngine

    engine: Engine
    if settings.SCHEDULER:
        engine = DaskEngine(scheduler=settings.SCHEDULER, workers=0, on_over=wake)
    else:
        engine = LocalEngine(workers=settings.WORKERS, on_over=wake)
    reconciler = Reconciler(engine, lost_s=settings.WORK_LOST_S)
    _here.append(reconciler)
    reconciler.start()
    try:
        yield
    finally:
        _here.remove(reconciler)
        reconciler.stop()
