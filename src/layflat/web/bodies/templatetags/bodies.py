"""How bodies are written in templates."""

import datetime
from typing import Any

from django import template

from layflat.web.people.models import Shop
from layflat.web.people.shop import shown_length, shown_moment

register = template.Library()
_FT2_PER_M2 = 10.7639104
"""From the international foot of 0.3048 m exactly."""


@register.filter
def as_area(square_metres: float, shop: Any) -> str:
    """An area for people: square metres, or square feet where the shop has inches."""
    if _shop(shop).inches:
        return f"{square_metres * _FT2_PER_M2:.1f} ft²"
    return f"{square_metres:.2f} m²"


@register.filter
def as_length(mm: float, shop: Any) -> str:
    """A length as the shop writes it."""
    return shown_length(mm, _shop(shop))


@register.filter
def as_moment(at: datetime.datetime, shop: Any) -> str:
    """A moment in the shop's own time."""
    return shown_moment(at, _shop(shop))


def _shop(shop: Any) -> Shop:
    """The shop, which templates hold as a function that asks for it once."""
    found: Shop = shop() if callable(shop) else shop
    return found


@register.filter
def grouped(count: int) -> str:
    """A count with a thin space between thousands."""
    return f"{count:,}".replace(",", "\u202f")


@register.inclusion_tag("bodies/edge_sample.html")
def edge_sample(kind: str) -> dict[str, str]:
    """A short line drawn as edges of a kind are."""
    return {"kind": kind}


@register.inclusion_tag("bodies/keep_out_sample.html")
def keep_out_sample() -> dict[str, str]:
    """A small shape drawn as keep-outs are."""
    return {}
