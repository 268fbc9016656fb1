"""Sections for pieces that lie as they lie: cut where a straight lane across the roll is free."""

from collections.abc import Sequence
from dataclasses import dataclass

from layflat.nest.check import TOLERANCE_MM
from layflat.nest.layout import Section, Stock

_LEAST_MM = 1e-6


@dataclass(frozen=True)
class Reach:
    """How far pieces reach along the roll that no lane parts.

    Attributes:
        start_mm, end_mm: along the roll.
        pieces: which they are, by their places.
    """

    start_mm: float
    end_mm: float
    pieces: tuple[int, ...]


def lane_mm(stock: Stock, gap_mm: float) -> float:
    """How wide a lane across the roll is for a section to end in it."""
    return max(2 * stock.end_margin_mm, gap_mm)


def lanes_between(
    along: Sequence[tuple[float, float]],
    stock: Stock,
    *,
    gap_mm: float,
    longest_mm: float,
    kept_mm: Sequence[float] = (),
) -> tuple[tuple[Section, ...], tuple[int, ...], tuple[Reach, ...]]:
    """Sections for pieces that reach along the roll so far, from the left.

    A lane is free of pieces all across the roll. Sections end in the lanes that are asked for, at
    every fault of the roll, and else in as few as keep them short enough.

    Args:
        along: where each piece begins and ends along the roll, in mm.
        stock: gives end margins and faults.
        gap_mm: least distance between pieces.
        longest_mm: the longest stretch of pieces in a section; may be infinite.
        kept_mm: where sections ended until now; they do so again where a lane is there.

    Returns:
        The sections; the place of each piece's; and what is longer than *longest_mm* by itself.
    """
    lane = lane_mm(stock, gap_mm)
    atoms = _atoms(along, lane)
    stops = [*kept_mm, *(fault.start_mm for fault in stock.faults)]
    groups: list[Reach] = []
    for atom in atoms:
        last = groups[-1] if groups else None
        if (
            last is None
            or atom.end_mm - last.start_mm > longest_mm + _LEAST_MM
            or any(_is_in_lane(stop, last.end_mm, atom.start_mm) for stop in stops)
        ):
            groups.append(atom)
        else:
            groups[-1] = Reach(last.start_mm, atom.end_mm, (*last.pieces, *atom.pieces))
    sections: list[Section] = []
    own = [0] * len(along)
    for i, group in enumerate(groups):
        before = sections[-1].end_mm if sections else 0.0
        start = max(before, group.start_mm - stock.end_margin_mm)
        end = max(start, group.end_mm + stock.end_margin_mm)
        sections.append(Section(start_mm=start, end_mm=end))
        for piece in group.pieces:
            own[piece] = i
    too_long = tuple(one for one in atoms if one.end_mm - one.start_mm > longest_mm + _LEAST_MM)
    return tuple(sections), tuple(own), too_long


def _is_in_lane(stop: float, start: float, end: float) -> bool:
    return start - TOLERANCE_MM <= stop <= end + TOLERANCE_MM


def _atoms(along: Sequence[tuple[float, float]], lane: float) -> list[Reach]:
    """Pieces that no lane parts, together, from the left."""
    found: list[Reach] = []
    for piece in sorted(range(len(along)), key=lambda i: along[i]):
        start, end = along[piece]
        if found and start < found[-1].end_mm + lane - TOLERANCE_MM:
            last = found[-1]
            found[-1] = Reach(last.start_mm, max(last.end_mm, end), (*last.pieces, piece))
        else:
            found.append(Reach(start, end, (piece,)))
    return found
