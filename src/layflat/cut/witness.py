"""Witness marks: crosses in both margins to which the head returns, so that a drift shows.

At a section's start a row of crosses is cut in each margin, one for every return. Whenever the
section has been fed on by an interval, and at its end, the head cuts a cross on either side where
it stands, goes back to the row and cuts a smaller cross on the next one of it. As long as the film
has kept its place under the head, the small cross lies in the middle of the large one. What lies
between their middles is the drift since the row was cut. The crosses where it stood make
rectangles with those of the row, whose diagonals a tape can compare.

The blade keeps its heading through all of this: each mark ends with a short hook in the direction
that the cut after it expects.
"""

import itertools
import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely

from layflat.base import FitError, SettingError
from layflat.cut.check import check_program
from layflat.cut.duration import stroke_seconds
from layflat.cut.elements import Element
from layflat.cut.hpgl import cut_text, told_cut
from layflat.cut.knife import pivot_path
from layflat.cut.machine import Machine
from layflat.cut.owners import OwnedStroke, fed_before, owned_strokes
from layflat.cut.reader import read_hpgl
from layflat.cut.records import CutProgram, SectionProgram, Witness
from layflat.cut.safe import cuts_among
from layflat.cut.sheet import Sheet, reach_of, sheets_of
from layflat.cut.texts import inserted, joined
from layflat.pattern import Drawing, bounds

EVERY_MM = 500.0
"""After how much feed the head returns, unless it is told otherwise."""

PITCH_MM = 20.0
"""How far the crosses of the row lie apart: a drift must be less than half of it to be read."""

ARM_MM = 2.5
"""Half the size of a first cross."""

RETURN_ARM_MM = 1.2
"""Half the size of the cross that is cut on it."""

_HOOK_MM = 0.4
_CLEAR_MM = 1.0
_ROLLERS_MM = 13.0
_LEAST_MARGIN_MM = 2.0 * (ARM_MM + _CLEAR_MM)
_RANGE_MM = (50.0, 10_000.0)


def witnessed(
    program: CutProgram, drawing: Drawing, machine: Machine, *, every_mm: float = EVERY_MM
) -> CutProgram:
    """A program with witness marks in its margins, checked again.

    Args:
        program: of the drawing, without witness marks.
        drawing: what it was made from.
        machine: what it was made for.
        every_mm: after how much feed the head returns; 50 to 10 000 mm. It returns at each
            section's end in any case.

    Raises:
        SettingError: the interval is out of its range, or the program has marks already.
        FitError: neither margin has room for marks; it says how much is wanted.
        CheckError: the cut would no longer lie on the pattern.
    """
    if not _RANGE_MM[0] <= every_mm <= _RANGE_MM[1]:
        raise SettingError(
            f"The head cannot return after every {every_mm:g} mm of feed; it must be "
            f"{_RANGE_MM[0]:g} to {_RANGE_MM[1]:g} mm."
        )
    if any(section.witnesses for section in program.sections):
        raise SettingError("The program has witness marks already.")
    sheets = sheets_of(drawing, machine)
    sections = tuple(
        _section(section, sheet, machine, every_mm)
        for section, sheet in zip(program.sections, sheets, strict=True)
    )
    made = replace(
        program,
        sections=sections,
        hpgl=joined(
            [section.hpgl for section in sections],
            [machine.told_start(sheet.start_units) for sheet in sheets],
        ),
    )
    return replace(made, tip_error=check_program(made, drawing, machine))


def mark_sides(sheet: Sheet, machine: Machine) -> dict[str, float]:
    """Where marks lie across the roll: “near” and “far”, as far as the margins have room.

    Raises:
        FitError: neither has.
    """
    low = min(bounds(pattern.outline)[1] for pattern in sheet.patterns)
    high = max(bounds(pattern.outline)[3] for pattern in sheet.patterns)
    near, far = _edges(sheet, machine)
    sides = {}
    # Clear of the film, and off the edge where the rollers run if there is room for both.
    if low - near >= _LEAST_MARGIN_MM:
        sides["near"] = min(low - ARM_MM - _CLEAR_MM, near + _ROLLERS_MM)
    if far - high >= _LEAST_MARGIN_MM:
        sides["far"] = max(high + ARM_MM + _CLEAR_MM, far - _ROLLERS_MM)
    if not sides:
        raise FitError(
            f"Section {sheet.number}: the margins are {low - near:.1f} and {far - high:.1f} mm "
            f"wide; witness marks need {_LEAST_MARGIN_MM:g} mm in one of them."
        )
    return sides


def _first_x_mm(machine: Machine) -> float:
    """Where along the section its first marks are, on either side."""
    # At the far side a skew begins the head's way so much later.
    begin = max(0.0, machine.skew * machine.max_width_mm)
    return begin + ARM_MM + _CLEAR_MM + machine.knife_offset_mm


def _edges(sheet: Sheet, machine: Machine) -> tuple[float, float]:
    """How far across the roll the knife gets to on both sides, wherever along it a mark may be."""
    begin = _first_x_mm(machine) - ARM_MM - machine.knife_offset_mm
    ways = shapely.linestrings(
        [[(x, 0.0), (x, sheet.width_mm)] for x in (begin, sheet.length_mm - begin)]
    )
    _, near, _, far = shapely.bounds(shapely.intersection(ways, reach_of(sheet, machine))).T
    return float(near.max()), float(far.min())


def _returns(strokes: Sequence[OwnedStroke], every_mm: float) -> list[int]:
    """Before which strokes the head returns: between pieces, after each interval, at the end."""
    found = []
    due = every_mm
    for i, (last, after) in enumerate(itertools.pairwise(strokes), start=1):
        if last.fed_end_mm >= due and last.piece != after.piece and last.piece is not None:
            found.append(i)
            due = (math.floor(last.fed_end_mm / every_mm) + 1.0) * every_mm
    return [*found, len(strokes)]


def _cross(x: float, y: float, arm: float) -> list[tuple[Element, ...]]:
    return [
        (Element(x - arm, y, 0.0, 2.0 * arm),),
        (Element(x, y - arm, 0.5 * math.pi, 2.0 * arm),),
    ]


def _hooked(elements: tuple[Element, ...], heading: float) -> tuple[Element, ...]:
    """The elements with a short stretch more, in the direction that the next cut expects."""
    x, y, _ = elements[-1].at(1.0)
    return (*elements, Element(x, y, heading, _HOOK_MM))


def _marks_text(crosses: Sequence[tuple[Element, ...]], *, heading: float, machine: Machine) -> str:
    """The commands of some crosses, the blade's heading kept."""
    now = heading
    lines: list[str] = []
    for i, elements in enumerate(crosses):
        way = _hooked(elements, heading) if i == len(crosses) - 1 else elements
        pivot = pivot_path(way, heading_rad=now, offset_mm=machine.knife_offset_mm)
        now = way[-1].end_heading_rad
        lines.append(cut_text(*told_cut(pivot, machine), machine=machine))
    return "".join(lines)


def _section(
    section: SectionProgram, sheet: Sheet, machine: Machine, every_mm: float
) -> SectionProgram:
    """One section with its marks."""
    strokes = owned_strokes(section, sheet, machine)
    sides = mark_sides(sheet, machine)
    first_x = _first_x_mm(machine)
    most = max(1, int((sheet.length_mm - 2.0 * first_x) // PITCH_MM))
    returns = _returns(strokes, every_mm)
    returns = [*returns[: most - 1], returns[-1]] if len(returns) > most else returns
    row = [first_x + i * PITCH_MM for i in range(len(returns))]
    firsts = [(x, side) for side in sides for x in (row if side == "near" else row[::-1])]
    made = [cross for x, side in firsts for cross in _cross(x, sides[side], ARM_MM)]
    texts = {1: _marks_text(made, heading=strokes[0].heading_rad, machine=machine)}
    counts = {1: len(made)}
    added = len(made)
    smaller: list[tuple[int, str, float, int, float | None]] = []
    for i, (x, before) in enumerate(zip(row, returns, strict=True)):
        last = strokes[before - 1]
        here = min(last.fed_end_mm, sheet.length_mm - first_x)
        far_enough = here > row[-1] + PITCH_MM
        stations = [
            cross
            for y in (sides.values() if far_enough else ())
            for cross in _cross(here, y, ARM_MM)
        ]
        back = list(reversed(sides))
        again = [cross for side in back for cross in _cross(x, sides[side], RETURN_ARM_MM)]
        text = _marks_text([*stations, *again], heading=last.heading_rad, machine=machine)
        texts[before] = texts.get(before, "") + text
        first = before + added + len(stations)
        added += len(stations) + len(again)
        counts[before] = counts.get(before, 0) + len(stations) + len(again)
        station = here if far_enough else None
        smaller += [(i + 1, side, x, first + 2 * j, station) for j, side in enumerate(back)]
    hpgl = inserted(section.hpgl, texts)
    cut, travel, seconds = _run(hpgl, machine)
    fed, travelled = fed_before(hpgl, machine)
    # A mark's own stroke comes after the first cut in the waste, two strokes to a cross.
    own = {mark: 1 + 2 * k for k, mark in enumerate(firsts)}
    witnesses = [
        Witness(
            number=number,
            side=side,
            x_mm=x,
            y_mm=sides[side],
            fed_mm=fed[stroke] - fed[own[x, side]],
            travelled_mm=travelled[stroke] - travelled[own[x, side]],
            stroke=stroke,
            station_mm=station,
        )
        for number, side, x, stroke, station in smaller
    ]
    return replace(
        section,
        hpgl=hpgl,
        strokes=section.strokes + added,
        cut_length_mm=cut,
        travel_length_mm=travel,
        seconds=section.seconds + seconds - _run(section.hpgl, machine)[2],
        witnesses=tuple(witnesses),
        cuts=cuts_among(section.cuts, counts),
    )


def _run(hpgl: str, machine: Machine) -> tuple[float, float, float]:
    """The ways with the knife down and up in mm, and the time, of a program's text."""
    lengths = {True: 0.0, False: 0.0}
    seconds = 0.0
    for stroke in read_hpgl(hpgl, units_per_mm=machine.units_per_mm):
        lengths[stroke.down] += float(np.hypot(*np.diff(stroke.points_mm, axis=0).T).sum())
        seconds += stroke_seconds(stroke, machine)
    return lengths[True], lengths[False], seconds
