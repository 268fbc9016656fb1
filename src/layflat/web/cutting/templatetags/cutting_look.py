"""Lengths, times and states of film as people read them."""

from collections.abc import Mapping
from typing import Final

from django import template

from layflat.web.cutting.along import Along, Lie
from layflat.web.cutting.models import Cut
from layflat.web.cutting.worth import Worth
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
    return f"{mm / INCH_MM:.2f}".rstrip("0").rstrip(".") if shop.inches else f"{mm:.0f}"


@register.filter
def as_seconds(seconds: int) -> str:
    """A span of time in words."""
    return f"{seconds} seconds" if seconds < 60 else f"{seconds // 60} min"


@register.filter
def cut_shape(cut: Cut) -> str:
    """The class that draws the state of a piece of film."""
    return _SHAPES[Cut.State(cut.state)]


@register.filter
def job_in(cut: Cut, whose: Mapping[str, str]) -> str:
    """The number of the job that a piece on a shared layout is of, from numbers by letters."""
    return whose.get(cut.letter, "")


@register.filter
def faults_under(lies: Along, shop: Shop) -> str:
    """Which faults lie under a layout's sections, in a sentence; "" for none."""
    return lies.says(shop)


@register.filter
def faults_under_next(lies: Along, shop: Shop) -> str:
    """The same if it is cut before what is counted in front of it."""
    return lies.says_next(shop)


@register.filter
def with_faults(lie: Lie, shop: Shop) -> str:
    """A section with the faults under it, within a sentence."""
    return lie.shown(shop)


@register.filter
def as_metres(metres: float, shop: Shop) -> str:
    """Film to a tenth: metres, or feet."""
    return f"{metres / (0.012 * INCH_MM):.1f} ft" if shop.inches else f"{metres:.1f} m"


@register.filter
def worth_why(worth: Worth, shop: Shop) -> str:
    """What an offcut's worth rests on."""
    return worth.why(shop)
