"""How times and amounts stand on the screens of laying and inspection."""

import datetime
from collections.abc import Callable

from django import template

from layflat.web.people.models import Shop
from layflat.web.people.shop import shop_time, shown_moment

register = template.Library()


@register.filter
def as_clock(moment: datetime.datetime, shop: Callable[[], Shop] | Shop) -> str:
    """The time of day by the shop's clock."""
    found = shop() if callable(shop) else shop
    return f"{shop_time(moment, found):%H:%M}"


@register.filter
def as_moment(moment: datetime.datetime, shop: Callable[[], Shop] | Shop) -> str:
    """Day and time by the shop's clock, as the shop writes them."""
    return shown_moment(moment, shop() if callable(shop) else shop)


@register.filter
def as_ml(amount: float) -> str:
    """Millilitres as a jug shows them: whole ones, small amounts to a tenth."""
    return f"{amount:.1f} ml" if amount < 20 else f"{amount:.0f} ml"


@register.filter
def unlocalised(value: float) -> str:
    """A number as drawings and scripts read it, whatever the language."""
    return f"{value:.6g}"
