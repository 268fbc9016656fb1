"""The list of rolls, a roll's own page, and how rolls are looked for."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from django.db.models import IntegerField, OuterRef, Prefetch, Q, QuerySet, Subquery, Sum
from django.db.models.functions import Coalesce

from layflat.web.folding import bare, folded
from layflat.web.people.models import Shop
from layflat.web.stock.faults import faults_of, with_faults
from layflat.web.stock.models import Movement, Reservation, Roll
from layflat.web.stock.rolls import reserved_of, with_reserved
from layflat.web.stock.strips import Rule, Strip, rule_for, strip_of

WHICH: Final = {
    "": "In stock",
    "rolls": "Rolls",
    "offcuts": "Offcuts",
    "finished": "Finished",
    "all": "All",
}
"""Which rolls are shown, as it is named in addresses and shown."""
ORDER: Final = ("is_finished", "-number")
"""What can be used first, the newest before the others."""
_MOST_WORDS: Final = 8
_MOST_NUMBER: Final = 2_147_483_647


@dataclass(frozen=True, kw_only=True)
class Shown:
    """A roll as it is shown; lengths in whole millimetres."""

    roll: Roll
    came_mm: int
    reserved_mm: int
    strip: Strip

    @property
    def free_mm(self) -> int:
        """What anybody may take."""
        return self.roll.left_mm - self.reserved_mm


def roll_number(text: str) -> int | None:
    """The number in "R7" or "7"; None in anything else."""
    found = re.fullmatch(r"[Rr]?([0-9]{1,10})", text)
    number = int(found[1]) if found else None
    return number if number is not None and number <= _MOST_NUMBER else None


def find_rolls(text: str, *, which: str = "") -> QuerySet[Roll]:
    """Rolls in which every word of *text* is found: number, film, lot or place.

    Args:
        text: as typed.
        which: a key of `WHICH`.
    """
    rolls = Roll.objects.order_by(*ORDER)
    if which in ("", "rolls", "offcuts"):
        rolls = rolls.filter(is_finished=False)
    if which in ("rolls", "offcuts"):
        rolls = rolls.filter(cut_from__isnull=which == "rolls")
    if which == "finished":
        rolls = rolls.filter(is_finished=True)
    for word in text.split()[:_MOST_WORDS]:
        found = Q(words_folded__contains=folded(word))
        if bare(word):
            found |= Q(lot_bare__contains=bare(word))
        number = roll_number(word)
        if number is not None:
            found |= Q(number=number)
        rolls = rolls.filter(found)
    return rolls


def with_all(rolls: QuerySet[Roll]) -> QuerySet[Roll]:
    """The same rolls with what their drawings need, in three queries."""
    coming = (
        Movement.objects.filter(roll=OuterRef("pk"), kind__in=_COMING, delta_mm__gt=0)
        .order_by()
        .values("roll")
        .annotate(sum=Sum("delta_mm"))
        .values("sum")
    )
    standing = Reservation.objects.filter(ended_at__isnull=True).select_related("job")
    came = Coalesce(Subquery(coming, output_field=IntegerField()), 0)
    return (
        with_reserved(rolls)
        .annotate(came_mm=came)
        .select_related("cut_from")
        .prefetch_related(Prefetch("reservations", standing, to_attr="standing"), with_faults())
    )


_COMING: Final = (Movement.Kind.RECEIVED, Movement.Kind.OFFCUT)


def shown_rolls(rolls: list[Roll], shop: Shop) -> tuple[list[Shown], Rule]:
    """Rolls that `with_all` gave, drawn on one rule."""
    came = {roll.pk: max(_number(roll, "came_mm"), roll.left_mm) for roll in rolls}
    rule = rule_for(came.values(), shop)
    faults = faults_of(rolls)
    return [
        Shown(
            roll=roll,
            came_mm=came[roll.pk],
            reserved_mm=reserved_of(roll),
            strip=strip_of(
                roll,
                getattr(roll, "standing"),  # noqa: B009
                came_mm=came[roll.pk],
                rule=rule,
                faults=faults.get(roll.pk, ()),
            ),
        )
        for roll in rolls
    ], rule


def _number(roll: Roll, name: str) -> int:
    found: int = getattr(roll, name)
    return found


def with_balance(
    roll: Roll, moves: Sequence[Movement], *, is_newest: bool
) -> list[tuple[Movement, int]]:
    """Movements of a roll, the newest first, each with what was left after it.

    Args:
        roll: with what is left now.
        moves: in a row.
        is_newest: whether there are none after them.
    """
    if not moves:
        return []
    left, lines = roll.left_mm, []
    if not is_newest:
        newer = roll.movements.filter(pk__gt=moves[0].pk).aggregate(sum=Sum("delta_mm"))
        left -= newer["sum"] or 0
    for move in moves:
        lines.append((move, left))
        left -= move.delta_mm
    return lines
