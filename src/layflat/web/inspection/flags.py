"""Flags: a fault is noted and mended; how it ends, see `layflat.web.inspection.ending`.

Every function is called on a locked job within a transaction and writes the event itself. Film that
comes off takes its flags along: they are mended when the new film is laid.
"""

import datetime
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from django.db.models import Max

from layflat.base import InputError
from layflat.web.cutting.film import in_words, lose
from layflat.web.cutting.models import Cut
from layflat.web.gates.models import Kind
from layflat.web.gates.standing import require_open
from layflat.web.inspection.doing import (
    back_to_bay,
    leave_after_mending,
    look_again_after,
    must_be_on_car,
)
from layflat.web.inspection.kinds import is_known, kind_named
from layflat.web.inspection.models import Check, Flag
from layflat.web.jobs.models import Job, Stage
from layflat.web.jobs.pictures import Picture
from layflat.web.laying.doing import kept_picture, must_be_in_bay
from layflat.web.laying.models import Laying
from layflat.web.laying.steps import lay_again
from layflat.web.laying.words import names, sentence_start
from layflat.web.people.models import Person
from layflat.web.record.models import write_event

FLAGGED: Final = "inspection.flagged"
MENDED: Final = "inspection.mended"
REOPENED: Final = "inspection.still-there"
REMEDY: Final = "inspection.remedy"
MOST_SIZE_MM: Final = 3000.0
_FARTHEST_MM: Final = 20_000.0
_WAYS: Final = {
    Flag.Remedy.PRESS: Laying.Way.PRESSED,
    Flag.Remedy.RELAY: Laying.Way.RELAID,
}
NOT_ENDED: Final = (Flag.State.OPEN, Flag.State.MENDED)


@dataclass(frozen=True, kw_only=True)
class Seen:
    """A fault as it was tapped.

    Attributes:
        kind: a name of `layflat.web.inspection.kinds`.
        remedy: what is to be done.
        x_mm, y_mm: its place on the flat pattern; None when only the piece is known.
        size_mm: how large, or None.
        note: more words.
    """

    kind: str
    remedy: Flag.Remedy
    x_mm: float | None = None
    y_mm: float | None = None
    size_mm: float | None = None
    note: str = ""


def note_flag(
    job: Job,
    cut: Cut,
    seen: Seen,
    *,
    picture: Picture | None,
    who: Person,
    at: datetime.datetime,
) -> Flag:
    """Note a fault on a laid piece; a checked job goes back into the bay.

    Anybody may: a fault that is seen is better known than not. With the remedy "make anew" the film
    is lost at once and its pattern is to be laid out again.

    Raises:
        InputError: the piece is not on the car, or what was tapped is no such fault.
        OutputError: the picture cannot be kept.
    """
    if job.stage != Stage.CHECKED:
        must_be_in_bay(job)
    must_be_on_car(cut)
    _must_make_sense(seen)
    number = (job.flags.aggregate(last=Max("number"))["last"] or 0) + 1
    photo, thumb = kept_picture(picture, name=f"{job.number}-flag-{number}", who=who)
    flag = Flag.objects.create(
        job=job,
        number=number,
        cut=cut,
        kind=seen.kind,
        x_mm=seen.x_mm,
        y_mm=seen.y_mm,
        size_mm=seen.size_mm,
        note=" ".join(seen.note.split())[:300],
        photo=photo,
        thumb=thumb,
        remedy=seen.remedy,
        found_at=at,
        found_by=who,
    )
    note = f": {flag.note}" if flag.note else ""
    write_event(
        FLAGGED,
        f"Flag {number}, {seen.kind}, on {in_words(cut)}{note}. To do: {seen.remedy.label}.",
        who=who,
        job=job,
        after={"flag": number, "cut": cut.pk, "remedy": seen.remedy.value},
    )
    back_to_bay(job, f"flag {number}, {seen.kind}", who=who, at=at)
    if seen.remedy == Flag.Remedy.REMAKE:
        take_off(flag, who=who, at=at)
    return flag


def change_remedy(flag: Flag, remedy: Flag.Remedy, *, who: Person, at: datetime.datetime) -> None:
    """Do something else about an open flag.

    Raises:
        InputError: it is not open, or its kind of fault does not clear by waiting.
    """
    must_be_in_bay(flag.job)
    must_be(flag, Flag.State.OPEN)
    must_be_on_car(flag.cut)
    must_suit(flag.kind, remedy)
    if remedy == flag.remedy:
        return
    before, flag.remedy = flag.remedy, remedy
    flag.save(update_fields=["remedy"])
    write_event(
        REMEDY,
        f"Flag {flag.number}: {flag.get_remedy_display()}, not {Flag.Remedy(before).label}.",
        who=who,
        job=flag.job,
        before={"flag": flag.number, "remedy": before},
        after={"flag": flag.number, "remedy": remedy.value},
    )
    if remedy == Flag.Remedy.REMAKE:
        take_off(flag, who=who, at=at)


def mend(
    flag: Flag,
    *,
    hands: Sequence[Person],
    how: str,
    picture: Picture | None,
    who: Person,
    at: datetime.datetime,
) -> str:
    """Say that film was pressed down or laid again where a flag is.

    Whoever did it had the film in hand: the check of the piece counts no more, and they inspect
    none of this job from then on.

    Returns:
        What follows from it, in a sentence, or "".

    Raises:
        InputError: the flag is not open, waits, or its film comes off.
    """
    job = flag.job
    must_be_in_bay(job)
    must_be(flag, Flag.State.OPEN)
    if flag.remedy == Flag.Remedy.REMAKE or flag.cut.state == Cut.State.LOST:
        raise InputError(
            f"Flag {flag.number} is mended when the new piece is laid; it is cut again first."
        )
    if flag.remedy == Flag.Remedy.WAIT:
        raise InputError(
            f"Flag {flag.number} is left to clear; choose “press down” or “lay again” first if it "
            "is not."
        )
    must_be_on_car(flag.cut)
    if not 1 <= len(hands) <= 2:
        raise InputError("Choose who mended it: one person, or two.")
    if flag.cut.layings.filter(ended_at__isnull=True).exists():
        raise InputError(f"{sentence_start(in_words(flag.cut))} is in hand; end that first.")
    require_open(job, Kind.LAY, at=at)
    name = f"{job.number}-flag-{flag.number}-mended"
    photo, thumb = kept_picture(picture, name=name, who=who)
    laying = Laying.objects.create(
        cut=flag.cut,
        way=_WAYS[Flag.Remedy(flag.remedy)],
        began_at=at,
        ended_at=at,
        hard=" ".join(how.split())[:300],
        photo=photo,
        thumb=thumb,
    )
    laying.people.set(hands)
    Check.objects.filter(cut=flag.cut, stale_at__isnull=True).update(stale_at=at)
    look_again_after(job, hands, since=at, at=at)
    more = f": {laying.hard}" if laying.hard else ""
    done = f"{laying.get_way_display()} by {names(hands)}{more}"
    _set_mended(flag, done, by=hands[0], at=at)
    tell(MENDED, f"Flag {flag.number}: {done}. Somebody else looks again.", flag, who)
    return leave_after_mending(job, list(hands), at=at)


def new_film_laid(laying: Laying, who: Person) -> None:
    """Flags of film that came off are mended by the film that was laid in its place.

    A piece has one film that is not lost, so that all its flags that are not ended are of film that
    came off.
    """
    cut, hands = laying.cut, list(laying.people.order_by("pk"))
    ended_at = laying.ended_at or laying.began_at
    job = cut.job
    look_again_after(job, hands, since=laying.began_at, at=ended_at)
    for flag in Flag.objects.filter(cut__piece_id=cut.piece_id, state__in=NOT_ENDED).select_related(
        "job", "cut", "replaced_by"
    ):
        flag.replaced_by = cut
        done = f"made anew, laid by {names(hands)}"
        _set_mended(flag, done, by=hands[0], at=ended_at)
        tell(MENDED, f"Flag {flag.number}: {done}. Somebody else looks again.", flag, who)


def not_laid_after_all(laying: Laying, who: Person) -> None:
    """Refuse to take back a laying that was inspected; else open again what it mended.

    Raises:
        InputError: the piece was looked at, or has a flag.
    """
    cut = laying.cut
    replaced = list(cut.replaces.select_related("job", "cut"))
    was_ended = any(flag.state == Flag.State.ENDED for flag in replaced)
    if was_ended or cut.checks.exists() or cut.flags.exists():
        raise InputError(
            f"{sentence_start(in_words(cut))} was inspected since; note a flag or give it up."
        )
    for flag in replaced:
        flag.replaced_by = None
        set_open(flag)
        tell(REOPENED, f"Flag {flag.number} is open: the new film is not laid yet.", flag, who)


def film_of(flag: Flag) -> Cut:
    """The film that a flag is about now: the new one, once it was made anew."""
    return flag.replaced_by or flag.cut


def set_open(flag: Flag) -> None:
    """Have a mended flag open again; the caller writes the event."""
    flag.state = Flag.State.OPEN
    flag.mended_at, flag.mended_by, flag.mended_how = None, None, ""
    flag.save()


def _must_make_sense(seen: Seen) -> None:
    if not is_known(seen.kind):
        raise InputError("Choose what kind of fault it is.")
    must_suit(seen.kind, seen.remedy)
    if (seen.x_mm is None) != (seen.y_mm is None):
        raise InputError("Tap the place of the fault again; half of it is missing.")
    for value in (seen.x_mm, seen.y_mm):
        if value is not None and not (math.isfinite(value) and abs(value) <= _FARTHEST_MM):
            raise InputError("The place of the fault is not on the piece; tap it again.")
    if seen.size_mm is not None and not 0 < seen.size_mm <= MOST_SIZE_MM:
        raise InputError(f"The size of a fault is more than 0 and at most {MOST_SIZE_MM:g} mm.")


def must_suit(kind: str, remedy: Flag.Remedy) -> None:
    """Refuse to wait for what never clears."""
    if remedy == Flag.Remedy.WAIT and not kind_named(kind).may_wait:
        raise InputError(
            f"{kind.capitalize()} does not clear by waiting; only water pockets and haze may."
        )


def must_be(flag: Flag, state: Flag.State) -> None:
    """Refuse what a flag in another state is not ready for, and say how it stands."""
    if flag.state == state:
        return
    if flag.state == Flag.State.ENDED:
        by = f" by {flag.ended_by.shown}" if flag.ended_by else ""
        raise InputError(f"Flag {flag.number} was ended{by} already: {flag.ended_how}.")
    if flag.state == Flag.State.MENDED:
        raise InputError(f"Flag {flag.number} is mended already: {flag.mended_how}.")
    raise InputError(f"Flag {flag.number} is open: {flag.get_remedy_display()} comes first.")


def take_off(flag: Flag, *, who: Person, at: datetime.datetime) -> None:
    """Give up the film of a flag that is to be made anew."""
    lose(flag.cut, because=f"flag {flag.number}, {flag.kind}", who=who, at=at)
    flag.cut.refresh_from_db(fields=["state", "lost_because"])
    lay_again(flag.job, who=who, at=at)


def _set_mended(flag: Flag, how: str, *, by: Person, at: datetime.datetime) -> None:
    flag.state = Flag.State.MENDED
    flag.mended_at, flag.mended_by, flag.mended_how = at, by, how[:200]
    flag.save()


def tell(kind: str, sentence: str, flag: Flag, who: Person) -> None:
    """Write an event about a flag."""
    write_event(kind, sentence, who=who, job=flag.job, after={"flag": flag.number})
