"""What may happen to a computation's row. Each step is one conditional UPDATE.

Whoever changes a row says in the condition what it must be like; where another was quicker the
UPDATE changes nothing and the caller learns so. Times are the database's: with workers on many
machines no other clock can be trusted.

    open ── claim ──→ running ── finish ──→ done
     ↑                   │ ├──── fail ────→ failed
     │                   │ └──── end_stopped ─→ stopped
     └── break_off, give_back, take_back_… (failed after MOST_ATTEMPTS)
"""

import uuid
from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta
from enum import Enum
from typing import Any

from django.db.models import F, QuerySet
from django.db.models.functions import Now

from layflat import __version__
from layflat.web.work.due import Due
from layflat.web.work.models import Computation, State

MOST_ATTEMPTS = 3
_SAYS, _ERROR = 200, 600


@dataclass(frozen=True)
class Claim:
    """The right to run a computation once: whoever holds its token may write to the row.

    Attributes:
        key: of the row.
        token: new with every attempt, so that a forgotten attempt cannot write any more.
        task, inputs: what to run.
    """

    key: str
    token: str
    task: str
    inputs: dict[str, Any]


class Wish(Enum):
    """What the row wants of the attempt that runs it."""

    GO_ON = "go on"
    STOP = "stop"
    LOST = "lost"  # the claim is another's, or nobody's


def claim(key: str, *, runner: str, process: str = "") -> Claim | None:
    """Take the open row with *key* for one attempt; None where it is not open.

    A row of another version of Layflat is not taken: its result would bear the wrong key.

    Args:
        key: of the row.
        runner: where it will run, for people.
        process: the worker's process by the name that `processes` gives it, or "".
    """
    token = uuid.uuid4().hex
    taken = Computation.objects.filter(key=key, state=State.OPEN, version=__version__).update(
        state=State.RUNNING,
        claim=token,
        runner=runner[:120],
        process=process,
        attempts=F("attempts") + 1,
        began_at=Now(),
        beat_at=Now(),
    )
    if not taken:
        return None
    row = Computation.objects.get(key=key)
    return Claim(key, token, row.task, row.inputs)


def beat(held: Claim, *, progress: tuple[str, float] | None = None) -> Wish:
    """Say that the attempt lives, and how far it is: the present step and a part of 1."""
    news: dict[str, Any] = {}
    if progress is not None:
        says, fraction = progress
        news = {"says": says[:_SAYS], "progress": min(1.0, max(0.0, fraction))}
    if not _held(held).update(beat_at=Now(), **news):
        return Wish.LOST
    return Wish.STOP if _held(held).filter(stop_asked=True).exists() else Wish.GO_ON


def finish(held: Claim, result: dict[str, Any]) -> bool:
    """Write the result; False where the claim is gone, and nothing is written."""
    return bool(_end(_held(held), State.DONE, result=result, progress=1.0, says=""))


def fail(held: Claim, sentence: str) -> bool:
    """Write why there is no result and will be none."""
    return bool(_end(_held(held), State.FAILED, error=sentence[:_ERROR], says=""))


def end_stopped(held: Claim) -> bool:
    """Write that the attempt ended because a person asked for it.

    Where the person has asked for the computation again meanwhile, it is open instead.
    """
    stopped = _end(_held(held).filter(stop_asked=True), State.STOPPED, says="")
    return bool(stopped) or give_back(held)


def break_off(held: Claim, why: str) -> bool:
    """Write that the attempt broke off: the row is open again, or failed after the last attempt.

    Args:
        held: the attempt.
        why: a clause, such as "its process was ended by SIGABRT".
    """
    rows = _held(held).filter(attempts__lt=MOST_ATTEMPTS)
    if _open_again(rows, says=f"Begun again: {why}"[:_SAYS]):
        return True
    return fail(held, f"It broke off {MOST_ATTEMPTS} times, the last time because {why}.")


def give_back(held: Claim) -> bool:
    """Open the row again without counting the attempt: its worker was told to end."""
    return bool(_open_again(_held(held), says="", attempts=F("attempts") - 1))


def ask_stop(pk: int) -> bool:
    """Stop an open computation at once, or ask the one that runs it to; False where it is over."""
    rows = Computation.objects.filter(pk=pk)
    # In this order: between the two an open row may begin to run, not the other way round.
    if _end(rows.filter(state=State.OPEN), State.STOPPED, says=""):
        return True
    return bool(rows.filter(state=State.RUNNING).update(stop_asked=True))


def ask_again(pk: int) -> bool:
    """Open a failed or stopped row anew, with all its attempts; or take back a wish to stop."""
    rows = Computation.objects.filter(pk=pk)
    over = rows.filter(state__in=(State.FAILED, State.STOPPED))
    if _open_again(
        over, says="Asked for again.", attempts=0, error="", asked_at=Now(), ended_at=None
    ):
        return True
    return bool(rows.filter(state=State.RUNNING, stop_asked=True).update(stop_asked=False))


def take_back_lost(limit_s: float) -> int:
    """Take back every running row whose last beat is older than *limit_s*; how many there were.

    The attempt counts: what ended its worker may have been the computation itself.
    """
    lost = _silent_for(limit_s)
    if not lost.exists():  # spares the database a write lock every second
        return 0
    return _take_back(lost, "its worker gave no more sign")


def take_back_gone(is_gone: Callable[[str], bool], *, grace_s: float) -> int:
    """Take back every running row whose worker's process is known to be gone; how many there were.

    Args:
        is_gone: whether the process of that name is known to be gone.
        grace_s: how long the last beat must be past; by then a child has noticed that its worker
            is gone, and has ended.
    """
    silent = _silent_for(grace_s).exclude(process="")
    held = list(silent.values_list("key", "claim", "process"))
    gone = [(key, token) for key, token, process in held if is_gone(process)]
    return sum(
        _take_back(_held_by(key, token), "its worker was ended from outside") for key, token in gone
    )


def _silent_for(limit_s: float) -> QuerySet[Computation]:
    old = Now() - timedelta(seconds=limit_s)
    return Computation.objects.filter(state=State.RUNNING, beat_at__lt=old)


def _take_back(lost: QuerySet[Computation], why: str) -> int:
    stopped = _end(lost.filter(stop_asked=True), State.STOPPED, says="")
    failed = _end(
        lost.filter(attempts__gte=MOST_ATTEMPTS),
        State.FAILED,
        says="",
        error=f"It broke off {MOST_ATTEMPTS} times, the last time because {why}.",
    )
    return stopped + failed + _open_again(lost, says=f"Begun again: {why}.")


def retire_other_versions() -> int:
    """End the open rows of other versions of Layflat: no worker will take them."""
    others = Computation.objects.filter(state=State.OPEN).exclude(version=__version__)
    if not others.exists():
        return 0
    error = f"Layflat was changed to version {__version__} while this waited; ask for it again."
    return _end(others, State.FAILED, says="", error=error)


def all_due() -> list[Due]:
    """All open rows: those that come first before all that do not, the longest waiting first."""
    rows = Computation.objects.filter(state=State.OPEN, version=__version__)
    order = rows.order_by("-comes_first", "asked_at", "id")
    return [Due(*row) for row in order.values_list("key", "comes_first", "only_waits")]


def _held(held: Claim) -> QuerySet[Computation]:
    return _held_by(held.key, held.token)


def _held_by(key: str, token: str) -> QuerySet[Computation]:
    return Computation.objects.filter(key=key, state=State.RUNNING, claim=token)


def _end(rows: QuerySet[Computation], state: State, **values: Any) -> int:
    return rows.update(state=state, claim="", ended_at=Now(), stop_asked=False, **values)


def _open_again(rows: QuerySet[Computation], **values: Any) -> int:
    return rows.update(
        state=State.OPEN,
        claim="",
        runner="",
        process="",
        progress=0.0,
        stop_asked=False,
        **values,
    )
