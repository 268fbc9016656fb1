"""Lengths, times and states of film as people read them."""

from typing import Final

from django import template

from layflat.web.cutting.models import Cut
from layflat.web.people.models import Shop
from layflat.web.people.shop import INCH_MM, shown_length

register = template.Library()
_SHAPES: Final = {
    Cut.State.PLACED: "",
    Cut.State.CUT: "today",
    Cut.State.WEEDED: "done",
    Cut.State.LAID: "done",
    Cut.State.LOST: "late",
}


@register.filter
def as_length(mm: float, shop: Shop) -> str:
    """A length for people: whole millimetres, or inches to a tenth."""
    return shown_length(mm, shop)


@register.filter
def as_number(mm: float, shop: Shop) -> str:
    """A length in the shop's unit, as it is typed."""
    return f"{mm / INCH_MM:.1f}" if shop.inches else f"{mm:.0f}"


@register.filter
def as_seconds(seconds: int) -> str:
    """A span of time in words."""
    return f"{seconds} seconds" if seconds < 60 else f"{seconds // 60} min"


@register.filter
def cut_shape(cut: Cut) -> str:
    """The class that draws the state of a piece of film."""
    return _SHAPES[Cut.State(cut.state)]
