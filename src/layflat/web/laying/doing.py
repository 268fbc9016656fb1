"""Laying film: a piece is begun, ended, given up, and a mistaken tap is taken back.

Every function is called on a locked job within a transaction and writes the event itself.
"""

import datetime
from collections.abc import Sequence
from typing import Any, Final

from layflat.base import InputError
from layflat.web.cutting.film import in_words, lose, mark_laid, mark_not_laid
from layflat.web.cutting.models import Cut
from layflat.web.files.models import StoredFile
from layflat.web.files.store import keep
from layflat.web.jobs.models import Job, Stage
from layflat.web.jobs.pictures import MEDIA_TYPE, MOST_BYTES, Picture
from layflat.web.laying.done import laying_of, tell_laid, tell_undone
from layflat.web.laying.models import Laying
from layflat.web.laying.steps import end_when_all_laid, lay_again, must_be_open, must_reopen
from layflat.web.laying.words import names, sentence_start
from layflat.web.people.models import Person
from layflat.web.people.shop import shown_moment, the_shop
from layflat.web.record.models import write_event

MOST_HANDS: Final = 2
BEGUN: Final = "laying.began"
ENDED: Final = "laying.ended"
UNDONE: Final = "laying.undone"


def begin(
    job: Job, cut: Cut, *, hands: Sequence[Person], who: Person, at: datetime.datetime
) -> Laying:
    """One or two people take a piece of film in hand.

    Args:
        job: locked, in the bay.
        cut: weeded.
        hands: who lays it.
        who: tapped.
        at: when.

    Raises:
        InputError: film may not be laid yet, this piece cannot be, or somebody has it in hand.
    """
    must_be_in_bay(job)
    hands = list(dict.fromkeys(hands))
    if not 1 <= len(hands) <= MOST_HANDS:
        raise InputError("Choose who lays it: one person, or two.")
    _must_be_ready(cut)
    must_be_open(job, at=at, who=who)
    laying = Laying.objects.create(cut=cut, began_at=at)
    laying.people.set(hands)
    write_event(
        BEGUN,
        f"{sentence_start(in_words(cut))}: {names(hands)} began to lay it.",
        who=who,
        job=job,
        after={"cut": cut.pk, "laying": laying.pk, "people": [person.pk for person in hands]},
    )
    return laying


def end(
    job: Job,
    cut: Cut,
    *,
    hard: str,
    picture: Picture | None,
    who: Person,
    at: datetime.datetime,
) -> Laying:
    """A piece of film lies on the car.

    Args:
        job: locked, in the bay.
        cut: in hand.
        hard: what was hard, in words, or "".
        picture: of it, or None.
        who: tapped.
        at: when; before the beginning (a clock set back) it counts as the beginning.

    Raises:
        InputError: nobody has it in hand, or it was given up meanwhile.
        OutputError: the picture cannot be kept.
    """
    must_be_in_bay(job)
    laying = _in_hand(cut)
    photo, thumb = kept_picture(picture, name=f"{job.number}-piece-{cut.piece.number}", who=who)
    mark_laid(cut)
    laying.ended_at = max(at, laying.began_at)
    laying.hard = " ".join(hard.split())[:300]
    laying.photo, laying.thumb = photo, thumb
    laying.save(update_fields=["ended_at", "hard", "photo", "thumb"])
    hands = list(laying.people.all())
    note = f" Hard: {laying.hard}" if laying.hard else ""
    write_event(
        ENDED,
        f"{sentence_start(in_words(cut))} is laid by {names(hands)}.{note}",
        who=who,
        job=job,
        after={"cut": cut.pk, "laying": laying.pk, "people": [person.pk for person in hands]},
    )
    tell_laid(laying, who)
    end_when_all_laid(job, who=who, at=at)
    return laying


def undo(job: Job, cut: Cut, *, who: Person, at: datetime.datetime) -> str:
    """Take the last tap on a piece back: laid, it is in hand again; in hand, it lies ready again.

    Returns:
        What was done, in a sentence.

    Raises:
        InputError: there is nothing to take back, it was inspected since, or a later step has
            begun.
    """
    must_be_in_bay(job)
    if cut.state == Cut.State.LOST:
        raise InputError(
            f"{sentence_start(in_words(cut))} was given up; that cannot be taken back."
        )
    laying = cut.layings.filter(way=Laying.Way.LAID).order_by("pk").last()
    if laying is None:
        raise InputError(f"Nobody has {in_words(cut)} in hand; there is nothing to take back.")
    before = _as_json(laying)
    if laying.ended_at is None:
        laying.people.clear()
        laying.delete()
        said = f"{sentence_start(in_words(cut))} lies ready again: begun by mistake."
        after: dict[str, Any] = {"cut": cut.pk}
    else:
        tell_undone(laying, who)
        must_reopen(job, who=who, at=at)
        mark_not_laid(cut)
        laying.ended_at = None
        laying.save(update_fields=["ended_at"])
        said = f"{sentence_start(in_words(cut))} is in hand again: it was not laid yet."
        after = _as_json(laying)
    write_event(UNDONE, said, who=who, job=job, before=before, after=after)
    return said


def remake(job: Job, cut: Cut, *, because: str, who: Person, at: datetime.datetime) -> None:
    """Give a piece of film up; its pattern goes back to be laid out and cut again.

    Whoever had it in hand has laid some of the job all the same.

    Raises:
        InputError: no reason is given, or it is not cut, or lost already.
    """
    must_be_in_bay(job)
    lose(cut, because=because, who=who, at=at)
    for laying in cut.layings.filter(ended_at__isnull=True):
        laying.ended_at = max(at, laying.began_at)
        laying.save(update_fields=["ended_at"])
    lay_again(job, who=who, at=at)


def must_be_in_bay(job: Job) -> None:
    """Film is laid, mended and checked while a job stands in the bay.

    Raises:
        InputError: it stands elsewhere.
    """
    if job.stage == Stage.CHECKED:
        raise InputError(
            "The job is checked. A fault that is seen now is noted as a flag, which brings the job "
            "back into the bay."
        )
    if job.stage != Stage.BAY:
        raise InputError(
            f"The job stands at “{Stage(job.stage).label}”; film is laid and checked in the bay."
        )


def the_cut(job: Job, key: str) -> Cut:
    """A piece of film of a job by its key, as forms send it.

    Raises:
        InputError: the job has no such piece of film.
    """
    found = (
        Cut.objects.select_related("piece", "section__layout__job", "lost_by")
        .filter(piece__outcome__cover__job=job, pk=int(key) if key.isdecimal() else 0)
        .first()
    )
    if found is None:
        raise InputError(f"Job {job.number} has no such piece of film; open the page anew.")
    return found


def kept_picture(
    picture: Picture | None, *, name: str, who: Person
) -> tuple[StoredFile | None, StoredFile | None]:
    """Keep a picture and the same small; (None, None) for none.

    Raises:
        OutputError: it cannot be kept.
    """
    if picture is None:
        return None, None
    parts = ((picture.whole, ""), (picture.thumb, "-small"))
    whole, thumb = (
        keep(
            [data], name=f"{name}{part}.jpg", media_type=MEDIA_TYPE, most_bytes=MOST_BYTES, who=who
        )
        for data, part in parts
    )
    return whole, thumb


def _must_be_ready(cut: Cut) -> None:
    words = sentence_start(in_words(cut))
    if cut.state == Cut.State.LOST:
        raise InputError(f"{words} was given up: {cut.lost_because}. It is to be cut again.")
    if cut.state == Cut.State.LAID:
        laying = laying_of(cut)
        by = f" by {names(list(laying.people.all()))}" if laying else ""
        raise InputError(f"{words} is laid already{by}.")
    if cut.state == Cut.State.PLACED:
        raise InputError(f"{words} is not cut yet.")
    if cut.state == Cut.State.CUT:
        raise InputError(f"{words} is not weeded yet; take the waste off on the lit table first.")
    other = cut.layings.filter(ended_at__isnull=True).first()
    if other is not None:
        hands = list(other.people.all())
        has = "has" if len(hands) == 1 else "have"
        since = shown_moment(other.began_at, the_shop())
        raise InputError(f"{names(hands)} {has} {in_words(cut)} in hand since {since}.")


def _in_hand(cut: Cut) -> Laying:
    if cut.state == Cut.State.LOST:
        raise InputError(
            f"{sentence_start(in_words(cut))} was given up meanwhile: {cut.lost_because}. "
            "It is to be cut again."
        )
    laying = cut.layings.filter(ended_at__isnull=True).first()
    if laying is None:
        if cut.state == Cut.State.LAID:
            raise InputError(f"{sentence_start(in_words(cut))} is laid already.")
        raise InputError(f"Nobody has {in_words(cut)} in hand; begin it first.")
    return laying


def _as_json(laying: Laying) -> dict[str, Any]:
    """All that a laying says, for the record."""
    return {
        "cut": laying.cut_id,
        "laying": laying.pk,
        "people": sorted(person.pk for person in laying.people.all()),
        "began_at": laying.began_at.isoformat(),
        "ended_at": laying.ended_at.isoformat() if laying.ended_at else None,
        "hard": laying.hard,
        "photo": laying.photo.sha256 if laying.photo else None,
    }
