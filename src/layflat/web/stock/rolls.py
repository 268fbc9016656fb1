"""Rolls with what is left, free and reserved of them."""

from dataclasses import dataclass

from django.db.models import Q, QuerySet, Sum
from django.db.models.functions import Coalesce

from layflat.base import InputError
from layflat.web.jobs.models import Job
from layflat.web.stock.models import Roll


@dataclass(frozen=True, kw_only=True)
class Usable:
    """A roll as somebody who needs film sees it; lengths in whole millimetres.

    Attributes:
        reserved_mm: by other jobs than the one that was asked for.
        own_mm: reserved by that job itself.
        free_mm: what that job, or else any, may take or reserve.
    """

    roll: Roll
    left_mm: int
    reserved_mm: int
    own_mm: int
    free_mm: int


def locked_roll(pk: int) -> Roll:
    """A roll that nobody else changes until the transaction ends.

    Raises:
        InputError: there is none.
    """
    roll = Roll.objects.select_for_update().filter(pk=pk).first()
    if roll is None:
        raise InputError("There is no such roll in the stock; look at the list of rolls.")
    return roll


def with_reserved(rolls: QuerySet[Roll], *, but: Job | None = None) -> QuerySet[Roll]:
    """The same rolls, each with `reserved_mm`: what jobs, all *but* one, have reserved of it."""
    standing = Q(reservations__ended_at__isnull=True)
    if but is not None:
        standing &= ~Q(reservations__job=but)
    return rolls.annotate(
        reserved_mm=Coalesce(Sum("reservations__length_mm", filter=standing), 0),
    )


def reserved_of(roll: Roll) -> int:
    """What is reserved of a roll that `with_reserved` gave."""
    found: int = getattr(roll, "reserved_mm")  # noqa: B009
    return found


def usable_rolls(*, width_mm: float | None = None, job: Job | None = None) -> list[Usable]:
    """Rolls of which something may be taken: offcuts first, then what came first.

    Args:
        width_mm: the least width, or None for any.
        job: for which film is looked for; its own reservations are free to it.
    """
    rolls = with_reserved(Roll.objects.filter(is_finished=False))
    own = Q(reservations__ended_at__isnull=True, reservations__job=job)
    rolls = rolls.annotate(own_mm=Coalesce(Sum("reservations__length_mm", filter=own), 0))
    if width_mm is not None:
        rolls = rolls.filter(width_mm__gte=width_mm)
    found = []
    for roll in rolls.order_by("received_on", "number"):
        all_mm = reserved_of(roll)
        own_mm: int = getattr(roll, "own_mm") if job is not None else 0  # noqa: B009
        free_mm = roll.left_mm - all_mm + own_mm
        if free_mm > 0:
            found.append(
                Usable(
                    roll=roll,
                    left_mm=roll.left_mm,
                    reserved_mm=all_mm - own_mm,
                    own_mm=own_mm,
                    free_mm=free_mm,
                )
            )
    return sorted(found, key=lambda usable: usable.roll.cut_from_id is None)
