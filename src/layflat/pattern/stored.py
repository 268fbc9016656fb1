"""Patterns to plain values and back, exactly: what is cut is what was computed.

Python writes a float in the fewest digits that read back as the same float, so that JSON of these
values keeps every bit.
"""

import math
from collections.abc import Mapping, Sequence
from enum import StrEnum
from typing import Any, Final, TypeVar

import numpy as np

from layflat.base import DrawingError, FloatArray
from layflat.pattern.piece import (
    Curve,
    EdgeFinish,
    EdgeRecord,
    Finish,
    Mark,
    MarkKind,
    Pattern,
)
from layflat.surface import EdgeKind

FORM: Final = "layflat pattern 1"
_MOST_JOINTS = 500_000
_MOST_PARTS = 10_000
"""Cut-outs, marks, or edges."""
_MOST_MM = 1e6
_LONGEST = 500

Kind = TypeVar("Kind", bound=StrEnum)


def pattern_json(pattern: Pattern) -> dict[str, Any]:
    """The pattern as plain values for JSON; `read_pattern_json` makes an equal one of them.

    Curves and marks are lists of numbers in mm: x, y and bulge of each joint in turn for a curve,
    x and y of each point for a mark.
    """
    corners = pattern.outline_corners
    return {
        "form": FORM,
        "name": pattern.name,
        "outline": _curve(pattern.outline),
        "cut_outs": [_curve(curve) for curve in pattern.cut_outs],
        "marks": [
            {"kind": mark.kind.value, "points": mark.points_mm.ravel().tolist(), "text": mark.text}
            for mark in pattern.marks
        ],
        "edges": [
            {
                "name": record.name,
                "kind": record.kind.value,
                "finish": record.finish.finish.value,
                "distance_mm": record.finish.distance_mm,
                "surface_length_mm": record.surface_length_mm,
                "flat_length_mm": record.flat_length_mm,
            }
            for record in pattern.edges
        ],
        "deviation_mm": pattern.deviation_mm,
        "corners": None if corners is None else corners.tolist(),
    }


def _curve(curve: Curve) -> list[float]:
    rows: list[float] = np.column_stack((curve.points_mm, curve.bulges)).ravel().tolist()
    return rows


def read_pattern_json(data: object) -> Pattern:
    """The pattern that `pattern_json` wrote, from what JSON read.

    Raises:
        DrawingError: it is not of that form, or beyond its bounds: 500 000 joints in a curve,
            10 000 cut-outs, marks or edges, numbers up to 1 000 000 mm.
    """
    whole = _table(data, "it")
    form = whole.get("form")
    if form != FORM:
        raise _bad(f"its form is {str(form)[:40]!r}, not {FORM!r}")
    outline = _read_curve(whole.get("outline"), "its outline")
    return Pattern(
        name=_text(whole.get("name"), "its name"),
        outline=outline,
        cut_outs=tuple(
            _read_curve(rows, f"cut-out {i}") for i, rows in _parts(whole, "cut_outs", "cut-outs")
        ),
        marks=tuple(_mark(row, f"mark {i}") for i, row in _parts(whole, "marks", "marks")),
        edges=tuple(_edge(row, f"edge {i}") for i, row in _parts(whole, "edges", "edges")),
        deviation_mm=_number(whole.get("deviation_mm"), "its deviation"),
        outline_corners=_corners(whole.get("corners"), joints=len(outline.bulges)),
    )


def _bad(what: str) -> DrawingError:
    return DrawingError(f"The pattern cannot be read: {what}. Compute the cover anew.")


def _table(data: object, what: str) -> Mapping[str, Any]:
    if not isinstance(data, dict):
        raise _bad(f"{what} is no table")
    return data


def _list(data: object, what: str, *, most: int) -> Sequence[Any]:
    if not isinstance(data, list):
        raise _bad(f"{what} is no list")
    if len(data) > most:
        raise _bad(f"{what} has {len(data)} entries; {most} are the most")
    return data


def _parts(whole: Mapping[str, Any], key: str, word: str) -> list[tuple[int, Any]]:
    return list(enumerate(_list(whole.get(key), f"the list of its {word}", most=_MOST_PARTS), 1))


def _text(data: object, what: str) -> str:
    if not isinstance(data, str) or len(data) > _LONGEST:
        raise _bad(f"{what} is no text of at most {_LONGEST} signs")
    return data


def _number(data: object, what: str) -> float:
    # A flag is a number to Python.
    if isinstance(data, bool) or not isinstance(data, int | float):
        raise _bad(f"{what} is no number")
    if not (math.isfinite(data) and abs(data) <= _MOST_MM):
        raise _bad(f"{what} is {data:g}; {_MOST_MM:g} is the most")
    return float(data)


def _one_of(kinds: type[Kind], data: object, what: str) -> Kind:
    try:
        return kinds(_text(data, what))
    except ValueError as error:
        raise _bad(f"{what} is not one of {', '.join(kinds)}") from error


def _numbers(data: object, what: str, *, columns: int, least: int) -> FloatArray:
    """(k, columns) float64 of a flat list."""
    rows = _list(data, what, most=columns * _MOST_JOINTS)
    if len(rows) % columns or len(rows) < columns * least:
        raise _bad(f"{what} has {len(rows)} numbers, not {columns} for each of {least} or more")
    found = np.array([_number(value, what) for value in rows], dtype=np.float64)
    return found.reshape(-1, columns)


def _read_curve(data: object, what: str) -> Curve:
    rows = _numbers(data, what, columns=3, least=2)
    return Curve(points_mm=rows[:, :2], bulges=rows[:, 2])


def _mark(data: object, what: str) -> Mark:
    row = _table(data, what)
    return Mark(
        kind=_one_of(MarkKind, row.get("kind"), f"the kind of {what}"),
        points_mm=_numbers(row.get("points"), what, columns=2, least=1),
        text=_text(row.get("text"), f"the text of {what}"),
    )


def _edge(data: object, what: str) -> EdgeRecord:
    row = _table(data, what)
    return EdgeRecord(
        name=_text(row.get("name"), f"the name of {what}"),
        kind=_one_of(EdgeKind, row.get("kind"), f"the kind of {what}"),
        finish=EdgeFinish(
            _one_of(Finish, row.get("finish"), f"the finish of {what}"),
            _number(row.get("distance_mm"), f"the distance of {what}"),
        ),
        surface_length_mm=_number(row.get("surface_length_mm"), f"the length of {what}"),
        flat_length_mm=_number(row.get("flat_length_mm"), f"the flat length of {what}"),
    )


def _corners(data: object, *, joints: int) -> Any:
    if data is None:
        return None
    rows = _list(data, "the list of its corners", most=joints)
    if not all(type(value) is int and 0 <= value < joints for value in rows):
        raise _bad(f"its corners are not joints from 0 to {joints - 1}")
    return np.array(rows, dtype=np.int64)
