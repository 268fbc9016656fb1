"""Lengths, widths and words that somebody typed, looked at before they are booked."""

from typing import Final

from layflat.base import InputError
from layflat.web.people.models import Shop
from layflat.web.people.shop import shown_length

MOST_LENGTH_MM: Final = 1_000_000
"""A kilometre; far beyond any roll, and what a slip of the pen would exceed."""
LEAST_WIDTH_MM: Final = 20
MOST_WIDTH_MM: Final = 3_000
LONGEST: Final = {"film": 80, "lot": 60, "place": 80, "reason": 200}
"""The most characters of each text."""


def checked_length(length_mm: int, shop: Shop, *, least_mm: int = 1) -> int:
    """The length in whole millimetres.

    Raises:
        InputError: less than *least_mm*, or more than any roll has.
    """
    if not least_mm <= length_mm <= MOST_LENGTH_MM:
        least, most = shown_length(least_mm, shop), shown_length(MOST_LENGTH_MM, shop)
        raise InputError(f"A length of film lies between {least} and {most}; look at it again.")
    return int(length_mm)


def checked_width(width_mm: int, shop: Shop) -> int:
    """The width in whole millimetres.

    Raises:
        InputError: narrower or wider than any roll.
    """
    if not LEAST_WIDTH_MM <= width_mm <= MOST_WIDTH_MM:
        least, most = shown_length(LEAST_WIDTH_MM, shop), shown_length(MOST_WIDTH_MM, shop)
        raise InputError(f"A roll is between {least} and {most} wide; look at the width again.")
    return int(width_mm)


def checked_text(text: str, name: str, *, needed: str = "") -> str:
    """Single spaces and no control characters; not empty where *needed* says what to write.

    Raises:
        InputError: it is missing or too long; *name* is one of `LONGEST`.
    """
    text = " ".join("".join(c if c.isprintable() else " " for c in text).split())
    if needed and not text:
        raise InputError(needed)
    if len(text) > LONGEST[name]:
        raise InputError(f"Write the {name} in at most {LONGEST[name]} characters.")
    return text
