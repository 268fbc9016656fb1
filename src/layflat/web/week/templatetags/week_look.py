"""Amounts of money as the plan's pages show them."""

from django import template

from layflat.plan import as_decimal, to_money

register = template.Library()
_THIN = "\u202f"


@register.filter
def money(amount: float, currency: str) -> str:
    """An amount with its currency: "EUR 1 234.50"."""
    whole = f"{to_money(as_decimal(amount)):,}".replace(",", _THIN)
    return f"{currency}\u00a0{whole}"
