"""When to buy film, and how much: reorder point and order quantity under continuous review.

The (s, Q) policy: as soon as what is there and on its way, less what is promised, falls to the
point s, Q is ordered. Over the lead time L (mean) with its standard deviation, demand a day D
with its own, the demand until the film comes has

    mean  mu = D L          variance  sigma^2 = L sigma_D^2 + D^2 sigma_L^2

and s = mu + z sigma with the normal quantile z of the wanted chance not to run out in a cycle. Q
is the economic order quantity, the square root of 2 A D' / h for a cost A of an order, a year's
demand D' and the cost h of holding a metre for a year, rounded to whole rolls. (E. A. Silver, D.
F. Pyke and D. J. Thomas, *Inventory and Production Management in Supply Chains*, chapters on (s,
Q) systems and on the economic order quantity; S. Chopra and P. Meindl, *Supply Chain Management*,
chapter on safety inventory; both from memory.)
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist, fmean, stdev

from layflat.base import SettingError

_DAYS = 365.0


@dataclass(frozen=True, kw_only=True)
class Usual:
    """What is usual of one film.

    Attributes:
        per_day_m: metres used a day, on average.
        per_day_sd_m: the standard deviation of a day's use.
        lead_days: from order to delivery, on average.
        lead_sd_days: its standard deviation.
    """

    per_day_m: float
    per_day_sd_m: float
    lead_days: float
    lead_sd_days: float = 0.0

    def __post_init__(self) -> None:
        for name, value in vars(self).items():
            if not 0 <= value < math.inf:
                raise SettingError(f"“{name}” is {value:g}; it must be 0 or more.")


@dataclass(frozen=True, kw_only=True)
class Reorder:
    """When and how much to buy.

    Attributes:
        point_m: order as soon as the free film falls to this.
        safety_m: of it, what covers chance.
        mean_m: of it, what is usually used until the film comes.
        order_m: how much to order, whole rolls.
        free_m: what is there and on its way, less what is promised.
        is_due: whether it is time.
        days_left: until the free film falls to the point, as usual; 0 when it is time; infinite
            when nothing is used.
    """

    point_m: float
    safety_m: float
    mean_m: float
    order_m: float
    free_m: float
    is_due: bool
    days_left: float

    def sentence(self, film: str) -> str:
        """What to do, in words."""
        if self.is_due:
            return (
                f"Order {self.order_m:.1f} m of {film} now: {self.free_m:.1f} m are free, and "
                f"{self.point_m:.1f} m are needed until it comes ({self.safety_m:.1f} m of them "
                "for chance)."
            )
        when = f" in about {self.days_left:.0f} days" if math.isfinite(self.days_left) else " later"
        return (
            f"No need to order {film} yet: {self.free_m:.1f} m are free, the point is "
            f"{self.point_m:.1f} m; order {self.order_m:.1f} m{when}."
        )


def usual_of(daily_m: Sequence[float], lead_days: Sequence[float]) -> Usual:
    """What is usual, from a shop's own record.

    Args:
        daily_m: metres used on each day, days without any included; at least two.
        lead_days: of past orders; at least one (from one alone nothing is known of its spread).

    Raises:
        SettingError: there is too little to learn from, or a number is negative.
    """
    if len(daily_m) < 2 or not lead_days:
        raise SettingError(
            "The usual use of film needs at least two days of use and one past delivery."
        )
    return Usual(
        per_day_m=fmean(daily_m),
        per_day_sd_m=stdev(daily_m),
        lead_days=fmean(lead_days),
        lead_sd_days=stdev(lead_days) if len(lead_days) > 1 else 0.0,
    )


def reorder(
    usual: Usual,
    *,
    there_m: float,
    on_order_m: float = 0.0,
    promised_m: float = 0.0,
    service: float = 0.95,
    roll_m: float = 15.2,
    order_cost: float = 0.0,
    metre_cost: float = 1.0,
    holding: float = 0.2,
) -> Reorder:
    """When and how much of one film to buy.

    Args:
        usual: use and lead time.
        there_m, on_order_m: film in the shop, and what is on its way.
        promised_m: what accepted jobs need.
        service: the wanted chance that film does not run out while an order is on its way, from
            0.5 to below 1.
        roll_m: the length of a new roll.
        order_cost: what an order costs beside the film: freight, paperwork.
        metre_cost: what a metre costs.
        holding: what it costs to hold film for a year, as a part of its price; above 0.

    Raises:
        SettingError: a value is out of range.
    """
    if not 0.5 <= service < 1:
        raise SettingError(
            f"The wanted chance not to run out is {service:g}; it must be from 0.5 to below 1."
        )
    amounts = {
        "film in the shop": there_m,
        "film on order": on_order_m,
        "film promised": promised_m,
        "cost of an order": order_cost,
    }
    for name, value in amounts.items():
        if not 0 <= value < math.inf:
            raise SettingError(f"The {name} is {value:g}; it must be 0 or more.")
    for name, value in {"roll": roll_m, "price of a metre": metre_cost, "holding": holding}.items():
        if not 0 < value < math.inf:
            raise SettingError(f"The {name} is {value:g}; it must be above 0.")
    mean = usual.per_day_m * usual.lead_days
    variance = usual.lead_days * usual.per_day_sd_m**2 + usual.per_day_m**2 * usual.lead_sd_days**2
    safety = NormalDist().inv_cdf(service) * math.sqrt(variance)
    point = mean + safety
    economic = math.sqrt(2 * order_cost * usual.per_day_m * _DAYS / (holding * metre_cost))
    free = there_m + on_order_m - promised_m
    # A shop that is far below its point orders what lifts it above it again.
    wanted = max(economic, point - free)
    rolls = max(1, math.ceil(wanted / roll_m - 1e-9))
    spare = free - point
    days = spare / usual.per_day_m if usual.per_day_m > 0 else math.inf
    return Reorder(
        point_m=point,
        safety_m=safety,
        mean_m=mean,
        order_m=rolls * roll_m,
        free_m=free,
        is_due=spare <= 0,
        days_left=max(0.0, days),
    )
