"""The price of a cover by the shop's present rates."""

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from layflat.plan import Minutes, Price, Rates, Step, StepMinutes, metres_of, price
from layflat.web.people.models import Shop
from layflat.web.people.shop import feet


def priced(film_mm: float, minutes: Mapping[str, Any], shop: Shop) -> Price:
    """The price of a cover.

    Args:
        film_mm: what its layout uses of the roll.
        minutes: as in `Outcome.minutes`.
        shop: its rates.

    Raises:
        SettingError: a rate or the length is negative or no number.
    """
    return price(metres=metres_of(film_mm), minutes=minutes_from(minutes), rates=rates_of(shop))


def minutes_from(found: Mapping[str, Any]) -> Minutes:
    """Minutes from their JSON, in the order of work whatever order a database gives them in."""
    return Minutes(
        tuple(
            StepMinutes(step=step, minutes=found[step]["minutes"], source=found[step]["source"])
            for step in Step
            if step in found
        )
    )


def minutes_json(minutes: Minutes) -> dict[str, dict[str, Any]]:
    """Minutes as JSON, as in `Outcome.minutes`."""
    return {
        item.step.value: {"minutes": item.minutes, "source": item.source} for item in minutes.steps
    }


def rates_of(shop: Shop) -> Rates:
    """What the shop charges."""
    return Rates(
        currency=shop.currency,
        film_per_metre=_exact(shop.film_per_metre),
        per_hour=_exact(shop.rate_per_hour),
        consumables=_exact(shop.consumables),
        tax=_exact(shop.tax_rate),
    )


def _exact(value: Any) -> Decimal:
    # A shop that was just made still holds what it was made with, which may be no decimal yet.
    return Decimal(str(value))


def film_words(film_mm: float, shop: Shop) -> str:
    """What a layout uses, as it is charged: metres up to the next cm, or feet."""
    metres = metres_of(film_mm)
    return feet(metres) if shop.inches else f"{metres} m"
