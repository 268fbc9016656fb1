"""Days, moments and kinds of fault as people read them."""

import datetime

from django import template

from layflat.papers import panel_title
from layflat.web.jobs.kinds import Kind, kind_named
from layflat.web.jobs.once import FIELD, new_token
from layflat.web.people.models import Shop
from layflat.web.people.shop import shown_day, shown_moment

register = template.Library()


@register.filter
def day(value: datetime.date | None, shop: Shop) -> str:
    """A day as the shop writes it; "" for none."""
    return "" if value is None else shown_day(value, shop)


@register.filter
def moment(value: datetime.datetime | None, shop: Shop) -> str:
    """A moment in the shop's own time; "" for none."""
    return "" if value is None else shown_moment(value, shop)


@register.filter
def fault_kind(name: str) -> Kind:
    """The kind of fault of that name."""
    return kind_named(name)


@register.filter
def as_panel(name: str) -> str:
    """A panel's name as people read it."""
    return panel_title(name)


@register.inclusion_tag("jobs/once.html")
def once() -> dict[str, str]:
    """The hidden field by which a form is answered only once."""
    return {"name": FIELD, "token": new_token()}
