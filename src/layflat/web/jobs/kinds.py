"""The kinds of fault that a walk-round knows, and the cautions that go with two of them.

Common practice, no source. A caution is worded for the customer, who acknowledges it as it
stands here; the record keeps the words that were acknowledged.
"""

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True)
class Kind:
    """One kind of fault.

    Attributes:
        name: as it is kept.
        word: on its button.
        sign: SVG path of its pictogram in a square of 24.
        caution: what the customer must know and acknowledge, or "".
    """

    name: str
    word: str
    sign: str
    caution: str = ""


REPAINT: Final = Kind(
    "repaint",
    "Repaint",
    "M5 4h12v6H5zM17 6h3v6h-8v3M10.5 15h3v6h-3z",
    "This paint is not the maker's first. Film that is lifted later, or while it is being laid, "
    "can lift such paint with it. Fresh paint must have hardened before film is laid; the painter "
    "says when that is, and that word goes before any date of ours.",
)
OLD_FILM: Final = Kind(
    "old film",
    "Old film",
    "M4 4h16v9l-7 7H4zM20 13h-7v7",
    "There is old film on this place. It must come off before new film is laid, and lifting it can "
    "lift paint, clear coat or lettering with it, most of all where the panel was repainted. What "
    "the paint under it looks like is known only then.",
)
KINDS: Final = (
    Kind("chip", "Chip", "M8 8l5-3 4 4-1 6-6 3-4-5zM20 5l.5.5M3.5 19l.5.5M20 19l-1-1"),
    Kind("scratch", "Scratch", "M4 19L19 4M8 20l9-9"),
    Kind("dent", "Dent", "M2 9h4c2 0 2 8 6 8s4-8 6-8h4"),
    Kind("swirl", "Swirl marks", "M12 12a2 2 0 1 1 2 2a4 4 0 1 1 2-6a6 6 0 1 1-9 8a8 8 0 0 0 13-4"),
    REPAINT,
    OLD_FILM,
    Kind("crack", "Crack", "M3 6l6 3-2 4 7 1-1 5 8 1"),
    Kind("other", "Other", "M5 12h1M11.5 12h1M18 12h1"),
)
"""In the order of their buttons."""
_BY_NAME: Final = {kind.name: kind for kind in KINDS}


def kind_named(name: str) -> Kind:
    """The kind of that name; one without a sign for names that other versions kept."""
    return _BY_NAME.get(name) or Kind(name, name.capitalize(), "")
