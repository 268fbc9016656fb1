"""What was entered with a tap, in people's words: names of fields, and names for rows' keys."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Final

from layflat.web.taps.models import Tap

Look = Callable[[Iterable[Tap], str], Mapping[tuple[int, str], str]]
"""Finds names for what taps have in a field: by the tap's key and one of its comma-separated parts.

Given all taps of a page at once, so that it asks the database once.
"""


@dataclass(frozen=True)
class Named:
    """How people read one field.

    Attributes:
        label: before its value; "" for one that tells people nothing.
        look: finds names for its values; None where they are words already.
    """

    label: str
    look: Look | None = None


_FIELDS: Final[dict[str, Named]] = {}
_HIDDEN: Final = Named("")


def name_fields(**fields: Named) -> None:
    """Say how people read fields of acts; a part enters its own when it starts."""
    _FIELDS.update(fields)


def hidden() -> Named:
    """For a field that tells people nothing."""
    return _HIDDEN


def is_named(field: str) -> bool:
    """Whether a part says how people read a field."""
    return field in _FIELDS


def parts_of(tap: Tap, field: str) -> list[str]:
    """What a tap has in a field; several are separated by commas."""
    return [part.strip() for part in str(tap.fields.get(field, "")).split(",") if part.strip()]


def in_words(taps: Iterable[Tap]) -> dict[int, tuple[tuple[str, str], ...]]:
    """What was entered with each of some taps: labels and words, by the tap's key.

    A key that names nothing any more is left out.
    """
    taps = list(taps)
    used = {field for tap in taps for field, text in tap.fields.items() if text}
    names: dict[str, Mapping[tuple[int, str], str]] = {}
    for field in sorted(used):
        look = _FIELDS[field].look if field in _FIELDS else None
        if look is not None:
            names[field] = look(taps, field)
    return {tap.pk: tuple(_entered(tap, names)) for tap in taps}


def _entered(
    tap: Tap, names: Mapping[str, Mapping[tuple[int, str], str]]
) -> Iterable[tuple[str, str]]:
    for field, text in tap.fields.items():
        named = _FIELDS.get(field) or Named(field.replace("_", " ").replace("-", " ").capitalize())
        if not text or not named.label:
            continue
        if field in names:
            found = (names[field].get((tap.pk, part), "") for part in parts_of(tap, field))
            text = ", ".join(part for part in found if part)
        if text:
            yield named.label, text


def by_row(query: Callable[[set[int]], Iterable[tuple[int, str]]]) -> Look:
    """Names for keys of rows: *query* finds key and name of those that are asked for."""

    def look(taps: Iterable[Tap], field: str) -> dict[tuple[int, str], str]:
        asked = [
            (tap.pk, part)
            for tap in taps
            for part in parts_of(tap, field)
            if part.isascii() and part.isdecimal() and len(part) <= 12
        ]
        found = dict(query({int(part) for _, part in asked})) if asked else {}
        return {one: found[int(one[1])] for one in asked if int(one[1]) in found}

    return look


def by_words(words: Mapping[str, str]) -> Look:
    """Names for choices of a form, as people chose them."""

    def look(taps: Iterable[Tap], field: str) -> dict[tuple[int, str], str]:
        return {
            (tap.pk, part): words.get(part, part) for tap in taps for part in parts_of(tap, field)
        }

    return look
