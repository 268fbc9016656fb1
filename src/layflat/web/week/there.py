"""The rolls and offcuts that a week's film may come from, and what their film cost."""

import datetime
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from django.db.models import Sum

from layflat.web.people.models import Shop
from layflat.web.stock.models import Movement, Roll
from layflat.web.stock.rolls import usable_rolls

LEAST_MM: Final = 100
"""A shorter rest is not offered."""
MOST: Final = 40
"""Of more rolls and offcuts of a film the oldest are looked at."""
_MM2_PER_M2: Final = 1e6


@dataclass(frozen=True, kw_only=True)
class There:
    """A roll or an offcut of which something is free.

    Attributes:
        roll: it.
        free_mm: whole millimetres that no job has reserved.
        per_m2: what a square metre of it cost; None where that is not written down.
    """

    roll: Roll
    free_mm: int
    per_m2: float | None

    @property
    def is_offcut(self) -> bool:
        """Whether it was cut from a roll."""
        return self.roll.cut_from_id is not None


def stock_there() -> list[There]:
    """Every roll and offcut of which something is free, offcuts first; three queries."""
    usable = [one for one in usable_rolls() if one.free_mm >= LEAST_MM]
    costs = _costs([one.roll for one in usable])
    return [
        There(
            roll=one.roll,
            free_mm=one.free_mm,
            per_m2=costs.get(one.roll.pk),
        )
        for one in usable
    ]


def films_of(there: Iterable[There]) -> list[tuple[str, int]]:
    """The films with what is free of each, in mm; that of which most is there comes first."""
    free: Counter[str] = Counter()
    for one in there:
        free[one.roll.film] += one.free_mm
    return free.most_common()


def usual_per_m2(there: Sequence[There], shop: Shop) -> tuple[float, str]:
    """What a square metre of film costs where no roll says so, and where that is from.

    Where nobody knows any cost it is 1, from "": then metres alone are compared.
    """
    width_m = shop.roll_width_mm / 1e3
    known = [one.per_m2 for one in there if one.per_m2 is not None]
    if shop.film_cost_per_metre:
        return float(shop.film_cost_per_metre) / width_m, "what the shop's settings say it pays"
    if known:
        return sum(known) / len(known), "the other rolls cost on average"
    if shop.film_per_metre:
        return float(shop.film_per_metre) / width_m, "what offers charge for it"
    return 1.0, ""


def age_days(roll: Roll, today: datetime.date) -> int:
    """Since it came."""
    return max(0, (today - roll.received_on).days)


def _costs(rolls: Sequence[Roll]) -> dict[int, float]:
    """What a square metre cost, by the keys of those whose roll's cost is written down."""
    sources = {roll.pk: roll.cut_from_id or roll.pk for roll in rolls}
    came = dict(
        Movement.objects.filter(roll__in=set(sources.values()), kind=Movement.Kind.RECEIVED)
        .order_by()
        .values("roll")
        .annotate(sum=Sum("delta_mm"))
        .values_list("roll", "sum")
    )
    origin = {
        row.pk: row for row in Roll.objects.filter(pk__in=set(sources.values()), cost__isnull=False)
    }
    found = {}
    for key, source in sources.items():
        row, length = origin.get(source), came.get(source, 0)
        if row is not None and row.cost is not None and length > 0:
            found[key] = float(row.cost) / (length * row.width_mm / _MM2_PER_M2)
    return found
