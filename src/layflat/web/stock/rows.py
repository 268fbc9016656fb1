"""Rolls as they are locked, booked on and added: whatever changes one goes through here."""

from django.db import transaction
from django.db.models import Max

from layflat.web.jobs.models import Job
from layflat.web.people.models import Person, Shop
from layflat.web.stock.models import Movement, Roll


def lock(roll: Roll) -> None:
    """Have the roll say what its row says, and keep the row until the transaction ends."""
    roll.refresh_from_db(from_queryset=Roll.objects.select_for_update())


def book(roll: Roll, movement: Movement) -> Movement:
    """Keep a movement of a locked roll; a roll of which nothing is left is finished."""
    movement.roll = roll
    roll.left_mm += movement.delta_mm
    roll.is_finished = roll.left_mm == 0
    touch(roll)
    movement.save(force_insert=True)
    return movement


def touch(roll: Roll) -> None:
    """Keep a locked roll, and count the change."""
    roll.version += 1
    roll.save(update_fields=["left_mm", "place", "words_folded", "is_finished", "version"])


def add_roll(
    roll: Roll,
    length_mm: int,
    kind: Movement.Kind,
    *,
    who: Person | None,
    job: Job | None = None,
    reason: str = "",
) -> Roll:
    """Save a new roll under the next number; the shop's row keeps two from getting the same."""
    with transaction.atomic():
        Shop.objects.select_for_update().first()
        highest: int = Roll.objects.aggregate(highest=Max("number"))["highest"] or 0
        roll.number = highest + 1
        roll.left_mm = length_mm
        roll.save(force_insert=True)
        Movement.objects.create(
            roll=roll, delta_mm=length_mm, kind=kind, who=who, job=job, reason=reason[:200]
        )
    return roll
