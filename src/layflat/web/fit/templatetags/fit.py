"""How the fit of a piece is written in templates."""

from typing import Any

from django import template

from layflat.web.bodies.templatetags.bodies import as_area
from layflat.web.cover import advice
from layflat.web.cover.models import Piece
from layflat.web.fit import legend, words
from layflat.web.people.models import Shop
from layflat.web.people.shop import shown_fine_length

register = template.Library()


@register.filter
def per_cent(fraction: float) -> str:
    """A fraction in per cent."""
    return words.per_cent(fraction)


@register.filter
def is_left_to_map(sentence: str) -> bool:
    """Whether a warning only counts places that the piece's map shows."""
    return advice.is_left_to_map(sentence)


@register.filter
def as_fine_length(mm: float, shop: Any) -> str:
    """A short length: millimetres to a tenth, or inches to a hundredth."""
    found: Shop = shop() if callable(shop) else shop
    return shown_fine_length(mm, found)


@register.filter
def as_film_area(square_mm: float, shop: Any) -> str:
    """An area of film as areas are written."""
    return as_area(square_mm / 1e6, shop)


@register.inclusion_tag("fit/scale.html")
def strain_scale(piece: Piece) -> dict[str, Any]:
    """The strain scale with the limits that the piece's film has."""
    finger = piece.details.get("finger_limit", 0.0)
    stretch = piece.details.get("stretch_limit", 0.0)
    return {
        "cells": legend.cells(),
        "strokes": legend.strokes(),
        "wide": legend.WIDTH,
        "high": legend.HEIGHT,
        "limits": {
            "finger": f"−{100 * finger:g}\u00a0%",
            "finger_end": f"−{200 * finger:g}\u00a0%",
            "stretch": f"+{100 * stretch:g}\u00a0%",
            "stretch_end": f"+{200 * stretch:g}\u00a0%",
        },
    }
