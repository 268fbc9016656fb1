"""Lengths, widths and words: as people type and read them, and looked at before they are booked.

Lengths along a roll are said in metres, or in feet and inches; widths as the shop writes lengths.
"""

import re
from decimal import ROUND_HALF_UP, Decimal
from typing import Final

from layflat.base import InputError
from layflat.web.people.models import Shop
from layflat.web.people.shop import INCH_MM, shown_length

MOST_LENGTH_MM: Final = 150_000
"""Rolls have 15 or 30 m, seldom 60; a length in another unit than was meant lies beyond this."""
LEAST_WIDTH_MM: Final = 20
MOST_WIDTH_MM: Final = 3_000
LONGEST: Final = {"fault": 80, "film": 80, "lot": 60, "place": 80, "reason": 200}
"""The most characters of each text."""
_UNITS: Final = {
    "mm": Decimal(1),
    "cm": Decimal(10),
    "m": Decimal(1000),
    "in": Decimal("25.4"),
    '"': Decimal("25.4"),
    "ft": Decimal("304.8"),
    "'": Decimal("304.8"),
}
# The inch is 25.4 mm and the foot 12 of them: the international yard and pound agreement of 1959.
_PART: Final = r"([0-9]{1,9}(?:\.[0-9]{1,6})?)\s*(mm|cm|m|in|ft|[\"'])?"
_TYPED: Final = re.compile(rf"{_PART}(?:\s*{_PART})?")
_TENTHS_PER_FOOT: Final = 120


def film_length(mm: float, shop: Shop) -> str:
    """A length along a roll for people: "15.200 m", or "49 ft 10.4 in"."""
    if shop.inches:
        feet, tenths = divmod(round(mm * 10 / INCH_MM), _TENTHS_PER_FOOT)
        inches = f"{tenths / 10:.1f} in".replace(".0 in", " in")
        return " ".join(([f"{feet} ft"] if feet else []) + ([inches] if tenths or not feet else []))
    # Always to the millimetre, so that lengths in one list read alike and add up.
    return f"{round(mm) / 1000:.3f} m"


def read_length(text: str, shop: Shop) -> int:
    """A typed length along a roll, in whole millimetres; without a unit metres, or feet.

    Raises:
        InputError: it is no length, or longer than any roll.
    """
    unit = "ft" if shop.inches else "m"
    example = "50 ft or 12 ft 6 in" if shop.inches else "15.2 m or 15200 mm"
    return checked_length(_read(text, unit, what="length", example=example), shop, least_mm=0)


def read_width(text: str, shop: Shop) -> int:
    """A typed width, in whole millimetres; without a unit millimetres, or inches.

    Raises:
        InputError: it is no length, or no roll is so wide or narrow.
    """
    unit = "in" if shop.inches else "mm"
    example = "60 in" if shop.inches else "1524 mm"
    return checked_width(_read(text, unit, what="width", example=example), shop)


def _read(text: str, unit: str, *, what: str, example: str) -> int:
    plain = text.strip().lower().replace("″", '"').replace("′", "'")
    if re.search(r"[0-9],[0-9]{3}(?![0-9])", plain):
        raise InputError(f"The comma in the {what} “{text.strip()[:40]}” can be read in two ways.")
    found = _TYPED.fullmatch(plain.replace(",", "."))
    if found is None:
        said = f"“{text.strip()[:40]}” is no {what}" if plain else f"The {what} is missing"
        raise InputError(f"{said}; write it such as {example}.")
    first, first_unit, second, second_unit = found.groups()
    mm = Decimal(first) * _UNITS[first_unit or unit]
    if second is not None:
        if first_unit not in ("ft", "'") or second_unit not in ("in", '"'):
            raise InputError(f"“{text.strip()[:40]}” is no {what}; write it such as {example}.")
        mm += Decimal(second) * _UNITS[second_unit]
    return int(mm.quantize(Decimal(1), ROUND_HALF_UP))


def checked_length(length_mm: int, shop: Shop, *, least_mm: int = 1) -> int:
    """The length in whole millimetres.

    Raises:
        InputError: less than *least_mm*, or more than any roll has.
    """
    if not least_mm <= length_mm <= MOST_LENGTH_MM:
        least = "nothing" if least_mm == 0 else shown_length(least_mm, shop)
        most = film_length(MOST_LENGTH_MM, shop)
        raise InputError(
            f"A length of film lies between {least} and {most}; look at the number and its unit."
        )
    return int(length_mm)


def checked_width(width_mm: int, shop: Shop) -> int:
    """The width in whole millimetres.

    Raises:
        InputError: narrower or wider than any roll.
    """
    if not LEAST_WIDTH_MM <= width_mm <= MOST_WIDTH_MM:
        least, most = shown_length(LEAST_WIDTH_MM, shop), shown_length(MOST_WIDTH_MM, shop)
        raise InputError(
            f"A roll is between {least} and {most} wide; look at the number and its unit."
        )
    return int(width_mm)


def checked_text(text: str, name: str, *, needed: str = "") -> str:
    """Single spaces and no control characters; not empty where *needed* says what to write.

    Raises:
        InputError: it is missing or too long; *name* is one of `LONGEST`.
    """
    text = " ".join("".join(c if c.isprintable() else " " for c in text).split())
    if needed and not any(c.isalnum() for c in text):
        raise InputError(needed)
    if len(text) > LONGEST[name]:
        raise InputError(f"Write the {name} in at most {LONGEST[name]} characters.")
    return text
