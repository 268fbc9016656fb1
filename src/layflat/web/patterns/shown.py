"""A kept pattern in figures and words, for its page."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from layflat.papers import panel_title
from layflat.pattern import Finish, Pattern, bounds, pattern_area_mm2, pattern_cut_mm

_MM2_PER_M2: Final = 1e6
_MOST_WORDS: Final = 200


@dataclass(frozen=True)
class Facts:
    """What a pattern measures.

    Attributes:
        long_mm, wide_mm: the box round it, as it lies.
        area_m2: of film.
        cut_mm: length of its outline and its cut-outs.
        cut_outs, marks: how many.
        edges: title, kind and how film ends there, of each.
    """

    long_mm: float
    wide_mm: float
    area_m2: float
    cut_mm: float
    cut_outs: int
    marks: int
    edges: tuple[tuple[str, str, str, float], ...]


def facts_of(pattern: Pattern) -> Facts:
    """What *pattern* measures."""
    x0, y0, x1, y1 = bounds(pattern.outline)
    return Facts(
        long_mm=max(x1 - x0, y1 - y0),
        wide_mm=min(x1 - x0, y1 - y0),
        area_m2=pattern_area_mm2(pattern) / _MM2_PER_M2,
        cut_mm=pattern_cut_mm(pattern),
        cut_outs=len(pattern.cut_outs),
        marks=len(pattern.marks),
        edges=tuple(
            (
                panel_title(record.name) if record.name else "Unnamed",
                record.kind.value,
                _ENDS[record.finish.finish],
                record.finish.distance_mm,
            )
            for record in pattern.edges
        ),
    )


_ENDS: Final = {
    Finish.FLUSH: "film ends on the line",
    Finish.SHORT: "film ends short",
    Finish.WRAP: "wrapped round",
}


def exactness_rows(exactness: Mapping[str, Any]) -> list[tuple[str, str]]:
    """What a revision says of its exactness, a word and a value each; `…_mm` are lengths."""
    return [(_word(key), _value(key, value)) for key, value in exactness.items() if _is_said(value)]


def _is_said(value: Any) -> bool:
    return value is not None and not isinstance(value, list | dict) and value != ""


def _word(key: str) -> str:
    plain = key.removesuffix("_mm").replace("_", " ")
    return plain[:1].upper() + plain[1:]


def _value(key: str, value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        if not key.endswith("_mm"):
            return f"{value:g}"
        # A hundredth is the least that is said; nothing was measured to be nothing.
        return f"{max(value, 0.01) if value > 0 else value:.2f}\u00a0mm"
    return str(value)[:_MOST_WORDS]
