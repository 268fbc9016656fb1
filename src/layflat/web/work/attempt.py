"""One attempt at a computation, in a worker: start a child, look after it, write what came of it.

The worker's own process computes nothing. It beats for the child also while that is silent, ends
it when a person asks for it, and outlives whatever happens to it.
"""

import time
from collections.abc import Callable
from typing import Any

from django.conf import settings
from django.db import DatabaseError, connection

from layflat.web.work import rows
from layflat.web.work.child import Child, Kind
from layflat.web.work.rows import Claim, Wish
from layflat.web.work.tasks import find

_TICK_S = 0.1
_START_S = 120.0  # a child may take this long before it begins, on a busy machine
_BEAT_S = 0.5
"""How often the row is written, at most, and asked whether a person wants the end."""

Write = Callable[[], bool]
_WRITES: dict[Kind, Callable[[Claim, Any], bool]] = {
    Kind.DONE: rows.finish,
    Kind.REFUSED: rows.fail,
    Kind.BROKEN: rows.break_off,
}


def attend(held: Claim, *, ending: Callable[[], bool]) -> None:
    """Run a claimed computation in a child until it is over one way or the other.

    Args:
        held: what to run.
        ending: whether this worker was told to end; the row is then given back.
    """
    attempt = _Attempt(held, ending=ending)
    child = Child(held.task, held.inputs)
    try:
        write = attempt.follow(child)
    finally:
        # The child is gone before the row says so: what is open again cannot run twice.
        child.end()
    if write is not None:
        attempt.write(write)


class _Attempt:
    """What is known of one attempt while it runs."""

    def __init__(self, held: Claim, *, ending: Callable[[], bool]) -> None:
        self._held = held
        self._ending = ending
        self._silent_s = _START_S
        self._news: tuple[str, float] | None = None
        self._sign_at = self._beaten_at = self._tried_at = time.monotonic()

    def follow(self, child: Child) -> Write | None:
        """Look after the child; what is to be written, or None when the row is another's by now."""
        while True:
            write = self._heard(child) or self._seen()
            if write is not None:
                return write
            wish = self._beat()
            if wish is Wish.LOST:
                return None
            if wish is Wish.STOP:
                return lambda: rows.end_stopped(self._held)

    def write(self, write: Write) -> None:
        """Write the end, patiently: a database that is away for a moment costs no result."""
        while True:
            try:
                write()
            except DatabaseError:
                connection.close()
                if self._is_taken_for_lost():
                    return
                time.sleep(_BEAT_S)
            else:
                return

    def _heard(self, child: Child) -> Write | None:
        """What the child's next message, if there is one, means for the row."""
        message = child.message(_TICK_S)
        if message is None:
            return None
        kind, *content = message
        if kind in (Kind.BEGUN, Kind.PROGRESS):
            self._sign_at = time.monotonic()
            self._silent_s = find(self._held.task).hang_s
            self._news = (content[0], content[1]) if content else None
            return None
        return lambda: _WRITES[kind](self._held, content[0])

    def _seen(self) -> Write | None:
        """What a worker that ends, or a child that hangs, means for the row."""
        if self._ending():
            return lambda: rows.give_back(self._held)
        if time.monotonic() - self._sign_at > self._silent_s:
            why = f"it gave no sign for {self._silent_s:g} seconds"
            return lambda: rows.break_off(self._held, why)
        return None

    def _beat(self) -> Wish:
        """Beat when it is time, and learn what the row wants."""
        if time.monotonic() - self._tried_at < _BEAT_S:
            return Wish.GO_ON
        self._tried_at = time.monotonic()
        try:
            wish = rows.beat(self._held, progress=self._news)
        except DatabaseError:
            connection.close()
            return Wish.LOST if self._is_taken_for_lost() else Wish.GO_ON
        self._news, self._beaten_at = None, self._tried_at
        return wish

    def _is_taken_for_lost(self) -> bool:
        """Whether others may soon believe this attempt dead; it must be so before they do."""
        limit_s: float = settings.WORK_LOST_S / 2
        return time.monotonic() - self._beaten_at > limit_s
