"""Every piece of film of a job, for the parts that lay, check and hand back."""

import datetime

from django.db.models import QuerySet

from layflat.base import InputError
from layflat.papers import panel_in_sentence
from layflat.web.cover.models import Piece
from layflat.web.cutting.models import Cut
from layflat.web.jobs.models import Job
from layflat.web.offer.accepted import accepted_outcome
from layflat.web.people.models import Person
from layflat.web.record.models import write_event

LOST = "cutting.lost"
_ON_HAND = (Cut.State.CUT, Cut.State.WEEDED, Cut.State.LAID)


def cuts_of(job: Job) -> list[Cut]:
    """Every piece of film of a job, lost ones too, in the order of laying; one query.

    Each comes with its piece, its section, the layout, the roll and who cut, weeded or lost it.
    """
    return sorted(_cuts(job), key=_turn)


def film_of(job: Job) -> QuerySet[Cut]:
    """Every piece of film of a job, lost ones too, also on layouts that it shares with others."""
    return Cut.objects.filter(piece__outcome__cover__job=job)


def good_cuts(job: Job) -> list[Cut]:
    """Those of `cuts_of` that are not lost: at most one for a piece."""
    return sorted(_cuts(job).exclude(state=Cut.State.LOST), key=_turn)


def laying_turn(piece: Piece) -> int:
    """The piece's place in the order of laying, from 1; that of cutting where it is not known."""
    turn: int = piece.details.get("lay") or piece.number
    return turn


def lot_of(cut: Cut) -> str:
    """The maker's lot number of the roll that a piece of film was cut from."""
    return cut.section.layout.roll.lot


def in_words(cut: Cut) -> str:
    """A piece of film within a sentence: "piece 3, hood"."""
    return f"piece {cut.number}, {panel_in_sentence(cut.piece.panel)}"


def lose(cut: Cut, *, because: str, who: Person | None, at: datetime.datetime) -> None:
    """Say that a piece of film is lost: its pattern must be laid out and cut anew.

    Call it in a transaction, on a locked job. What is booked of the roll stays booked.

    Raises:
        InputError: no reason is given, it is not cut yet, or somebody lost it before.
    """
    because = because.strip()
    if not because:
        raise InputError("Say why the piece is lost; the reason stays with the job.")
    cut.refresh_from_db(fields=["state", "lost_because", "lost_by"])
    if cut.state == Cut.State.LOST:
        by = f" by {cut.lost_by.shown}" if cut.lost_by else ""
        raise InputError(f"{_capital(cut)} was given up{by} already: {cut.lost_because}.")
    if cut.state not in _ON_HAND:
        raise InputError(f"{_capital(cut)} is not cut yet; there is nothing to give up.")
    before = cut.state
    cut.state = Cut.State.LOST
    cut.lost_because = because[:200]
    cut.lost_at, cut.lost_by = at, who
    cut.save(update_fields=["state", "lost_because", "lost_at", "lost_by"])
    write_event(
        LOST,
        f"{_capital(cut)} is lost: {because}. It is to be laid out and cut again.",
        who=who,
        job=cut.job,
        before={"cut": cut.pk, "state": before},
        after={"cut": cut.pk, "state": Cut.State.LOST.value},
    )


def mark_laid(cut: Cut) -> None:
    """Say that a piece of film lies on the car; the caller writes the event.

    Raises:
        InputError: it is not cut yet, or lost.
    """
    cut.refresh_from_db(fields=["state"])
    if cut.state not in _ON_HAND:
        word = Cut.State(cut.state).label
        raise InputError(f"{_capital(cut)} cannot be laid: it is “{word}”.")
    cut.state = Cut.State.LAID
    cut.save(update_fields=["state"])


def mark_not_laid(cut: Cut) -> None:
    """Take back that a piece of film lies on the car: it is as it was before; no event."""
    cut.refresh_from_db(fields=["state"])
    if cut.state == Cut.State.LAID:
        cut.state = Cut.State.WEEDED if cut.weeded_at else Cut.State.CUT
        cut.save(update_fields=["state"])


def not_laid(job: Job) -> list[Piece]:
    """The pieces of the accepted cover that have no film on the car, in the order of laying.

    Raises:
        InputError: the customer has accepted nothing.
    """
    outcome = accepted_outcome(job)
    laid = Cut.objects.filter(piece__outcome=outcome, state=Cut.State.LAID).values("piece")
    return sorted(outcome.pieces.exclude(pk__in=laid), key=laying_turn)


def all_laid(job: Job) -> bool:
    """Whether every piece of the accepted cover lies on the car.

    Raises:
        InputError: the customer has accepted nothing.
    """
    return not not_laid(job)


def _cuts(job: Job) -> QuerySet[Cut]:
    return (
        film_of(job)
        .select_related(
            "piece",
            "section__layout__roll",
            "section__layout__job",
            "section__cut_by",
            "weeded_by",
            "lost_by",
        )
        .defer("section__layout__so_far", "section__layout__found")  # large, once for each piece
    )


def _turn(cut: Cut) -> tuple[int, int, int]:
    return laying_turn(cut.piece), cut.piece.number, cut.attempt


def _capital(cut: Cut) -> str:
    words = in_words(cut)
    return words[:1].upper() + words[1:]
