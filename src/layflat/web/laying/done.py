"""What was laid on a job's vehicle: by whom, how long it took, what is left.

Public to the parts above: none of them writes `Laying` rows itself.
"""

import datetime
from collections.abc import Callable, Iterable
from typing import Final

from django.db.models import F, QuerySet

from layflat.base import InputError
from layflat.web.cutting.film import not_laid
from layflat.web.cutting.models import Cut
from layflat.web.jobs.models import Job
from layflat.web.laying.models import Laying
from layflat.web.laying.words import in_a_row
from layflat.web.people.models import Person

LAID_AT_ALL: Final = (Laying.Way.LAID, Laying.Way.RELAID)
"""Ways that put film on, unlike pressing it down."""

Told = Callable[[Laying, Person], None]
_WHEN_LAID: dict[Told, None] = {}
_WHEN_UNDONE: dict[Told, None] = {}


def when_laid(act: Told) -> None:
    """Have *act* told of each piece of film that was laid, in the same transaction.

    For parts above, which enter themselves when they start.
    """
    _WHEN_LAID.setdefault(act)


def when_undone(act: Told) -> None:
    """Have *act* told of each laying that was a mistaken tap and goes on; it may refuse.

    Called before anything changes, in the same transaction.
    """
    _WHEN_UNDONE.setdefault(act)


def tell_laid(laying: Laying, who: Person) -> None:
    """Tell the parts above that film was laid."""
    for act in _WHEN_LAID:
        act(laying, who)


def tell_undone(laying: Laying, who: Person) -> None:
    """Tell the parts above that a laying is to be taken back; any of them may refuse."""
    for act in _WHEN_UNDONE:
        act(laying, who)


def layings_of(job: Job) -> QuerySet[Laying]:
    """All that was done with a job's pieces of film, in the order of doing, with who did it.

    Film that was lost since counts: who laid it has laid some of the job.
    """
    return (
        Laying.objects.filter(cut__piece__outcome__cover__job=job)
        .select_related("cut__piece", "photo", "thumb")
        .prefetch_related("people")
        .order_by("pk")
    )


def layings_and_hands(job: Job) -> tuple[list[Laying], dict[int, list[int]]]:
    """The same in one query: layings, and by a laying's key the keys of the people who did it."""
    layings: dict[int, Laying] = {}
    hands: dict[int, list[int]] = {}
    # A row for each person, or one without.
    for row in layings_of(job).prefetch_related(None).annotate(hand=F("people")):
        layings.setdefault(row.pk, row)
        if row.hand is not None:
            hands.setdefault(row.pk, []).append(row.hand)
    return list(layings.values()), hands


def layers_of(job: Job) -> set[int]:
    """The keys of all people who laid or mended anything of a job, or have it in hand."""
    through = Laying.people.through.objects
    return set(
        through.filter(laying__cut__piece__outcome__cover__job=job).values_list(
            "person_id", flat=True
        )
    )


def laying_of(cut: Cut) -> Laying | None:
    """How a piece of film came onto the car: the newest time that it was laid, or None."""
    return (
        cut.layings.filter(way__in=LAID_AT_ALL, ended_at__isnull=False)
        .prefetch_related("people")
        .order_by("pk")
        .last()
    )


def time_of(layings: Iterable[Laying]) -> datetime.timedelta:
    """How long one piece of film was in hand altogether; what goes on does not count yet.

    A clock that was set back counts as no time.
    """
    total = datetime.timedelta()
    for laying in layings:
        if laying.ended_at is not None:
            total += max(laying.ended_at - laying.began_at, datetime.timedelta())
    return total


def why_not_all_laid(job: Job) -> str:
    """Why laying is not over yet, in a sentence; "" when every piece is on the car."""
    try:
        left = not_laid(job)
    except InputError as error:
        return str(error)
    if not left:
        return ""
    named = in_a_row([f"{piece.number} {piece.title}" for piece in left])
    if len(left) == 1:
        return f"Piece {named} is not laid yet."
    return f"{len(left)} pieces are not laid yet: {named}."
