"""Closing a job, from any stage and for a reason, and opening it again where it stood."""

from dataclasses import dataclass
from typing import Final

from layflat.base import InputError
from layflat.web.jobs.models import Job, Stage
from layflat.web.jobs.stages import move
from layflat.web.people.models import Person

CLOSED, REOPENED = "job.closed", "job.reopened"
"""Kinds of the events."""
LONGEST_NOTE: Final = 200


@dataclass(frozen=True)
class Reason:
    """Why jobs are closed.

    Attributes:
        name: in forms.
        words: for people, as a clause.
        stages: where it can be; () for everywhere.
        needs_note: whether it says nothing without more words.
    """

    name: str
    words: str
    stages: tuple[Stage, ...] = ()
    needs_note: bool = False


REASONS: Final = (
    Reason("handed-back", "the vehicle is handed back with its film", (Stage.HANDED,)),
    Reason("declined", "the customer declined"),
    Reason("silent", "the customer does not answer"),
    Reason("elsewhere", "it is done elsewhere"),
    Reason("refused", "the shop cannot do it"),
    Reason("twice", "it was written down twice"),
    Reason("other", "for another reason", needs_note=True),
)
"""Common practice, no source; in the order of their choices."""


def reasons_at(stage: str) -> list[Reason]:
    """The reasons for which a job that stands at *stage* can be closed."""
    return [reason for reason in REASONS if not reason.stages or stage in reason.stages]


def close_job(job: Job, *, seen: str, reason: str, note: str, who: Person | None) -> None:
    """Close a locked job; it remembers where it stood.

    Args:
        job: the job.
        seen: the stage at which the person saw it.
        reason: name of one of `reasons_at` its stage.
        note: more words, or "".
        who: closes it.

    Raises:
        InputError: it is closed, it has been moved since it was seen, or the reason will not do.
    """
    if job.stage == Stage.CLOSED:
        raise InputError(f"The job is closed already: {job.closed_because or 'nobody said why'}.")
    here = Stage(job.stage)
    if seen != here:
        raise InputError(
            f"Somebody moved the job to “{here.label}” meanwhile; look at it again before you "
            "close it."
        )
    chosen = next((one for one in reasons_at(here) if one.name == reason), None)
    if chosen is None:
        raise InputError("Choose why the job is closed.")
    note = " ".join(note.split())
    if len(note) > LONGEST_NOTE:
        raise InputError(f"Say why in {LONGEST_NOTE} letters or fewer.")
    if chosen.needs_note and not note:
        raise InputError("Say for which other reason the job is closed.")
    because = note if chosen.needs_note else f"{chosen.words}; {note}" if note else chosen.words
    job.closed_from, job.closed_because = here, because
    job.save(update_fields=["closed_from", "closed_because"])
    move(
        job,
        Stage.CLOSED,
        who=who,
        kind=CLOSED,
        sentence=f"Closed at “{here.label}”: {because}.",
    )


def reopen_job(job: Job, *, who: Person | None) -> None:
    """Open a locked job again at the stage where it stood.

    Raises:
        InputError: it is open.
    """
    if job.stage != Stage.CLOSED:
        raise InputError(f"The job is open already, at “{Stage(job.stage).label}”.")
    # Jobs that were brought in closed stood nowhere that is known.
    stage = Stage(job.closed_from or Stage.ENQUIRY)
    job.closed_from = job.closed_because = ""
    job.save(update_fields=["closed_from", "closed_because"])
    move(job, stage, who=who, kind=REOPENED, sentence=f"Opened again at “{stage.label}”.")
