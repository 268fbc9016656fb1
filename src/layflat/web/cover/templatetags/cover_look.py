"""Film, time and money of covers as people read them."""

from decimal import Decimal
from typing import Any

from django import template

from layflat.papers import panel_title
from layflat.plan import Price
from layflat.web.people.models import Shop
from layflat.web.people.shop import shown_duration

register = template.Library()
_FOOT_MM = 304.8
_THIN = "\u202f"


@register.filter
def as_film(mm: float, shop: Any) -> str:
    """A length of film: metres, or feet where the shop has inches."""
    found: Shop = shop() if callable(shop) else shop
    return f"{mm / _FOOT_MM:.1f} ft" if found.inches else f"{mm / 1e3:.2f} m"


@register.filter
def as_hours(minutes: float) -> str:
    """Minutes as people say them: "7 h 20 min"; to five minutes, as nobody knows better."""
    return shown_duration(5 * round(minutes / 5))


@register.filter
def as_money(amount: Decimal, price: Price) -> str:
    """An amount with its currency: "EUR 1 234.50"."""
    whole = f"{amount:,.{price.rates.decimals}f}".replace(",", _THIN)
    return f"{price.rates.currency}\u00a0{whole}"


@register.filter
def as_panel(name: str) -> str:
    """A panel's name as people write it."""
    return panel_title(name)


@register.filter
def as_percent(share: float) -> str:
    """A share of a surface in whole per cent; a small one is never said to be none."""
    return "less than 1" if 0 < share < 0.01 else f"{100 * share:.0f}"


@register.inclusion_tag("cover/seen.html")
def seen(kind: str, panel: str, was: str) -> dict[str, str]:
    """The hidden fields of a form that changes one thing: what, on which panel, what was seen."""
    return {"kind": kind, "panel": panel, "was": was}
