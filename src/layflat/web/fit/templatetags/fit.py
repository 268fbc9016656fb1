"""How the fit of a piece is written in templates."""

from typing import Any

from django import template

from layflat.web.cover.models import Piece
from layflat.web.fit import legend, words
from layflat.web.people.models import Shop

register = template.Library()
_INCH_MM = 25.4


@register.filter
def per_cent(fraction: float) -> str:
    """A fraction in per cent."""
    return words.per_cent(fraction)


@register.filter
def as_fine_length(mm: float, shop: Any) -> str:
    """A short length: millimetres to a tenth, or inches to a hundredth."""
    found: Shop = shop() if callable(shop) else shop
    return f"{mm / _INCH_MM:.2f} in" if found.inches else f"{mm:.1f}".removesuffix(".0") + " mm"


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
