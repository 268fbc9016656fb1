"""What jobs have reserved of rolls: never more than is left."""

from django.utils import timezone

from layflat.base import InputError
from layflat.web.jobs.models import Job
from layflat.web.people.models import Person, Shop
from layflat.web.people.shop import the_shop
from layflat.web.stock.amounts import checked_length, film_length
from layflat.web.stock.models import Movement, Reservation, Roll
from layflat.web.stock.rolls import reserved_of, with_reserved
from layflat.web.stock.rows import lock, touch

USED = "used"
GIVEN_BACK = "given back"


def reserve(roll: Roll, job: Job, length_mm: int, *, who: Person | None) -> Reservation:
    """Keep film of a roll for a job, beside what the job has reserved of it already.

    Raises:
        InputError: more than is free.
    """
    lock(roll)
    shop = the_shop()
    length_mm = checked_length(length_mm, shop)
    if length_mm > free_mm(roll):
        raise InputError(_too_much(roll, length_mm, free_mm(roll), shop))
    own = standing(roll, job)
    if own is None:
        own = Reservation(roll=roll, job=job, length_mm=0)
    own.length_mm += length_mm
    own.who = who
    own.save()
    touch(roll)
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
    lock(roll)
    own = standing(roll, job)
    if own is None:
        return 0
    freed = own.length_mm if length_mm is None else min(length_mm, own.length_mm)
    own.who = who
    shrink(own, freed, how=how)
    touch(roll)
    return freed


def free_mm(roll: Roll, *, job: Job | None = None) -> int:
    """What may be taken of a roll: by a job, its own reservation with it, or else by anybody.

    It is read from the database, also for a copy of the roll that has grown old.
    """
    now = with_reserved(Roll.objects.filter(pk=roll.pk), but=job).get()
    return now.left_mm - reserved_of(now)


def require_free(roll: Roll, length_mm: int, *, job: Job | None, shop: Shop) -> None:
    """Raises an InputError when a job, or anybody, cannot have so much of a roll."""
    free = free_mm(roll, job=job)
    if length_mm > free:
        raise InputError(_too_much(roll, length_mm, free, shop))


def standing(roll: Roll, job: Job | None) -> Reservation | None:
    """What a job has reserved of a roll and not used or given back yet."""
    if job is None:
        return None
    return roll.reservations.filter(job=job, ended_at__isnull=True).first()


def shrink(own: Reservation, by_mm: int, *, how: str) -> None:
    """Take off a reservation; one of which nothing is left has ended."""
    if by_mm == own.length_mm:
        own.ended_at, own.ended_how = timezone.now(), how
    else:
        own.length_mm -= by_mm
    own.save()


def reserve_again(roll: Roll, booked: Movement) -> None:
    """Reserve anew what a movement had used of its job's reservation.

    Nothing when the job gave the reservation back itself since: it wants the film no more.
    """
    newest = roll.reservations.filter(job=booked.job).order_by("-id").first()
    if newest is None or newest.ended_at is None:
        own = newest or Reservation(roll=roll, job=booked.job, length_mm=0)
    elif newest.ended_how == USED:
        own = Reservation(roll=roll, job=booked.job, length_mm=0)
    else:
        return
    own.length_mm += booked.reserved_mm
    own.save()


def _too_much(roll: Roll, length_mm: int, free: int, shop: Shop) -> str:
    wanted, left = film_length(length_mm, shop), film_length(roll.left_mm, shop)
    if free == roll.left_mm:
        return f"{roll} has {left} left, less than {wanted}; take another roll."
    return (
        f"{roll} has {left} left, of which jobs have reserved"
        f" {film_length(roll.left_mm - free, shop)}; {wanted} is more than the rest."
    )
