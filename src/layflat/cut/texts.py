"""Changing the text of cut programs: putting commands between cuts, joining sections."""

import re
from collections.abc import Mapping, Sequence

from layflat.base import IntArray

_PEN = re.compile(r"P([UD])")
_MOVE = re.compile(r"P([UD])([^;]*);")
_AFTER_END = re.compile(r"\s*(?:PU|SP|\Z)")


def lift_places(hpgl: str) -> list[int]:
    """Where in a program the knife is up before each lowering, and after the last one.

    Returns:
        For each stroke with the knife down the offset of the `PU` before it, then that of the
        `PU` after the last.
    """
    found: list[int] = []
    first: int | None = None
    last: int | None = None
    for match in _PEN.finditer(hpgl):
        if match.group(1) == "U":
            last = match.start()
            first = last if first is None else first
        elif last is not None:
            found.append(last)
            first = last = None
    return found if first is None else [*found, first]


def inserted(hpgl: str, texts: Mapping[int, str]) -> str:
    """The program with commands put before strokes, while the knife is up.

    Args:
        hpgl: of a section.
        texts: by the index of the stroke that they come before; the number of strokes is the end.
    """
    places = lift_places(hpgl)
    parts, done = [], 0
    for before, text in sorted(texts.items()):
        parts += [hpgl[done : places[before]], text]
        done = places[before]
    return "".join([*parts, hpgl[done:]])


def joined(sections: Sequence[str], starts: Sequence[IntArray]) -> str:
    """The programs of some sections as one, each moved to where it starts.

    Args:
        sections: their texts.
        starts: (2,) int64 in plotter units for each.
    """
    opening = sections[0].split("\n", 1)[0]
    bodies = []
    for text, start in zip(sections, starts, strict=True):
        body = text.split("\n", 1)[1].removesuffix("SP0;\n")
        bodies.append(moved(body, int(start[0]), int(start[1])))
    return f"{opening}\n{''.join(bodies)}SP0;\n"


def is_end(move: re.Match[str]) -> bool:
    """Whether a command for the head is a section's end: knife up, at the roll's edge, no cut next.

    Args:
        move: found in a program's text, its letter after the P and its numbers as groups.
    """
    at_edge = move.group(1) == "U" and move.group(2).rpartition(",")[2] == "0"
    return at_edge and _AFTER_END.match(move.string, move.end()) is not None


def moved(body: str, x: int, y: int) -> str:
    """Commands with every place moved by *x* and *y* plotter units.

    Sections end at the roll's edge, and are known by that: their ends are moved along it.
    """

    def move(match: re.Match[str]) -> str:
        numbers = [int(part) for part in match.group(2).split(",")] if match.group(2) else []
        across = 0 if is_end(match) else y
        moved = [value + (across if i % 2 else x) for i, value in enumerate(numbers)]
        return f"P{match.group(1)}{','.join(map(str, moved))};"

    return _MOVE.sub(move, body)
