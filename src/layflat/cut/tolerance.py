"""How far the cut would lie off if the blade's offset were not the one in the machine file."""

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from layflat.base import FloatArray, SettingError
from layflat.cut.check import landed
from layflat.cut.line import BoolArray, Lines, all_lines
from layflat.cut.machine import Machine
from layflat.cut.reader import read_hpgl
from layflat.cut.records import Cut, CutProgram, SectionProgram
from layflat.cut.sheet import sheets_of
from layflat.cut.tip import simulate
from layflat.pattern import Drawing

WRONG_MM = 0.05
"""By how much the offset is taken to be wrong, if nobody says: what a packet's label may be."""

REACH_OFFSETS = 1.5
"""What lies within so many of the blade's offsets of a corner is at it.

Behind that the tip is off by no more than the offset is wrong, however sharp the corner is, for an
offset that is wrong by up to a fifth."""

_NEAR_MM = 0.3


@dataclass(frozen=True, kw_only=True)
class Tolerance:
    """What a program would cut with a blade of another offset.

    Attributes:
        wrong_mm: by how much the offset is taken to be wrong, to either side.
        curve_mm: how far the tip would then lie from the lines at most, farther than `reach_mm`
            from every corner.
        where: the line on which that is reached.
        corner_mm: the same within `reach_mm` of a corner.
        reach_mm: how far from a corner counts as at it: `REACH_OFFSETS` of the longer offset.
        turn_deg: by how much the sharpest corner turns; 0 if there is none.
        swivel_mm: how far the tip lies beside the line behind that corner, by the closed form.
    """

    wrong_mm: float
    curve_mm: float
    where: str
    corner_mm: float
    reach_mm: float
    turn_deg: float
    swivel_mm: float

    @property
    def sentence(self) -> str:
        """What it means, for a person."""
        curves = (
            f"If the blade's offset were {self.wrong_mm:g} mm more or less than the machine file "
            f"says, the tip would stay within {self.curve_mm:.3f} mm of straight lines and curves"
        )
        if not self.turn_deg:
            return f"{curves}."
        return (
            f"{curves}, and within {self.corner_mm:.3f} mm at corners and up to "
            f"{self.reach_mm:.2f} mm behind them. To turn such a blade on the spot by "
            f"{self.turn_deg:.0f}° leaves it up to {self.swivel_mm:.3f} mm beside its line."
        )


def swivel_off_mm(turn_rad: float, *, offset_mm: float, blade_mm: float) -> float:
    """How far the tip lies beside its line when the pivot has turned it about a corner.

    The pivot goes round the corner on a circle of the radius L, the offset of the machine file; the
    blade's own is L'. With k = L/L' the blade lags behind by e more than it should, where
    de/dt = 1 - k cos(e) over the turn t; hence the two forms below for tan(e/2). To the first order
    that is (L' - L) t.

    Args:
        turn_rad: by how much the corner turns, 0 to pi.
        offset_mm: L, above 0.
        blade_mm: L', above 0.

    Returns:
        L' sin(e): positive on the side that the blade comes from.
    """
    ratio = offset_mm / blade_mm
    slope = math.sqrt(abs(1.0 - ratio) / (1.0 + ratio))
    angle = 0.5 * turn_rad * math.sqrt(abs(1.0 - ratio**2))
    half = slope * math.tan(angle) if ratio <= 1.0 else -slope * math.tanh(angle)
    return blade_mm * math.sin(2.0 * math.atan(half))


def tolerance_of(
    program: CutProgram, drawing: Drawing, machine: Machine, *, wrong_mm: float = WRONG_MM
) -> Tolerance:
    """Simulate a checked program with offsets that are wrong to either side.

    The pieces' own lines count; lead-ins do not.

    Args:
        program: of the drawing, for the machine, with its cuts told.
        drawing, machine: what it was made from and for.
        wrong_mm: above 0, less than the machine's offset.

    Raises:
        SettingError: *wrong_mm* is out of its range.
    """
    offset = machine.knife_offset_mm
    if not 0.0 < wrong_mm < offset:
        raise SettingError(
            f"An offset of {offset:g} mm cannot be wrong by {wrong_mm:g} mm: give more than 0 and "
            "less than the offset itself."
        )
    reach = REACH_OFFSETS * (offset + wrong_mm)
    curve, corner, turn, where = 0.0, 0.0, 0.0, ""
    for section, sheet in zip(program.sections, sheets_of(drawing, machine), strict=True):
        lines = all_lines(sheet.patterns)
        turn = max(turn, *(float(line.turns_rad.max(initial=0.0)) for line in lines.lines))
        for line, away, near in _distances(section, lines, machine, wrong_mm, reach):
            if (most := float(away[~near].max(initial=0.0))) > curve:
                curve, where = most, lines.lines[line].name
            corner = max(corner, float(away[near].max(initial=0.0)))
    return Tolerance(
        wrong_mm=wrong_mm,
        curve_mm=curve,
        where=where,
        corner_mm=corner,
        reach_mm=reach,
        turn_deg=math.degrees(turn),
        swivel_mm=max(
            abs(swivel_off_mm(turn, offset_mm=offset, blade_mm=blade))
            for blade in (offset - wrong_mm, offset + wrong_mm)
        ),
    )


def usual_tolerance(program: CutProgram, drawing: Drawing, machine: Machine) -> Tolerance | None:
    """The same for `WRONG_MM`; None for a machine whose offset is no longer than that."""
    if machine.knife_offset_mm <= WRONG_MM:
        return None
    return tolerance_of(program, drawing, machine)


def _distances(
    section: SectionProgram, lines: Lines, machine: Machine, wrong_mm: float, reach_mm: float
) -> Iterator[tuple[int, FloatArray, BoolArray]]:
    """For each cut of a line with each wrong blade: the line, the tip's distances, and corners."""
    strokes = landed(read_hpgl(section.hpgl, units_per_mm=machine.units_per_mm), machine)
    right, *wrong = (
        simulate(strokes, knife_offset_mm=machine.knife_offset_mm + by, heading_rad=0.1).cuts
        for by in (0.0, -wrong_mm, wrong_mm)
    )
    for cut in section.cuts:
        if cut.kind not in ("outline", "opening"):
            continue
        own = right[cut.first : cut.last]
        near = lines.near(np.concatenate(own))
        line = int(np.argmax(np.bincount(near.line[near.distance_mm <= _NEAR_MM])))
        # What the right blade cuts before it is once round and over the start is its lead-in;
        # the wrong one's is as long.
        lead = sum(float(_along(path)[-1]) for path in own) + _held_mm(section, cut)
        lead = max(0.0, lead - lines.lines[line].length_mm - machine.overcut_mm)
        for path in wrong:
            first, *others = path[cut.first : cut.last]
            tips = np.concatenate([first[_along(first) >= lead], *others])
            near_corner = lines.at_corner(tips, np.full(len(tips), line), reach_mm)
            yield line, _from_line(tips, lines, line), near_corner


def _from_line(tips_mm: FloatArray, lines: Lines, line: int) -> FloatArray:
    """(n,) float64: distances of points from one of the lines."""
    near = lines.near(tips_mm)
    others = near.line != line
    distances = near.distance_mm.copy()
    distances[others] = lines.lines[line].distances(tips_mm[others]) if others.any() else 0.0
    return distances


def _held_mm(section: SectionProgram, cut: Cut) -> float:
    """How much of a cut's line stays uncut by wish."""
    if cut.kind != "outline":
        return 0.0
    return sum(bridge.length_mm for bridge in section.bridges if bridge.piece == cut.piece)


def _along(points_mm: FloatArray) -> FloatArray:
    along: FloatArray = np.cumsum(np.hypot(*np.diff(points_mm, axis=0, prepend=points_mm[:1]).T))
    return along
