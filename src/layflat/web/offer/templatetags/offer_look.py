"""Amounts, days and hashes as people read them."""

import datetime

from django import template

from layflat.papers import grouped
from layflat.web.offer.canonical import in_short
from layflat.web.people.models import Shop
from layflat.web.people.shop import shown_day

register = template.Library()


@register.filter
def amount(value: str) -> str:
    """An amount with its thousands apart."""
    return grouped(value)


@register.filter
def iso_day(value: str, shop: Shop) -> str:
    """A day of a content as the shop writes it."""
    return shown_day(datetime.date.fromisoformat(value), shop)


@register.filter
def short_hash(value: str) -> str:
    """The beginning of a hash, for people to compare."""
    return in_short(value)
