"""What remains of a layout's film beside its pieces, found once, when the layout is kept."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from layflat.nest import Layout, Offcut, film_account, offcuts_of
from layflat.pattern import Pattern, bounds, pattern_area_mm2
from layflat.plan import Storing
from layflat.web.cutting.stored import layout_of

STORING: Final = Storing()
"""What storing costs and what is too small to be kept; assumed, and said on the page."""


@dataclass(frozen=True, kw_only=True)
class Rest:
    """What remains of one section.

    Attributes:
        offcuts: rectangles that no piece lies on, large enough to be kept, the largest first.
        pieces_mm2: the area of its pieces.
    """

    offcuts: tuple[Offcut, ...]
    pieces_mm2: float


@dataclass(frozen=True, kw_only=True)
class Rests:
    """What remains of a layout.

    Attributes:
        sections: in order.
        boxes: of its pieces as their patterns lie, whole mm rounded up.
    """

    sections: tuple[Rest, ...]
    boxes: tuple[tuple[int, int], ...]


def rests_of(found: Mapping[str, Any], patterns: Mapping[int, Pattern]) -> Rests:
    """What remains of a stored layout.

    Args:
        found: see `layflat.web.cutting.stored`.
        patterns: of its pieces, by number.

    Raises:
        CheckError: pieces, offcuts and waste are not all of its film.
    """
    layout = layout_of(found, patterns)
    least_mm = (STORING.least_short_mm, STORING.least_long_mm)
    offcuts = offcuts_of(layout, least_mm=least_mm)
    film_account(layout, offcuts, length_mm=layout.length_mm)
    return Rests(
        sections=tuple(_rest(layout, index, offcuts) for index in range(len(layout.sections))),
        boxes=tuple(box_of(patterns[item.number]) for item in layout.placements),
    )


def _rest(layout: Layout, index: int, offcuts: tuple[Offcut, ...]) -> Rest:
    # Film that is passed by before a section is cut off with it.
    start_mm = layout.sections[index - 1].end_mm if index else 0.0
    end_mm = layout.sections[index].end_mm
    held = [item.pattern for item in layout.placements if item.section == index]
    return Rest(
        offcuts=tuple(one for one in offcuts if start_mm <= one.start_mm < end_mm),
        pieces_mm2=sum(pattern_area_mm2(pattern) for pattern in held),
    )


def box_of(pattern: Pattern) -> tuple[int, int]:
    """How long and wide a pattern is as it lies, whole mm rounded up."""
    left, low, right, high = bounds(pattern.outline)
    return math.ceil(right - left), math.ceil(high - low)
