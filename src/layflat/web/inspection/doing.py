"""Inspection: a round is begun, pieces are looked at, the round is left or finished.

Every function is called on a locked job within a transaction and writes the event itself. Whoever
laid or mended anything of the job inspects none of it, unless the round says why all the same.
"""

import datetime
from collections.abc import Sequence
from typing import Final

from django.db.models import Max

from layflat.base import InputError
from layflat.web.cutting.film import in_words
from layflat.web.cutting.models import Cut
from layflat.web.gates.doing import begin_kind, finish_kind
from layflat.web.gates.models import Kind
from layflat.web.gates.standing import require_open
from layflat.web.inspection.models import Check, Round
from layflat.web.inspection.open import is_checked, may_inspect, open_round
from layflat.web.jobs.models import Job, Stage
from layflat.web.jobs.stages import move
from layflat.web.laying.doing import must_be_in_bay
from layflat.web.laying.done import layers_of, why_not_all_laid
from layflat.web.laying.steps import inspect_again
from layflat.web.laying.words import sentence_start
from layflat.web.people.models import Person
from layflat.web.people.shop import shown_moment, the_shop
from layflat.web.record.models import write_event

BEGUN: Final = "inspection.begun"
LEFT: Final = "inspection.left"
CHECKED: Final = "inspection.checked"
FINISHED: Final = "inspection.finished"
BACK: Final = "inspection.back-to-bay"
_LEAST_REASON: Final = 3


def begin(
    job: Job,
    *,
    own_work_because: str,
    takes_over: bool,
    who: Person,
    at: datetime.datetime,
) -> Round:
    """Begin to inspect a job.

    Args:
        job: locked, in the bay, all its pieces laid.
        own_work_because: why somebody who laid some of it inspects it all the same; it stands in
            every later paper. Not kept for somebody who did not.
        takes_over: whether a round of somebody else is ended by this.
        who: inspects.
        at: when.

    Raises:
        InputError: it is not time for it, or it must be somebody else.
    """
    must_be_in_bay(job)
    missing = why_not_all_laid(job)
    if missing:
        raise InputError(f"Inspection begins when all film is laid. {missing}")
    require_open(job, Kind.INSPECT, at=at)
    why_not = may_inspect(job, who)
    reason = " ".join(own_work_because.split())[:200] if why_not else ""
    if why_not and len(reason) < _LEAST_REASON:
        raise InputError(
            f"{why_not} Where there is nobody else, say why; the reason stands in the passport."
        )
    other = open_round(job)
    if other is not None:
        is_mine = other.inspector == who and bool(reason) and not other.own_work_because
        _make_way(job, other, takes_over=takes_over or is_mine, who=who, at=at)
    begin_kind(job, Kind.INSPECT, who=who, at=at)
    last = job.rounds.aggregate(last=Max("number"))["last"] or 0
    found = Round.objects.create(
        job=job, number=last + 1, inspector=who, own_work_because=reason, began_at=at
    )
    own = f" It is {who.shown}'s own work, inspected all the same: {reason}" if reason else ""
    write_event(
        BEGUN,
        f"{who.shown} began inspection {found.number}.{own}",
        who=who,
        job=job,
        after={"round": found.number, "own_work_because": reason},
    )
    return found


def leave(job: Job, *, who: Person, at: datetime.datetime) -> None:
    """Stop inspecting for now: what was looked at stands, somebody may go on.

    Raises:
        InputError: nobody inspects, or it is somebody else.
    """
    found = my_round(job, who, must_be_allowed=False)
    _end(found, at=at)
    write_event(
        LEFT,
        f"{who.shown} stopped inspecting; what was looked at stands.",
        who=who,
        job=job,
        after={"round": found.number},
    )


def leave_after_mending(job: Job, people: list[Person], *, at: datetime.datetime) -> str:
    """End the round of an inspector who has just mended something; a sentence, or ""."""
    found = open_round(job)
    if found is None or found.own_work_because or found.inspector not in people:
        return ""
    _end(found, at=at)
    said = (
        f"{found.inspector.shown} mended some of it and so inspects no more; somebody else goes on."
    )
    write_event(LEFT, said, who=found.inspector, job=job, after={"round": found.number})
    return said


def check(job: Job, cut: Cut, *, who: Person, at: datetime.datetime) -> Check:
    """Say that a piece was looked at all over.

    Raises:
        InputError: it is not laid, was looked at already, or *who* does not inspect.
    """
    must_be_in_bay(job)
    found = my_round(job, who)
    must_be_on_car(cut)
    before = (
        Check.objects.select_related("round__inspector")
        .filter(cut=cut, stale_at__isnull=True)
        .first()
    )
    if before is not None:
        raise InputError(
            f"{sentence_start(in_words(cut))} was checked by {before.round.inspector.shown} "
            "already, and nobody touched it since."
        )
    touched = cut.layings.aggregate(last=Max("ended_at"))["last"]
    if touched is not None and at < touched:
        # A tap that a tablet kept: what was looked at then is no longer what lies on the car.
        raise InputError(
            f"{sentence_start(in_words(cut))} was touched after you looked, at "
            f"{shown_moment(touched, the_shop())}; look again."
        )
    made = Check.objects.create(round=found, cut=cut, at=at)
    write_event(
        CHECKED,
        f"{sentence_start(in_words(cut))} was looked at all over.",
        who=who,
        job=job,
        after={"cut": cut.pk, "round": found.number},
    )
    return made


def look_again_after(
    job: Job, hands: Sequence[Person], *, since: datetime.datetime, at: datetime.datetime
) -> None:
    """Have looks count no more that people took after they had film in hand.

    Taps that a tablet kept come in late: then somebody looked as if there were nothing against it.

    Args:
        job: locked.
        hands: who had film in hand.
        since: from when.
        at: when that became known.
    """
    Check.objects.filter(
        round__job=job,
        round__inspector__in=[person.pk for person in hands],
        round__own_work_because="",
        at__gte=since,
        stale_at__isnull=True,
    ).update(stale_at=at)


def finish(job: Job, *, who: Person, at: datetime.datetime) -> None:
    """End the inspection: every piece is checked and no flag is open.

    Raises:
        InputError: something is missing, or *who* does not inspect.
    """
    must_be_in_bay(job)
    found = my_round(job, who)
    missing = is_checked(job)
    if missing:
        raise InputError(missing)
    require_open(job, Kind.INSPECT, at=at)
    _end(found, at=at)
    finish_kind(job, Kind.INSPECT, who=who, at=at)
    own = f" It was the own work: {found.own_work_because}" if found.own_work_because else ""
    move(
        job,
        Stage.CHECKED,
        who=who,
        kind=FINISHED,
        sentence=f"{who.shown} finished inspection {found.number}: every piece is checked, no flag "
        f"is open.{own}",
    )


def back_to_bay(job: Job, because: str, *, who: Person, at: datetime.datetime) -> None:
    """A checked job goes back into the bay; nothing where it stands there."""
    if job.stage == Stage.CHECKED:
        move(
            job,
            Stage.BAY,
            who=who,
            kind=BACK,
            sentence=f"Back into the bay: {because}.",
        )
        inspect_again(job, who=who, at=at)


def my_round(job: Job, who: Person, *, must_be_allowed: bool = True) -> Round:
    """The round that *who* has open.

    Args:
        job: locked.
        who: acts.
        must_be_allowed: whether *who* must not have laid or mended anything, unless the round says
            why all the same.

    Raises:
        InputError: it is not so; the sentence says what to do.
    """
    found = open_round(job)
    if found is None:
        raise InputError("Nobody inspects this job now; begin the inspection first.")
    if found.inspector != who:
        raise InputError(
            f"{found.inspector.shown} inspects this job since "
            f"{shown_moment(found.began_at, the_shop())}; take it over first."
        )
    if must_be_allowed and not found.own_work_because and who.pk in layers_of(job):
        raise InputError(may_inspect(job, who))
    return found


def must_be_on_car(cut: Cut) -> None:
    """Only what lies on the car is looked at.

    Raises:
        InputError: the film is lost, or not laid.
    """
    if cut.state == Cut.State.LOST:
        raise InputError(
            f"{sentence_start(in_words(cut))} came off: {cut.lost_because}. Look at the new one."
        )
    if cut.state != Cut.State.LAID:
        raise InputError(f"{sentence_start(in_words(cut))} is not laid.")


def _make_way(
    job: Job, other: Round, *, takes_over: bool, who: Person, at: datetime.datetime
) -> None:
    if other.inspector == who and not takes_over:
        raise InputError("You inspect this job already; go on.")
    if not takes_over:
        raise InputError(
            f"{other.inspector.shown} inspects this job since "
            f"{shown_moment(other.began_at, the_shop())}. Tick that you take it over; what was "
            "looked at stands."
        )
    _end(other, at=at)
    from_whom = "" if other.inspector == who else f" from {other.inspector.shown}"
    write_event(
        LEFT,
        f"{who.shown} took the inspection over{from_whom}.",
        who=who,
        job=job,
        after={"round": other.number},
    )


def _end(found: Round, *, at: datetime.datetime) -> None:
    found.ended_at = max(at, found.began_at)
    found.save(update_fields=["ended_at"])
