"""Dwell times: how long something has worked on the paint, and whether it may have dried."""

import datetime
from collections.abc import Sequence
from dataclasses import dataclass

from layflat.web.gates.models import Dwell


@dataclass(frozen=True, kw_only=True)
class DwellStands:
    """A dwell time as it stands at a moment.

    Attributes:
        dwell: its row.
        ready_at, dries_at: from when it may be rinsed and when it must be; None for no bound.
        is_running: whether it has not been rinsed.
        is_to_do_again: whether it did not count, and nothing newer stands for its place.
        word: in words: "working", "rinse now", "may have dried", "rinsed" …
        shape: of the look.
    """

    dwell: Dwell
    ready_at: datetime.datetime | None
    dries_at: datetime.datetime | None
    is_running: bool
    is_to_do_again: bool
    word: str
    shape: str

    @property
    def where(self) -> str:
        """The part of the car, in words."""
        return self.dwell.where or "the whole car"


def dwells_stand(dwells: Sequence[Dwell], *, now: datetime.datetime) -> tuple[DwellStands, ...]:
    """How the dwell times of one step stand, the newest last."""
    newest = {dwell.where: dwell.pk for dwell in dwells}
    return tuple(_stands(dwell, now, newest[dwell.where] == dwell.pk) for dwell in dwells)


def _stands(dwell: Dwell, now: datetime.datetime, is_newest: bool) -> DwellStands:
    ready, dries = _after(dwell, dwell.least_s), _after(dwell, dwell.most_s)
    is_running = dwell.ended_at is None
    if dwell.was_late:
        word, shape = "had dried; do it again", "late"
    elif dwell.was_short:
        word, shape = "rinsed too early; do it again", "late"
    elif not is_running:
        word, shape = "rinsed in time", "done"
    elif dries is not None and now > dries:
        word, shape = "may have dried: rinse, then do it again", "late"
    elif ready is None or now >= ready:
        word, shape = "rinse now", "today"
    else:
        word, shape = "working", "waiting"
    return DwellStands(
        dwell=dwell,
        ready_at=ready,
        dries_at=dries,
        is_running=is_running,
        is_to_do_again=is_newest and (dwell.was_late or dwell.was_short),
        word=word,
        shape=shape,
    )


def _after(dwell: Dwell, seconds: int | None) -> datetime.datetime | None:
    return None if seconds is None else dwell.began_at + datetime.timedelta(seconds=seconds)
