"""What can be tapped in the bay: each part enters its acts here.

A part keeps its acts in its module `acts`, which its `AppConfig.ready` imports::

    @act("laying.began")
    def began(call: Call) -> str:
        \"\"\"Begin to lay a piece.\"\"\"
        …
        return "Piece 3, hood, is being laid."

The first line of the docstring is what people read of an act that did not go in: in the imperative,
since the page says that somebody “wanted to begin to lay a piece”.
"""

import datetime
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from django.core.files.uploadedfile import UploadedFile

from layflat.base import InputError
from layflat.web.jobs.models import Job
from layflat.web.people.models import Person, Role


@dataclass(frozen=True, kw_only=True)
class Call:
    """One tap, as it is handed to its act.

    Attributes:
        job: locked until the transaction ends; None for an act that needs none.
        who: tapped.
        at: when it was tapped, UTC, as far as clocks allow; never in the future.
        fields: what was entered, by name.
        files: what was taken or chosen, by name; no larger than the pictures' `MOST_BYTES` each.
        key: of the tap, 32 hexadecimal digits; what an act books elsewhere may carry it on.
    """

    job: Job | None
    who: Person
    at: datetime.datetime
    fields: Mapping[str, str]
    files: Mapping[str, "UploadedFile[Any]"] = field(default_factory=dict)
    key: str = ""


Run = Callable[[Call], str]
"""Does it and says in one sentence what was done; raises a `LayflatError` to refuse."""


@dataclass(frozen=True)
class Act:
    """Something that can be tapped.

    Attributes:
        name: as taps name it, `part.what`.
        run: does it.
        title: for people, without a full stop.
        roles: who may; the owner always may.
        needs_job: whether it is about a job.
    """

    name: str
    run: Run
    title: str
    roles: frozenset[Role]
    needs_job: bool


EVERYBODY: Final = tuple(Role)
_ACTS: dict[str, Act] = {}


def act(
    name: str, *, roles: tuple[Role, ...] = (Role.INSTALLER,), needs_job: bool = True
) -> Callable[[Run], Run]:
    """Marks a function as the act *name*, which *roles* and the owner may do."""

    def mark(run: Run) -> Run:
        first = (run.__doc__ or name).strip().splitlines()[0]
        allowed = frozenset({Role.OWNER, *roles})
        _ACTS[name] = Act(name, run, first.rstrip("."), allowed, needs_job)
        return run

    return mark


def find(name: str) -> Act:
    """The act *name*.

    Raises:
        InputError: there is none.
    """
    found = _ACTS.get(name)
    if found is None:
        raise InputError(
            f"There is nothing called “{name}” that can be tapped; open the page anew."
        )
    return found


def title_of(name: str) -> str:
    """What people read for the act *name*, also where this version has it no more."""
    found = _ACTS.get(name)
    return name if found is None else found.title


def job_of(call: Call) -> Job:
    """The job of a tap that is about one.

    Raises:
        InputError: the tap is about none.
    """
    if call.job is None:
        raise InputError("The tap does not say which job it is about; open the page anew.")
    return call.job


def number_of(call: Call, name: str, *, such_as: str) -> float | None:
    """A number as it was entered, with a point or a comma; None for none.

    Args:
        call: the tap.
        name: of the field.
        such_as: how it is told to be written, as "the size as a number, such as 5".

    Raises:
        InputError: it is no finite number.
    """
    text = call.fields.get(name, "").strip().replace(",", ".")
    if not text:
        return None
    try:
        value = float(text)
    except ValueError as error:
        raise InputError(f"Write {such_as}.") from error
    if not math.isfinite(value):
        raise InputError(f"Write {such_as}.")
    return value
