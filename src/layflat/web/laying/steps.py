"""The step of a plan that laying is, and how it follows what happens to the pieces."""

import datetime
from collections.abc import Sequence

from django.db import transaction

from layflat.base import InputError
from layflat.web.gates.doing import Work, again, begin_kind, finish_kind, undo
from layflat.web.gates.models import Kind, Step
from layflat.web.gates.standing import WORKED, Standing, no_such_step, refusal, require_open
from layflat.web.jobs.models import Job
from layflat.web.laying.done import why_not_all_laid
from layflat.web.people.models import Person


def must_be_open(job: Job, *, at: datetime.datetime, who: Person) -> None:
    """Laying may go on now; its step is begun with the first piece.

    Raises:
        InputError: it waits for something, such as iron removal.
    """
    require_open(job, Kind.LAY, at=at)
    begin_kind(job, Kind.LAY, who=who, at=at)


def end_when_all_laid(job: Job, *, who: Person, at: datetime.datetime) -> None:
    """End the step once every piece is on the car."""
    if why_not_all_laid(job):
        return
    try:
        with transaction.atomic():
            finish_kind(job, Kind.LAY, who=who, at=at)
    except InputError:
        # The film lies on the car whatever the plan says; the list of steps says what is missing.
        return


def must_reopen(job: Job, *, who: Person, at: datetime.datetime) -> None:
    """Laying goes on although its step was ended: a tap was a mistake.

    Raises:
        InputError: a step that comes after it has begun.
    """
    for key in _done(Work(job, at), Kind.LAY):
        undo(job, key, who=who, at=at)
        begin_kind(job, Kind.LAY, who=who, at=at)


def lay_again(job: Job, *, who: Person, at: datetime.datetime) -> None:
    """Film is made anew: laying goes on, and rest and edges after it are done again."""
    if again(job, Kind.LAY, who=who, at=at):
        begin_kind(job, Kind.LAY, who=who, at=at)


def inspect_again(job: Job, *, who: Person, at: datetime.datetime) -> None:
    """An inspection that was ended goes on; where a later step has begun it stays ended."""
    work = Work(job, at)
    for key in _done(work, Kind.INSPECT):
        if work.begun_after(key) is None:
            undo(job, key, who=who, at=at)
            begin_kind(job, Kind.INSPECT, who=who, at=at)


def _done(work: Work, kind: Kind) -> list[str]:
    return [s.key for s in work.steps if s.kind == kind and s.state == Step.State.DONE]


def why_not_now(job: Job, kind: Kind, steps: Sequence[Standing]) -> str:
    """Why nothing of a kind may be done now, in a sentence; "" when it may.

    Reads nothing but what it is handed; what is tapped is asked of the rows again.
    """
    of_kind = [item for item in steps if item.step.kind == kind]
    if job.stage not in WORKED or not of_kind:
        return no_such_step(job, kind, is_planned=bool(steps))
    if any(item.is_open or item.is_over for item in of_kind):
        return ""
    return refusal(of_kind[0])
