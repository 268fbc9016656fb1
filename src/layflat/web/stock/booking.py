"""Film that comes and goes. Whatever is booked here, what is left is the sum of the movements.

Each function locks its roll anew, so it needs a transaction and nobody can book from an old copy;
each bumps the roll's version. Callers say in a job's history what they did for the job.
"""

import datetime
from decimal import Decimal
from typing import Final

from django.db import transaction
from django.db.models import Max, Sum
from django.utils import timezone

from layflat.base import InputError
from layflat.web.jobs.models import Job
from layflat.web.people.models import Person, Shop
from layflat.web.people.shop import shop_time, shown_length, the_shop
from layflat.web.stock.models import Movement, Reservation, Roll

MOST_LENGTH_MM: Final = 1_000_000
"""A kilometre; far beyond any roll, and what a slip of the pen would exceed."""
LEAST_WIDTH_MM: Final = 20
MOST_WIDTH_MM: Final = 3_000
USED: Final = "used"
GIVEN_BACK: Final = "given back"
_TAKING: Final = (Movement.Kind.CUT, Movement.Kind.SPOILED, Movement.Kind.DISCARDED)
_LONGEST: Final = {"film": 80, "lot": 60, "place": 80, "reason": 200}


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
        film=_text(film, "film", needed="Say which film it is, as it stands on the roll."),
        lot=_text(lot, "lot", needed="Write the maker's lot number; it stands on the core or box."),
        width_mm=_width(width_mm, shop),
        cost=cost,
        place=_text(place, "place"),
        received_on=received_on,
    )
    return _added(roll, _length(length_mm, shop), Movement.Kind.RECEIVED, who=who)


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
    _lock(roll)
    if kind not in _TAKING:
        raise InputError("Film is taken because it was cut, spoiled or thrown away.")
    before = _last_of(source)
    if before is not None and not _is_given_back(before):
        return before
    shop = the_shop()
    length_mm = _length(length_mm, shop)
    reason = _text(
        reason,
        "reason",
        needed="Say why it is thrown away; the reason stays with the roll."
        if kind == Movement.Kind.DISCARDED
        else "",
    )
    _require_free(roll, length_mm, job=job, shop=shop)
    own = _standing(roll, job)
    covered = min(length_mm, own.length_mm) if own else 0
    if own:
        _shrink(own, covered, how=USED)
    return _book(
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
    _lock(roll)
    if _is_given_back(booked):
        return booked.given_back
    reason = _text(reason, "reason", needed="Say why the film is given back.")
    if booked.reserved_mm and booked.job is not None:
        _reserve_again(roll, booked)
    return _book(
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


def reserve(roll: Roll, job: Job, length_mm: int, *, who: Person | None) -> Reservation:
    """Keep film of a roll for a job, beside what the job has reserved of it already.

    Raises:
        InputError: more than is free.
    """
    _lock(roll)
    shop = the_shop()
    length_mm = _length(length_mm, shop)
    if length_mm > free_mm(roll):
        raise InputError(_too_much(roll, length_mm, free_mm(roll), shop))
    own = _standing(roll, job)
    if own is None:
        own = Reservation(roll=roll, job=job, length_mm=0)
    own.length_mm += length_mm
    own.who = who
    own.save()
    _touch(roll)
    return own


def release(
    roll: Roll,
    job: Job,
    *,
    how: str,
    who: Person | None,
    length_mm: int | None = None,
) -> int:
    """End what a job has reserved of a roll, or a part of it.

    Args:
        roll: changed as the row is.
        job: whose reservation.
        how: `USED` or `GIVEN_BACK`.
        who: ends it.
        length_mm: whole millimetres that are let go; None, or more than stands, for all.

    Returns:
        How much was let go; 0 when nothing stood.
    """
    _lock(roll)
    own = _standing(roll, job)
    if own is None:
        return 0
    freed = own.length_mm if length_mm is None else min(length_mm, own.length_mm)
    own.who = who
    _shrink(own, freed, how=how)
    _touch(roll)
    return freed


def free_mm(roll: Roll, *, job: Job | None = None) -> int:
    """What may be taken of a roll: by a job, its own reservation with it, or else by anybody."""
    standing = roll.reservations.filter(ended_at__isnull=True)
    if job is not None:
        standing = standing.exclude(job=job)
    reserved: int = standing.aggregate(sum=Sum("length_mm"))["sum"] or 0
    return roll.left_mm - reserved


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
    _lock(roll)
    shop = the_shop()
    width_mm, length_mm = _width(width_mm, shop), _length(length_mm, shop)
    if width_mm > roll.width_mm:
        raise InputError(
            f"An offcut of {shown_length(width_mm, shop)} is wider than {roll}, which has"
            f" {shown_length(roll.width_mm, shop)}."
        )
    place = _text(place, "place")
    if not was_taken:
        _require_free(roll, length_mm, job=None, shop=shop)
        kind = Movement.Kind.OFFCUT
        _book(roll, Movement(delta_mm=-length_mm, kind=kind, who=who))
    else:
        _touch(roll)
    offcut = Roll(
        film=roll.film,
        lot=roll.lot,
        width_mm=width_mm,
        place=place,
        cut_from=roll,
        received_on=shop_time(timezone.now(), shop).date(),
    )
    return _added(offcut, length_mm, Movement.Kind.OFFCUT, who=who)


def correct(roll: Roll, counted_mm: int, *, reason: str, who: Person | None) -> Movement:
    """Set right what is left, after somebody measured it.

    Raises:
        InputError: without a reason, where nothing differs, or less than jobs have reserved.
    """
    _lock(roll)
    shop = the_shop()
    counted_mm = _length(counted_mm, shop, least_mm=0)
    reason = _text(reason, "reason", needed="Say why it is corrected; it stays with the roll.")
    reserved = roll.left_mm - free_mm(roll)
    if counted_mm == roll.left_mm:
        raise InputError(f"{roll} has {shown_length(counted_mm, shop)} left in the record already.")
    if counted_mm < reserved:
        raise InputError(
            f"Jobs have reserved {shown_length(reserved, shop)} of {roll}, more than"
            f" {shown_length(counted_mm, shop)}; give a reservation back first."
        )
    kind = Movement.Kind.CORRECTED
    delta = counted_mm - roll.left_mm
    return _book(roll, Movement(delta_mm=delta, kind=kind, reason=reason, who=who))


def discard(
    roll: Roll, *, reason: str, who: Person | None, length_mm: int | None = None
) -> Movement:
    """Throw film away, for a reason; all that is left when no length is given.

    Raises:
        InputError: without a reason, when nothing is left, or more than is free.
    """
    _lock(roll)
    if roll.left_mm == 0:
        raise InputError(f"Nothing is left of {roll}.")
    length_mm = roll.left_mm if length_mm is None else length_mm
    kind = Movement.Kind.DISCARDED
    return take(roll, length_mm, kind=kind, job=None, who=who, source="", reason=reason)


def put_elsewhere(roll: Roll, place: str, *, who: Person | None) -> Movement | None:
    """Say where a roll lies now; None when it lies there already."""
    _lock(roll)
    place = _text(place, "place")
    if place == roll.place:
        return None
    words = f"from {roll.place or 'no place'} to {place or 'no place'}"
    roll.place = place
    kind = Movement.Kind.MOVED
    return _book(roll, Movement(delta_mm=0, kind=kind, reason=words[:200], who=who))


def _lock(roll: Roll) -> None:
    """Have the roll say what its row says, and keep the row until the transaction ends."""
    roll.refresh_from_db(from_queryset=Roll.objects.select_for_update())


def _book(roll: Roll, movement: Movement) -> Movement:
    movement.roll = roll
    roll.left_mm += movement.delta_mm
    roll.is_finished = roll.left_mm == 0
    _touch(roll)
    movement.save(force_insert=True)
    return movement


def _touch(roll: Roll) -> None:
    roll.version += 1
    roll.save(update_fields=["left_mm", "place", "is_finished", "version"])


def _added(roll: Roll, length_mm: int, kind: Movement.Kind, *, who: Person | None) -> Roll:
    """Save a new roll under the next number; the shop's row keeps two from getting the same."""
    with transaction.atomic():
        Shop.objects.select_for_update().first()
        highest: int = Roll.objects.aggregate(highest=Max("number"))["highest"] or 0
        roll.number = highest + 1
        roll.left_mm = length_mm
        roll.save(force_insert=True)
        Movement.objects.create(roll=roll, delta_mm=length_mm, kind=kind, who=who)
    return roll


def _standing(roll: Roll, job: Job | None) -> Reservation | None:
    if job is None:
        return None
    return roll.reservations.filter(job=job, ended_at__isnull=True).first()


def _shrink(own: Reservation, by_mm: int, *, how: str) -> None:
    """Take off a reservation; one of which nothing is left has ended."""
    if by_mm == own.length_mm:
        own.ended_at, own.ended_how = timezone.now(), how
    else:
        own.length_mm -= by_mm
    own.save()


def _reserve_again(roll: Roll, booked: Movement) -> None:
    newest = roll.reservations.filter(job=booked.job).order_by("-id").first()
    if newest is None or newest.ended_at is None:
        own = newest or Reservation(roll=roll, job=booked.job, length_mm=0)
    elif newest.ended_how == USED:
        own = Reservation(roll=roll, job=booked.job, length_mm=0)
    else:
        return
    own.length_mm += booked.reserved_mm
    own.save()


def _last_of(source: str) -> Movement | None:
    if not source:
        return None
    rows = Movement.objects.filter(source=source).select_related("roll", "job")
    return rows.order_by("-turn").first()


def _is_given_back(movement: Movement) -> bool:
    return Movement.objects.filter(gives_back=movement).exists()


def _require_free(roll: Roll, length_mm: int, *, job: Job | None, shop: Shop) -> None:
    free = free_mm(roll, job=job)
    if length_mm > free:
        raise InputError(_too_much(roll, length_mm, free, shop))


def _too_much(roll: Roll, length_mm: int, free: int, shop: Shop) -> str:
    wanted, left = shown_length(length_mm, shop), shown_length(roll.left_mm, shop)
    if free == roll.left_mm:
        return f"{roll} has {left} left, less than {wanted}; take another roll."
    return (
        f"{roll} has {left} left, of which jobs have reserved"
        f" {shown_length(roll.left_mm - free, shop)}; {wanted} is more than the rest."
    )


def _length(length_mm: int, shop: Shop, *, least_mm: int = 1) -> int:
    if not least_mm <= length_mm <= MOST_LENGTH_MM:
        least, most = shown_length(least_mm, shop), shown_length(MOST_LENGTH_MM, shop)
        raise InputError(f"A length of film lies between {least} and {most}; look at it again.")
    return int(length_mm)


def _width(width_mm: int, shop: Shop) -> int:
    if not LEAST_WIDTH_MM <= width_mm <= MOST_WIDTH_MM:
        least, most = shown_length(LEAST_WIDTH_MM, shop), shown_length(MOST_WIDTH_MM, shop)
        raise InputError(f"A roll is between {least} and {most} wide; look at the width again.")
    return int(width_mm)


def _text(text: str, name: str, *, needed: str = "") -> str:
    """Single spaces and no control characters; not empty where *needed* says what to write."""
    text = " ".join("".join(c if c.isprintable() else " " for c in text).split())
    if needed and not text:
        raise InputError(needed)
    if len(text) > _LONGEST[name]:
        raise InputError(f"Write the {name} in at most {_LONGEST[name]} characters.")
    return text
