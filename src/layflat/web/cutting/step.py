"""The step of a plan that cutting and weeding is, and how it follows what is ticked."""

import datetime

from django.db import transaction

from layflat.base import InputError
from layflat.web.cutting.on_job import standing_of
from layflat.web.gates.doing import Work, begin_kind, finish_kind, undo
from layflat.web.gates.models import Kind, Step
from layflat.web.jobs.models import Job
from layflat.web.offer.accepted import accepted_outcome
from layflat.web.people.models import Person


def is_all_weeded(job: Job) -> bool:
    """Whether every piece of the accepted cover is weeded, or on the car."""
    try:
        return standing_of(accepted_outcome(job)).is_all_weeded
    except InputError:
        return False


def end_when_all_weeded(job: Job, *, who: Person | None, at: datetime.datetime) -> str:
    """End the step once the waste is off every piece; what was ended, in a sentence, or "".

    The step may wait for another by the shop's own order: then nothing is ended here, and the list
    of steps says what is missing.

    Args:
        job: locked.
        who: ticked last.
        at: when.
    """
    if who is None or not is_all_weeded(job):
        return ""
    try:
        with transaction.atomic():
            ended = finish_kind(job, Kind.CUT, who, at, because="every piece is weeded")
    except InputError:
        return ""
    titles = " and ".join(f"“{step.title}”" for step in ended)
    return f"Every piece is weeded: {titles} is done." if titles else ""


def when_planned(job: Job, who: Person, at: datetime.datetime) -> None:
    """The bay of *job* was planned just now: film may be weeded already."""
    end_when_all_weeded(job, who=who, at=at)


def reopen(job: Job, *, who: Person | None, at: datetime.datetime) -> None:
    """A tick was a mistake: the step goes on, unless one that comes after it has begun.

    Args:
        job: locked; every piece was weeded until now.
        who: took the tick back.
        at: when.
    """
    if who is None:
        return
    work = Work(job, at)
    done = [s.key for s in work.steps if s.kind == Kind.CUT and s.state == Step.State.DONE]
    for key in done:
        if work.begun_after(key) is not None:
            continue
        try:
            with transaction.atomic():
                undo(job, key, who=who, at=at)
                begin_kind(job, Kind.CUT, who=who, at=at)
        except InputError:
            # The tick is taken back all the same; a step of a car that left the bay stays.
            continue
