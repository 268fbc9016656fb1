"""What a person wishes of a section's programs: weed lines, and what holds pieces."""

from collections.abc import Iterator, Mapping
from typing import Any, Final

from layflat.base import InputError
from layflat.cut import HINGES_MM, MOST_TABS, STRIPS_MM, TABS_MM, Wishes
from layflat.web.people.models import Shop
from layflat.web.people.shop import INCH_MM, shown_fine_length

_LONGEST: Final = 1e6


def read_wishes(entered: Mapping[str, Any], shop: Shop) -> Wishes:
    """What the form says.

    Args:
        entered: its fields.
        shop: writes lengths in mm or in inches.

    Raises:
        InputError: something is no number, or none that can be had.
    """
    strip_mm = hinge_mm = None
    tabs, tab_mm = 0, Wishes.tab_mm
    if entered.get("lines") == "yes":
        strip_mm = _within("Strips of waste are {} to {} wide.", entered, "strip", STRIPS_MM, shop)
    hold = entered.get("hold", "")
    if hold == "hinge":
        hinge_mm = _within("A hinge is {} to {} long.", entered, "hinge", HINGES_MM, shop)
    elif hold == "tabs":
        text = str(entered.get("tabs", "")).strip()
        # Digits only, and few: a number of thousands of digits is none.
        if not (text.isascii() and text.isdigit() and len(text) <= 2):
            raise InputError(f"Give 1 to {MOST_TABS} tabs for each piece.")
        tabs = int(text)
        if not 1 <= tabs <= MOST_TABS:
            raise InputError(f"Give 1 to {MOST_TABS} tabs for each piece.")
        tab_mm = _within("A tab is {} to {} long.", entered, "tab", TABS_MM, shop)
    return Wishes(strip_mm=strip_mm, tabs=tabs, tab_mm=tab_mm, hinge_mm=hinge_mm)


def _within(
    words: str,
    entered: Mapping[str, Any],
    name: str,
    limits_mm: tuple[float, float],
    shop: Shop,
) -> float:
    found = length_mm(str(entered.get(name, "")), shop)
    if found is None or not limits_mm[0] <= found <= limits_mm[1]:
        raise InputError(words.format(*(shown_fine_length(one, shop) for one in limits_mm)))
    return found


def length_mm(text: str, shop: Shop) -> float | None:
    """A length as the shop writes it, in mm; None for nothing.

    Raises:
        InputError: it is no length.
    """
    text = text.strip().replace(",", ".")
    if not text:
        return None
    try:
        number = float(text)
    except ValueError as error:
        raise InputError(f"“{text[:20]}” is no length.") from error
    if not 0.0 <= number < _LONGEST:
        raise InputError(f"“{text[:20]}” is no length.")
    return number * INCH_MM if shop.inches else number


def wished_words(wishes: Wishes) -> Iterator[str]:
    """What programs are made with, for the record."""
    if wishes.strip_mm is not None:
        yield f"weed lines where waste is wider than {wishes.strip_mm:g} mm"
    if wishes.tabs:
        yield f"{wishes.tabs} tabs of {wishes.tab_mm:g} mm to each piece"
    if wishes.hinge_mm is not None:
        yield f"a hinge of {wishes.hinge_mm:g} mm to each piece"


def wishes_of(values: Mapping[str, Any]) -> Wishes:
    """Wishes that were kept as plain values."""
    return Wishes(**dict(values) | {"first": tuple(values["first"])})
