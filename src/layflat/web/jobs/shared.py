"""What several parts of one page read of a job, asked of the database once."""

from collections.abc import Callable
from typing import Any, Final, TypeVar, cast

from layflat.base import LayflatError
from layflat.web.jobs.models import Job

_KEPT: Final = "_read_once"
_Found = TypeVar("_Found")


def read_once(job: Job, read: Callable[[Job], _Found]) -> _Found:
    """What *read* finds of a job; the first answer for one *job* in memory is kept with it.

    For pages that only read: their parts are handed the same *job* and share what was found.
    Whoever changes something has a job of its own, locked, and reads the rows anew.

    Raises:
        LayflatError: *read* refused, now or the first time.
    """
    kept: dict[Callable[[Job], Any], Any] = job.__dict__.setdefault(_KEPT, {})
    if read not in kept:
        try:
            kept[read] = read(job)
        except LayflatError as error:
            kept[read] = error
    if isinstance(kept[read], LayflatError):
        raise kept[read]
    return cast("_Found", kept[read])
