"""The visit after the hand-back: agreed, moved, done with what was found, or cancelled."""

import datetime
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final

from layflat.base import InputError
from layflat.web.handback.models import FollowUp
from layflat.web.inspection.models import Flag
from layflat.web.inspection.open import flags_of
from layflat.web.jobs.models import Job, Stage
from layflat.web.jobs.stages import move
from layflat.web.people.models import Person
from layflat.web.record.models import write_event

USUAL_DAYS: Final = 12
"""Between hand-back and visit: one or two weeks are common practice, no source."""
_MOST_DAYS: Final = 400
_LONGEST: Final = 2000
_NOTED: Final = "noted"
SEEN: Final = {
    "clear": "clear now",
    "waits": "still there, left to clear",
    "mend": "still there, to be mended",
}
"""What may be said of a fault that was left to clear, by its name in forms."""


@dataclass(frozen=True, kw_only=True)
class Found:
    """What a visit found.

    Attributes:
        words: as typed.
        seen: of flags that were left to clear, a key of `SEEN` by their number.
        is_to_mend: whether the car goes to the bay again.
    """

    words: str
    seen: Mapping[int, str]
    is_to_mend: bool


def open_visit(job: Job) -> FollowUp | None:
    """The visit that is still to come, or None; one query."""
    return (
        job.follow_ups.select_related("who")
        .filter(came_at__isnull=True, cancelled_because="")
        .first()
    )


def left_to_clear(job: Job) -> list[Flag]:
    """Flags that were noted and left to clear; they are looked at when the car is seen again."""
    return [flag for flag in flags_of(job) if is_left_to_clear(flag)]


def is_left_to_clear(flag: Flag) -> bool:
    """Whether a flag ended by being noted."""
    return flag.state == Flag.State.ENDED and flag.ended_how.startswith(_NOTED)


def plan(job: Job, due_on: datetime.date, *, who: Person | None) -> FollowUp:
    """Agree on a day, or move the visit that is still to come; on a locked job."""
    found = open_visit(job)
    if found is None:
        found = FollowUp.objects.create(job=job, due_on=due_on, who=who)
        _tell(job, "handback.visit", f"The car is seen again on {due_on.isoformat()}.", found, who)
    elif found.due_on != due_on:
        before, found.due_on = found.due_on, due_on
        found.save(update_fields=["due_on"])
        _tell(
            job,
            "handback.visit-moved",
            f"The visit was moved from {before.isoformat()} to {due_on.isoformat()}.",
            found,
            who,
        )
    return found


def cancel(job: Job, because: str, *, who: Person | None) -> None:
    """Say that the visit does not take place; on a locked job.

    Raises:
        InputError: none is agreed, or no reason is given.
    """
    found, because = open_visit(job), " ".join(because.split())
    if found is None:
        raise InputError("There is no visit to come; somebody was quicker.")
    if not because:
        raise InputError("Say why the visit does not take place; the reason stays in the record.")
    found.cancelled_because = because[:200]
    found.save(update_fields=["cancelled_because"])
    _tell(job, "handback.visit-cancelled", f"No follow-up visit: {because}.", found, who)


def read_day(text: str, *, today: datetime.date) -> datetime.date | None:
    """A day as a form sends it; None for "".

    Raises:
        InputError: it is no day, or none that is to come.
    """
    if not text.strip():
        return None
    try:
        day = datetime.date.fromisoformat(text.strip())
    except ValueError as error:
        raise InputError("The day of the visit is no day of the calendar.") from error
    if not today <= day <= today + datetime.timedelta(days=_MOST_DAYS):
        raise InputError("The day of the visit is to come, within about a year.")
    return day


def in_words(found: Found, flags: Iterable[Flag]) -> str:
    """What was found, in sentences.

    Raises:
        InputError: something is not said yet.
    """
    said, words = [], " ".join(found.words.split())
    for flag in flags:
        seen = found.seen.get(flag.number, "")
        if seen not in SEEN:
            raise InputError(f"Say how flag {flag.number}, {flag.kind}, looks now.")
        said.append(f"Flag {flag.number}, {flag.kind}: {SEEN[seen]}.")
    if not words and not said:
        raise InputError("Say what was found, also when it was nothing.")
    text = " ".join([*said, words]).strip()
    if len(text) > _LONGEST:
        raise InputError(f"Say what was found in {_LONGEST} letters or fewer.")
    return text


def done(job: Job, found: Found, *, who: Person | None, at: datetime.datetime) -> FollowUp:
    """The car was seen; on a locked job. What must be mended puts it into the bay again.

    Raises:
        InputError: no visit is to come, the car is not out, or something is not said yet.
    """
    visit = open_visit(job)
    if visit is None:
        raise InputError("There is no visit to come; somebody was quicker.")
    if job.stage != Stage.HANDED:
        raise InputError(
            f"The job stands at “{Stage(job.stage).label}”; a visit follows the hand-back."
        )
    visit.found = in_words(found, left_to_clear(job))
    visit.came_at, visit.who = at, who
    visit.save(update_fields=["found", "came_at", "who"])
    _tell(job, "handback.visit-done", f"The car was seen again. {visit.found}", visit, who)
    if goes_to_bay(found):
        move(
            job,
            Stage.BAY,
            who=who,
            kind="handback.back-in-the-bay",
            sentence="Something is to be mended: the car is in the bay again.",
        )
    return visit


def goes_to_bay(found: Found) -> bool:
    """Whether what was found puts the car into the bay again."""
    return found.is_to_mend or "mend" in found.seen.values()


def _tell(job: Job, kind: str, sentence: str, visit: FollowUp, who: Person | None) -> None:
    write_event(kind, sentence, who=who, job=job, after={"visit": visit.pk})
