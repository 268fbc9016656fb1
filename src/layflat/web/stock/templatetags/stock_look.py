"""Lengths and widths of film as the shop writes them."""

from django import template

from layflat.web.people.models import Shop
from layflat.web.people.shop import shown_length
from layflat.web.stock.amounts import film_length

register = template.Library()


@register.filter
def along(mm: float, shop: Shop) -> str:
    """A length along a roll."""
    return film_length(mm, shop)


@register.filter
def across(mm: float, shop: Shop) -> str:
    """A roll's width."""
    return shown_length(mm, shop)


@register.filter
def change(mm: int, shop: Shop) -> str:
    """What a movement changed, with its sign; "" for nothing."""
    if mm == 0:
        return ""
    return f"{'+' if mm > 0 else '−'} {film_length(abs(mm), shop)}"
