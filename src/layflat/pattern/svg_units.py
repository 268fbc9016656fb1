"""Lengths in SVG: the absolute units of CSS, and how many millimetres a drawing's unit is.

Source: W3C, CSS Values and Units, absolute lengths (1 in = 2.54 cm = 96 px = 72 pt = 6 pc;
1 Q = 1/40 cm); W3C, SVG, chapter on coordinate systems and units.
"""

import math
import re
from xml.etree.ElementTree import Element

from layflat.base import DrawingError
from layflat.pattern.mend_units import Unit

PX_MM = 25.4 / 96.0
"""One CSS pixel, which is SVG's user unit where nothing else is said."""

_PHYSICAL_MM = {"mm": 1.0, "cm": 10.0, "in": 25.4, "pt": 25.4 / 72.0, "pc": 25.4 / 6.0, "q": 0.25}
_UNEVEN = 1.001
_NUMBER = r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?"
_LENGTH = re.compile(rf"\s*({_NUMBER})\s*([A-Za-z]*|%)\s*")


def number(words: str) -> float | None:
    """The first number in *words*, or None."""
    found = re.match(rf"\s*({_NUMBER})", words)
    return float(found[1]) if found else None


def _split(words: str) -> tuple[float, str] | None:
    """The number and the unit, in small letters, of a length; None if it is none."""
    found = _LENGTH.fullmatch(words)
    return (float(found[1]), found[2].lower()) if found else None


def plain_length(words: str) -> float | None:
    """A length inside the drawing in user units (CSS pixels); None if it is relative or none."""
    split = _split(words)
    if split is None:
        return None
    size, unit = split
    if unit in ("", "px"):
        return size
    return size * _PHYSICAL_MM[unit] / PX_MM if unit in _PHYSICAL_MM else None


def unit_of_svg(root: Element, *, where: str, notes: list[str]) -> Unit:
    """Millimetres per user unit of the drawing, and why that may be wrong.

    A width or height with a physical unit, over the view box, gives the scale; without a view
    box the user unit is the CSS pixel. If width and height ask for different scales the drawing
    keeps its proportions and takes the lesser, SVG's own rule ("meet").

    Raises:
        DrawingError: the view box or the size is no size, or asks for a distortion.
    """
    box = view_box(root, where)
    scales, physical = [], False
    for side, name in enumerate(("width", "height")):
        split = _split(root.get(name, ""))
        if split is None or split[1] == "%":
            continue
        size, word = split
        if word not in ("", "px", *_PHYSICAL_MM):
            continue
        if not (size > 0 and math.isfinite(size)):
            raise DrawingError(f"{where}: its {name} “{root.get(name)}” is not above 0.")
        physical = physical or word in _PHYSICAL_MM
        scales.append(size * _PHYSICAL_MM.get(word, PX_MM) / box[2 + side] if box else PX_MM)
    if bool(scales) and max(scales) > min(scales) * (1.0 + 1e-6):
        if root.get("preserveAspectRatio", "").strip().startswith("none"):
            raise DrawingError(
                f"{where} is stretched differently in width and height; mend its size."
            )
        if max(scales) > min(scales) * _UNEVEN:
            notes.append(
                f"Width and height ask for different scales ({min(scales):.4g} and "
                f"{max(scales):.4g} mm a unit); the lesser counts, as SVG has it."
            )
    doubt = ""
    if not physical:
        doubt = "The file states no physical size; its units may be pixels of 1/96 inch (CSS)."
    elif box is None:
        notes.append("The file has no view box; its user units were taken for 1/96 inch (CSS).")
    return Unit(min(scales, default=PX_MM), doubt)


def view_box(element: Element, where: str) -> tuple[float, float, float, float] | None:
    """The view box of an element, if it has one: its least x and y, its width and height.

    Raises:
        DrawingError: it has no area.
    """
    words = element.get("viewBox")
    if words is None:
        return None
    parts = re.fullmatch(rf"\s*{_NUMBER}(?:[\s,]+{_NUMBER}){{3}}\s*", words)
    sizes = [float(part) for part in re.findall(_NUMBER, words)] if parts else []
    if not sizes or not all(size > 0 and math.isfinite(size) for size in sizes[2:]):
        raise DrawingError(f"{where}: its view box “{words[:60]}” has no area.")
    x, y, width, height = sizes
    return x, y, width, height
