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
from layflat.web.stock.amounts import checked_length, checked_text, checked_width, film_length
from layflat.web.stock.beside import require_kept, require_rest
from layflat.web.stock.faults import carry_over
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
from layflat.web.stock.rows import add_roll, book, lock

__all__ = [
    "GIVEN_BACK",
    "USED",
    "cut_offcut",
    "free_mm",
    "give_back",
    "note_rest",
    "receive",
    "release",
    "reserve",
    "take",
    "uncut_offcut",
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
    most_reserved_mm: int | None = None,
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
        most_reserved_mm: how much of what the job has reserved is meant for this; more of it is
            taken only where too little is free besides. None is all.

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
    if most_reserved_mm is not None:
        covered = max(0, min(covered, most_reserved_mm), length_mm - free_mm(roll))
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
        InputError: the source has booked nothing, no reason is given, or offcuts are kept of this
            film.
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
    given = book(
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
    require_kept(roll)
    return given


def cut_offcut(
    roll: Roll,
    *,
    width_mm: int,
    length_mm: int,
    place: str,
    who: Person | None,
    was_taken: bool = False,
    job: Job | None = None,
    reason: str = "",
) -> Roll:
    """A usable rest that is kept as a roll of its own, with the film and lot of where it came from.

    Faults that lie in what is cut off the roll go with it.

    Args:
        roll: that it is cut from; it loses the length, over its whole width.
        width_mm: whole millimetres.
        length_mm: whole millimetres, along the roll.
        place: where it lies, or "".
        who: cut it.
        was_taken: the film was booked off the roll before, such as a strip beside a section's
            pieces; the roll loses nothing now.
        job: whose section it was cut out of, or None.
        reason: what it was cut out of, in words.

    Raises:
        InputError: wider than the roll, longer than what is free, or no such rest lies beside what
            was cut.
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
    before_mm = roll.left_mm
    if was_taken:
        require_rest(roll, width_mm=width_mm, length_mm=length_mm)
    else:
        require_free(roll, length_mm, job=None, shop=shop)
    offcut = Roll(
        film=roll.film,
        lot=roll.lot,
        width_mm=width_mm,
        place=place,
        cut_from=roll,
        kept=Roll.Kept.BESIDE if was_taken else Roll.Kept.OFF,
        received_on=shop_time(timezone.now(), shop).date(),
    )
    kind = Movement.Kind.OFFCUT
    add_roll(offcut, length_mm, kind, who=who, job=job, reason=reason)
    size = f"{film_length(length_mm, shop)} of {shown_length(width_mm, shop)}"
    said = f"{offcut}, {size}" + (f", {reason}" if reason else "")
    delta_mm = 0 if was_taken else -length_mm
    book(roll, Movement(delta_mm=delta_mm, kind=kind, reason=said[:200], job=job, who=who))
    if not was_taken:
        carry_over(roll, offcut, before_mm=before_mm, who=who)
    return offcut


def uncut_offcut(offcut: Roll, *, who: Person | None) -> None:
    """Take back that an offcut was kept whose film had been booked off its roll before.

    It is finished, and its number is not used again.

    Raises:
        InputError: it is no offcut, or film of it was taken, reserved or set right since.
    """
    lock(offcut)
    roll = offcut.cut_from
    if roll is None or offcut.kept != Roll.Kept.BESIDE or offcut.is_finished:
        raise InputError(
            f"{offcut} is no rest of cut film that lies in stock; there is nothing to take back."
        )
    # What was taken of it and given back since was there all the time.
    standing = offcut.movements.filter(gives_back=None, given_back=None)
    moved = standing.exclude(delta_mm=0).count()
    if moved > 1 or free_mm(offcut) != offcut.left_mm:
        raise InputError(
            f"Film of {offcut} was used, reserved or set right since; throw away what is left of "
            "it instead."
        )
    kind, length_mm = Movement.Kind.CORRECTED, offcut.left_mm
    book(offcut, Movement(delta_mm=-length_mm, kind=kind, reason="It was not kept.", who=who))
    offcut.kept = Roll.Kept.UNDONE
    offcut.save(update_fields=["kept"])
    lock(roll)
    said = f"{offcut} was not kept."
    book(roll, Movement(delta_mm=0, kind=Movement.Kind.OFFCUT, reason=said, who=who))


def note_rest(
    roll: Roll, *, kind: Movement.Kind, reason: str, job: Job | None, who: Person | None
) -> Movement:
    """Say what became of film that was booked off a roll before: what is left stays as it is."""
    lock(roll)
    return book(roll, Movement(delta_mm=0, kind=kind, reason=reason[:200], job=job, who=who))


def _last_of(source: str) -> Movement | None:
    if not source:
        return None
    rows = Movement.objects.filter(source=source).select_related("roll", "job")
    return rows.order_by("-turn").first()


def _is_given_back(movement: Movement) -> bool:
    return Movement.objects.filter(gives_back=movement).exists()
