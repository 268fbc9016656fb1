"""Film that comes and goes. Whatever is booked here, what is left is the sum of the movements.

Each function locks its roll anew, so it needs a transaction and nobody can book from an old copy;
each bumps the roll's version. Callers say in a job's history what they did for the job.
"""

import datetime
from decimal import Decimal
from typing import Final

from django.utils import timezone

from layflat.base import InputError
from layflat.web.jobs.models import Job
from layflat.web.people.models import Person
from layflat.web.people.shop import shop_time, shown_length, the_shop
from layflat.web.stock.amounts import checked_length, checked_text, checked_width
from layflat.web.stock.models import Movement, Roll
from layflat.web.stock.reserving import (
    GIVEN_BACK,
    USED,
    free_mm,
    release,
    require_free,
    reserve,
    reserve_again,
    shrink,
    standing,
)
from layflat.web.stock.rows import add_roll, book, lock, touch

__all__ = [
    "GIVEN_BACK",
    "USED",
    "cut_offcut",
    "free_mm",
    "give_back",
    "receive",
    "release",
    "reserve",
    "take",
]

_TAKING: Final = (Movement.Kind.CUT, Movement.Kind.SPOILED, Movement.Kind.DISCARDED)


def receive(
    *,
    film: str,
    lot: str,
    width_mm: int,
    length_mm: int,
    cost: Decimal | None,
    place: str,
    received_on: datetime.date,
    who: Person | None,
) -> Roll:
    """A new roll, with all of its length.

    Args:
        film: its name.
        lot: the maker's lot number.
        width_mm: whole millimetres.
        length_mm: whole millimetres.
        cost: of the whole roll in the shop's currency, or None.
        place: where it lies, or "".
        received_on: the day by the shop's clock.
        who: received it.

    Raises:
        InputError: a value is missing or cannot be.
    """
    shop = the_shop()
    if received_on > shop_time(timezone.now(), shop).date():
        raise InputError("The day lies in the future; write the day on which the roll came.")
    if cost is not None and cost < 0:
        raise InputError("A roll does not cost less than nothing; leave the cost out instead.")
    roll = Roll(
        film=checked_text(film, "film", needed="Say which film it is, as it stands on the roll."),
        lot=checked_text(
            lot, "lot", needed="Write the maker's lot number; it stands on the core or box."
        ),
        width_mm=checked_width(width_mm, shop),
        cost=cost,
        place=checked_text(place, "place"),
        received_on=received_on,
    )
    return add_roll(roll, checked_length(length_mm, shop), Movement.Kind.RECEIVED, who=who)


def take(
    roll: Roll,
    length_mm: int,
    *,
    kind: Movement.Kind,
    job: Job | None,
    who: Person | None,
    source: str,
    reason: str = "",
) -> Movement:
    """Take film off a roll; what the job has reserved of it first.

    Args:
        roll: changed as the row is.
        length_mm: whole millimetres.
        kind: cut, spoiled or discarded.
        job: that it is for, or None.
        who: took it.
        source: what books it, such as "section 12"; "" for what a person typed. The same source
            books once, and again after it was given back.
        reason: in words; needed for what was thrown away.

    Returns:
        The movement; the first one when the source has booked already.

    Raises:
        InputError: more than is free, or the kind takes nothing or needs a reason.
    """
    lock(roll)
    if kind not in _TAKING:
        raise InputError("Film is taken because it was cut, spoiled or thrown away.")
    before = _last_of(source)
    if before is not None and not _is_given_back(before):
        return before
    shop = the_shop()
    length_mm = checked_length(length_mm, shop)
    reason = checked_text(
        reason,
        "reason",
        needed="Say why it is thrown away; the reason stays with the roll."
        if kind == Movement.Kind.DISCARDED
        else "",
    )
    require_free(roll, length_mm, job=job, shop=shop)
    own = standing(roll, job)
    covered = min(length_mm, own.length_mm) if own else 0
    if own:
        shrink(own, covered, how=USED)
    return book(
        roll,
        Movement(
            delta_mm=-length_mm,
            kind=kind,
            reason=reason,
            job=job,
            who=who,
            source=source,
            turn=before.turn + 1 if before else 1,
            reserved_mm=covered,
        ),
    )


def give_back(source: str, *, reason: str, who: Person | None) -> Movement:
    """Undo what a source booked, such as when a tick is taken back.

    What the job had reserved of it is reserved again, unless the job gave its reservation back
    since. A roll that was used up by it is offered again. Nothing happens a second time.

    Returns:
        The correction.

    Raises:
        InputError: the source has booked nothing, or no reason is given.
    """
    booked = _last_of(source)
    if booked is None:
        raise InputError("No film was taken for this, so none can be given back.")
    roll = booked.roll
    lock(roll)
    if _is_given_back(booked):
        return booked.given_back
    reason = checked_text(reason, "reason", needed="Say why the film is given back.")
    if booked.reserved_mm and booked.job is not None:
        reserve_again(roll, booked)
    return book(
        roll,
        Movement(
            delta_mm=-booked.delta_mm,
            kind=Movement.Kind.CORRECTED,
            reason=reason,
            job=booked.job,
            who=who,
            gives_back=booked,
        ),
    )


def cut_offcut(
    roll: Roll,
    *,
    width_mm: int,
    length_mm: int,
    place: str,
    who: Person | None,
    was_taken: bool = False,
) -> Roll:
    """A usable rest that is kept as a roll of its own, with the film and lot of where it came from.

    Args:
        roll: that it is cut from; it loses the length, over its whole width.
        width_mm: whole millimetres.
        length_mm: whole millimetres, along the roll.
        place: where it lies, or "".
        who: cut it.
        was_taken: the film was booked off the roll before, such as a strip beside a section's
            pieces; the roll loses nothing now.

    Raises:
        InputError: wider than the roll, or longer than what is free.
    """
    lock(roll)
    shop = the_shop()
    width_mm, length_mm = checked_width(width_mm, shop), checked_length(length_mm, shop)
    if width_mm > roll.width_mm:
        raise InputError(
            f"An offcut of {shown_length(width_mm, shop)} is wider than {roll}, which has"
            f" {shown_length(roll.width_mm, shop)}."
        )
    place = checked_text(place, "place")
    if not was_taken:
        require_free(roll, length_mm, job=None, shop=shop)
        kind = Movement.Kind.OFFCUT
        book(roll, Movement(delta_mm=-length_mm, kind=kind, who=who))
    else:
        touch(roll)
    offcut = Roll(
        film=roll.film,
        lot=roll.lot,
        width_mm=width_mm,
        place=place,
        cut_from=roll,
        received_on=shop_time(timezone.now(), shop).date(),
    )
    return add_roll(offcut, length_mm, Movement.Kind.OFFCUT, who=who)


def _last_of(source: str) -> Movement | None:
    if not source:
        return None
    rows = Movement.objects.filter(source=source).select_related("roll", "job")
    return rows.order_by("-turn").first()


def _is_given_back(movement: Movement) -> bool:
    return Movement.objects.filter(gives_back=movement).exists()
