"""How kept patterns are written in templates."""

from typing import Any

from django import template

from layflat.web.people.shop import shown_fine_length

register = template.Library()


@register.filter
def as_allowance(mm: float, shop: Any) -> str:
    """How far film ends from an edge, in the shop's unit."""
    return shown_fine_length(mm, shop() if callable(shop) else shop)
