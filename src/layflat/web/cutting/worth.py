"""Whether an offcut is worth its shelf, learned from what the shop has laid out of its film."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from layflat.plan import Chance, chance_of_use, offcut_worth
from layflat.web.cover.order import EDGE_MARGIN_MM, END_MARGIN_MM, TURNS_DEG
from layflat.web.cutting.models import Layout, Offcut
from layflat.web.cutting.rests import STORING
from layflat.web.jobs.models import Job
from layflat.web.people.models import Shop
from layflat.web.stock.models import Movement, Roll

_PAST_LAYOUTS: Final = 150
_LIKELY: Final = 0.5
"""Where nobody wrote down what film costs, an offcut is worth keeping from this chance on."""
_FOOT_M: Final = 0.3048
_MARGINS_MM: Final = (2 * END_MARGIN_MM, 2 * EDGE_MARGIN_MM)


@dataclass(frozen=True, kw_only=True)
class Worth:
    """What is known of an offcut's worth.

    Attributes:
        is_worth: whether it pays for its shelf.
        chance: that it is used within the next jobs of its film.
        money: what keeping it is worth, in the shop's currency, less what storing costs; None
            where nobody wrote down what film costs. For the owner.
    """

    is_worth: bool
    chance: Chance
    money: float | None

    @property
    def money_size(self) -> float:
        """How far it is from paying for itself, either way."""
        return abs(self.money or 0.0)

    def why(self, shop: Shop) -> str:
        """What it rests on, in sentences."""
        ahead, jobs, fitting = STORING.jobs_ahead, self.chance.jobs, self.chance.fitting
        use = f"it is used within {ahead} jobs in about {round(10 * self.chance.chance)} of 10"
        if jobs:
            of = f"{fitting} of the last {jobs} jobs" if jobs > 1 else f"{fitting} of 1 job"
            known = f"{of} of this film had a piece that would have gone on it"
        else:
            known = "No other job of this film was laid out yet, so any use is taken as likely"
        m2 = self.chance.saved_mm2 / 1e6
        saved = f"{m2 / _FOOT_M**2:.1f} ft²" if shop.inches else f"{m2:.2f} m²"
        said = f"{known}: {use}, and saves about {saved} of film then."
        if self.money is None:
            return f"{said} What film costs is not written down, so only the chance counts."
        verdict = "pays" if self.is_worth else "does not pay"
        return f"{said} That {verdict} for {STORING.minutes:.0f} minutes of shelving it."


def worth_of(offcuts: Sequence[Offcut], roll: Roll, job: Job, shop: Shop) -> dict[int, Worth]:
    """What offcuts of one roll are worth, by their keys; three queries.

    Args:
        offcuts: of sections of *job*.
        roll: that they are cut from.
        job: whose own pieces teach nothing.
        shop: what its film and hours cost.
    """
    if not offcuts:
        return {}
    past = _past(roll.film, job)
    lying = list(
        Roll.objects.filter(film=roll.film, is_finished=False, cut_from__isnull=False).values_list(
            "left_mm", "width_mm"
        )
    )
    per_m2 = _per_m2(roll, shop)
    found = {}
    for offcut in sorted(offcuts, key=lambda one: -one.length_mm * one.width_mm):
        size = (offcut.length_mm, offcut.width_mm)
        chance = chance_of_use(
            (float(size[0]), float(size[1])),
            past,
            jobs_ahead=STORING.jobs_ahead,
            before=sum(long >= size[0] and wide >= size[1] for long, wide in lying),
            margins_mm=_MARGINS_MM,
            may_turn=bool({90.0, 270.0} & set(TURNS_DEG)),
        )
        found[offcut.pk] = _judged(chance, size, per_m2, shop)
        if offcut.state == Offcut.State.OPEN:
            lying.append(size)
    return found


def _judged(chance: Chance, size: tuple[int, int], per_m2: float | None, shop: Shop) -> Worth:
    if per_m2 is None:
        return Worth(is_worth=chance.chance >= _LIKELY, chance=chance, money=None)
    money = offcut_worth(
        chance,
        float(size[0] * size[1]),
        per_m2=per_m2,
        per_hour=float(shop.hour_cost),
        storing=STORING,
    )
    return Worth(is_worth=money > 0, chance=chance, money=money)


def _past(film: str, job: Job) -> list[list[tuple[float, float]]]:
    """The boxes of pieces that were laid out of a film, job by job, the newest first."""
    rows: Iterable[tuple[int, list[list[float]]]] = (
        Layout.objects.filter(roll__film=film, state__in=(Layout.State.KEPT, Layout.State.CUT))
        .exclude(job=job)
        .order_by("-pk")
        .values_list("job", "boxes")[:_PAST_LAYOUTS]
    )
    by_job: dict[int, list[tuple[float, float]]] = {}
    for key, boxes in rows:
        by_job.setdefault(key, []).extend((float(along), float(across)) for along, across in boxes)
    return [boxes for boxes in by_job.values() if boxes]


def _per_m2(roll: Roll, shop: Shop) -> float | None:
    """What a square metre of a roll's film costs the shop; None where nobody wrote it down."""
    first = roll
    while first.cost is None and first.cut_from is not None:
        first = first.cut_from
    if first.cost:
        came = first.movements.filter(kind=Movement.Kind.RECEIVED)
        length_mm = sum(came.values_list("delta_mm", flat=True))
        if length_mm > 0:
            return float(first.cost) / (length_mm * first.width_mm / 1e6)
    if shop.film_cost_per_metre:
        return float(shop.film_cost_per_metre) / (shop.roll_width_mm / 1e3)
    return None
