"""The check of bridges: what stays uncut of an outline must be wished, in its place, of its length.

A program says what it leaves uncut (`SectionProgram.bridges`). Beyond a bridge's ends the line must
be cut; within them it must not.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from layflat.base import CheckError, FloatArray
from layflat.cut.line import BoolArray, Line, Lines
from layflat.cut.records import Bridge, SectionProgram

SLACK_MM = 0.1
"""How much longer or shorter than it says a bridge may be at either end."""

_ON_LINE_MM = 0.05
_MOST_SHARE = 0.5


@dataclass(frozen=True, eq=False)
class Held:
    """The bridges of one line.

    Attributes:
        spans_mm: (b, 2) float64, where along the line each begins and ends; a beginning may be
            below 0.
        names: what a message calls each.
    """

    spans_mm: FloatArray
    names: tuple[str, ...]

    @property
    def length_mm(self) -> float:
        """Of all of them together."""
        return float(np.sum(np.diff(self.spans_mm, axis=1)))


NONE_HELD = Held(spans_mm=np.zeros((0, 2)), names=())


def held_of(section: SectionProgram, lines: Lines) -> list[Held]:
    """For each line the bridges that the program says it leaves.

    Raises:
        CheckError: one lies on no outline, two overlap, or an outline is held by half its length.
    """
    by_line: list[list[Bridge]] = [[] for _ in lines.lines]
    for bridge in section.bridges:
        owner, distance = lines.nearest(np.array([[bridge.x_mm, bridge.y_mm]]))
        line = lines.lines[int(owner[0])]
        if distance[0] > _ON_LINE_MM or line.cut_out is not None or bridge.length_mm <= 0.0:
            raise CheckError(f"Section {section.number}: the {_named(bridge)} lies on no outline.")
        by_line[int(owner[0])].append(bridge)
    return [
        _held(line, bridges, section.number) if bridges else NONE_HELD
        for line, bridges in zip(lines.lines, by_line, strict=True)
    ]


def _held(line: Line, bridges: Sequence[Bridge], number: int) -> Held:
    middles = line.along_mm(np.array([(one.x_mm, one.y_mm) for one in bridges]))
    halves = 0.5 * np.array([one.length_mm for one in bridges])
    rank = np.argsort(middles, kind="stable")
    spans = np.column_stack((middles - halves, middles + halves))[rank]
    gaps = np.append(spans[1:, 0], spans[0, 0] + line.length_mm) - spans[:, 1]
    held = Held(spans_mm=spans, names=tuple(_named(bridges[i]) for i in rank))
    if float(gaps.min()) <= 0.0 or held.length_mm > _MOST_SHARE * line.length_mm:
        raise CheckError(
            f"Section {number}: bridges of the {line.name} overlap, or hold more than half of it."
        )
    return held


def _named(bridge: Bridge) -> str:
    return f"{bridge.kind} at x {bridge.x_mm:.1f} mm, y {bridge.y_mm:.1f} mm"


def in_bridges(line: Line, held: Held) -> BoolArray:
    """(n,) bool: which points of a line need not be cut."""
    found = np.zeros(len(line.points_mm), dtype=bool)
    along = np.concatenate(([0.0], np.cumsum(line.spacings_mm)[:-1]))
    for begin, end in held.spans_mm.tolist():
        found |= (along - begin + SLACK_MM) % line.length_mm <= end - begin + 2.0 * SLACK_MM
    return found


def check_bridges(
    line: Line,
    held: Held,
    cuts: Sequence[FloatArray],
    covered_mm: FloatArray,
    away_mm: float,
) -> None:
    """Refuse a bridge that is cut, too long or too short.

    Args:
        line, held: an outline and its bridges.
        cuts: the tip's ways that follow it, (n, 2) float64 each.
        covered_mm: (k, 2) float64, where along it their steps begin and end: on a narrow piece a
            cut on the other side is near a bridge, and far from it along the line.
        away_mm: how far a cut may lie from the line that it follows.

    Raises:
        CheckError: it names the bridge and its place.
    """
    ways = shapely.MultiLineString([cut for cut in cuts if len(cut) > 1])
    shapely.prepare(ways)
    low, high = covered_mm.T
    for (begin, end), name in zip(held.spans_mm.tolist(), held.names, strict=True):
        outer = line.at_mm(np.array([begin - SLACK_MM, end + SLACK_MM]))
        if float(shapely.distance(ways, shapely.points(outer)).max()) > away_mm:
            raise CheckError(f"The {line.name}: more stays uncut than the {name}.")
        first, last = begin + SLACK_MM, end - SLACK_MM
        # Two stretches of a closed line overlap where one of them begins within the other.
        within = (low - first) % line.length_mm < last - first
        around = (first - low) % line.length_mm < high - low
        if first < last and bool(np.any(within | around)):
            raise CheckError(f"The {line.name}: the {name} is cut, where film was to stay.")
