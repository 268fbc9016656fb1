"""The check that guards every cut program: read it back, trail the tip, compare.

It knows the drawing, the machine and the text of the program, and nothing of how that text was
made. Distances are measured both ways: from the cut to the pattern's lines, and from the lines
to the cut. What it refuses is never handed out.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from layflat.base import CheckError, FloatArray, IntArray, Progress, silent
from layflat.cut.bridge_check import Held, check_bridges, held_of, in_bridges
from layflat.cut.line import BoolArray, Line, Lines, Near, all_lines
from layflat.cut.machine import Machine
from layflat.cut.reader import Reading, Stroke, read_program
from layflat.cut.records import CutProgram, SectionProgram, TipError
from layflat.cut.sheet import Sheet, sheets_of
from layflat.cut.speed_check import check_speeds
from layflat.cut.tip import TipPath, simulate
from layflat.cut.trail import DOUBTFUL_MM, Trail, trail_of
from layflat.pattern import Drawing

AWAY_MM = 0.05
"""How far the cut may lie from the pattern away from corners."""

CORNER_MM = 0.15
"""How far it may lie from the pattern at corners."""

CORNER_ZONE_MM = 0.25
"""What lies this close to a corner is at the corner."""

_OVERLAP_SLACK_MM = 0.05
_SAME_MM = 1e-3
_HEADINGS_RAD = (0.1, 0.1 + 0.5 * np.pi, 0.1 + np.pi, 0.1 + 1.5 * np.pi)
_BANDS_MM = (AWAY_MM, 0.025, 0.015, -1.0)
"""Distances from lines between which points are asked together whether they lie in film."""


@dataclass(frozen=True, eq=False)
class _Measured:
    """What was measured on one section: its errors, and the cut's distances with their lengths."""

    error: TipError
    spacings: FloatArray
    distances: FloatArray


def _limits(corner: BoolArray) -> FloatArray:
    limits: FloatArray = np.where(corner, CORNER_MM, AWAY_MM)
    return limits


def _place(point: FloatArray) -> str:
    return f"x {point[0]:.1f} mm, y {point[1]:.1f} mm"


def _check_state(told: Reading, reading: Reading, sheet: Sheet, machine: Machine) -> None:
    """The knife ends up, the text is whole, and every place can be reached."""
    where = f"Section {sheet.number}"
    if not reading.ends_up or not reading.complete:
        raise CheckError(f"{where}: the program ends too early, with the knife down or cut short.")
    # What is cut lies in the section; where the head is told to go, the machine can go.
    cut = np.vstack([stroke.points_mm for stroke in reading.strokes if stroke.down])
    way = np.vstack([stroke.points_mm for stroke in told.strokes])
    most = np.array([sheet.length_mm, machine.max_width_mm])
    beyond = float(max(np.max(-cut), np.max(cut - most), np.max(-way)))
    beyond = max(beyond, float(np.max(way[:, 1])) - machine.max_width_mm)
    if machine.is_true:
        beyond = max(beyond, float(np.max(way[:, 0])) - sheet.length_mm)
    if beyond > 1.0 / machine.units_per_mm:
        raise CheckError(
            f"{where}: the program leaves the section or the machine by {beyond:.2f} mm."
        )


def _check_order(firsts: IntArray, lines: Sequence[Line], sheet: Sheet) -> None:
    """Cut-outs come before their outline, inner pieces before what lies around them."""
    for i, line in enumerate(lines):
        if line.cut_out is None:
            continue
        outline = next(
            j
            for j, other in enumerate(lines)
            if other.piece == line.piece and other.cut_out is None
        )
        if firsts[i] > firsts[outline]:
            raise CheckError(f"Section {sheet.number}: the {line.name} is cut after its outline.")
    for inner, outer, hole in sheet.inner_pieces:
        around = next(
            firsts[j]
            for j, line in enumerate(lines)
            if line.piece == outer and line.cut_out == hole
        )
        last = max(firsts[j] for j, line in enumerate(lines) if line.piece == inner)
        if last > around:
            raise CheckError(
                f"Section {sheet.number}: {sheet.patterns[inner].name} is cut after the cut-out "
                f"of {sheet.patterns[outer].name} that it lies in."
            )


def _check_stray(tips_mm: FloatArray, near: Near, lines: Lines, sheet: Sheet) -> float:
    """How deep any cut enters film, at most; refused beyond the tolerance."""
    ceiling, deepest = np.inf, 0.0
    # Those that are near no line first: whether a point lies in film is asked only as long as a
    # deeper one than was found can be among those that are left.
    for floor in _BANDS_MM:
        some = np.flatnonzero((near.distance_mm > floor) & (near.distance_mm <= ceiling))
        inside = some[shapely.contains_xy(sheet.film, tips_mm[some, 0], tips_mm[some, 1])]
        if len(inside):
            deepest = max(deepest, _depth(tips_mm[inside], near.part(inside), lines, sheet))
        if deepest > floor:
            break
        ceiling = floor
    return deepest


def _depth(points_mm: FloatArray, near: Near, lines: Lines, sheet: Sheet) -> float:
    """How deep some points of a cut lie in film, at most; refused beyond the tolerance."""
    owner, depths = near.line.copy(), near.distance_mm.copy()
    doubtful = depths > DOUBTFUL_MM
    if doubtful.any():
        owner[doubtful], depths[doubtful] = lines.nearest(points_mm[doubtful])
    limits = _limits(lines.at_corner(points_mm, owner, CORNER_ZONE_MM))
    worst = int(np.argmax(depths - limits))
    if depths[worst] > limits[worst]:
        film = next(
            pattern.name
            for i, pattern in enumerate(sheet.patterns)
            if any(line.piece == i and line.holds(points_mm[worst]) for line in lines.lines)
        )
        raise CheckError(
            f"Section {sheet.number}: a cut enters the piece {film} by {depths[worst]:.3f} mm at "
            f"{_place(points_mm[worst])}."
        )
    return float(depths.max())


def _refuse_beyond(
    distances: FloatArray,
    corner: BoolArray,
    points: FloatArray,
    *,
    line: IntArray,
    lines: Lines,
    what: str,
) -> None:
    """Refuse the point that lies farthest beyond what is allowed where it is."""
    limits = _limits(corner)
    worst = int(np.argmax(distances - limits))
    if distances[worst] > limits[worst]:
        kind = "at a corner" if corner[worst] else "away from corners"
        raise CheckError(
            f"The {lines.lines[line[worst]].name}: {what} {distances[worst]:.3f} mm {kind}, at "
            f"{_place(points[worst])} of its section; {limits[worst]:g} mm is allowed."
        )


def _check_overlap(trail: Trail, lines: Lines, helds: Sequence[Held], overcut_mm: float) -> float:
    """By how much every line's cut runs on beyond its start, at least; refused if too little."""
    runs = np.abs(trail.runs_mm(lines))
    least = np.inf
    for i, (line, held) in enumerate(zip(lines.lines, helds, strict=True)):
        own = runs[trail.follows == i]
        run = own.sum() + held.length_mm if held.names else own.max()
        overlap = float(run - line.length_mm)
        if overlap < overcut_mm - _OVERLAP_SLACK_MM:
            raise CheckError(
                f"The {line.name}: the cut runs {overlap:.2f} mm beyond its start; "
                f"{overcut_mm:g} mm are wanted so that the piece comes free."
            )
        least = min(least, overlap)
    return least


def _check_path(
    path: TipPath, lines: Lines, sheet: Sheet, machine: Machine, helds: Sequence[Held]
) -> _Measured:
    """Everything that one simulated path of the tip must fulfil."""
    tips = np.concatenate(path.cuts)
    near = lines.near(tips)
    stray = _check_stray(tips, near, lines, sheet)
    trail = trail_of(path, near, lines)
    firsts = trail.firsts(lines)
    if len(missing := np.flatnonzero(firsts < 0)):
        name = lines.lines[missing[0]].name
        raise CheckError(f"Section {sheet.number}: the {name} is not cut at all.")
    _check_order(firsts, lines.lines, sheet)
    reached = trail.reached_mm(lines)
    for i, held in enumerate(helds):
        if held.names:
            covered = trail.covered_mm(i, lines)
            check_bridges(lines.lines[i], held, trail.cuts_on(i), covered, AWAY_MM)
            own = np.flatnonzero(lines.owner == i)
            reached[own[in_bridges(lines.lines[i], held)]] = 0.0
    corner = lines.at_corner(lines.points_mm, lines.owner, CORNER_ZONE_MM)
    tip_corner = lines.at_corner(trail.points_mm, trail.line, CORNER_ZONE_MM)
    away = trail.away_mm(lines)
    uncut = "a part stays uncut; the cut is"
    beside = "the cut runs beside its line by"
    _refuse_beyond(reached, corner, lines.points_mm, line=lines.owner, lines=lines, what=uncut)
    _refuse_beyond(away, tip_corner, trail.points_mm, line=trail.line, lines=lines, what=beside)
    error = TipError(
        max_away_mm=float(
            max(away[~tip_corner].max(initial=0.0), reached[~corner].max(initial=0.0))
        ),
        max_corner_mm=float(
            max(away[tip_corner].max(initial=0.0), reached[corner].max(initial=0.0))
        ),
        p95_mm=0.0,
        uncut_mm=float(lines.spacings_mm[reached > _limits(corner)].sum()),
        stray_mm=stray,
        least_overlap_mm=_check_overlap(trail, lines, helds, machine.overcut_mm),
    )
    return _Measured(error=error, spacings=trail.spacings_mm, distances=away)


def landed(strokes: Sequence[Stroke], machine: Machine) -> tuple[Stroke, ...]:
    """Strokes as the machine was told them, where they come to lie on the film."""
    return tuple(replace(stroke, points_mm=machine.landed(stroke.points_mm)) for stroke in strokes)


def _check_section(
    told: Reading, section: SectionProgram, sheet: Sheet, machine: Machine
) -> list[_Measured]:
    """Check the program of one section for any heading that the blade may have at first."""
    reading = replace(told, strokes=landed(told.strokes, machine))
    if not any(stroke.down for stroke in reading.strokes):
        raise CheckError(f"Section {sheet.number}: the program cuts nothing.")
    _check_state(told, reading, sheet, machine)
    check_speeds(told.strokes, machine, number=sheet.number)
    lines = all_lines(sheet.patterns)
    helds = held_of(section, lines)
    offset = machine.knife_offset_mm
    whole = simulate(reading.strokes, knife_offset_mm=offset, heading_rad=_HEADINGS_RAD[0])
    measured = [_check_path(whole, lines, sheet, machine, helds)]
    first = whole.strokes[0]
    for heading in _HEADINGS_RAD[1:]:
        begun = simulate(reading.strokes[: first + 1], knife_offset_mm=offset, heading_rad=heading)
        _check_stray(begun.cuts[0], lines.near(begun.cuts[0]), lines, sheet)
        # A blade that heads the same way at a cut's end does the same from there on.
        apart = math.remainder(begun.headings_rad[0] - whole.headings_rad[0], math.tau)
        if abs(apart) * offset > _SAME_MM:
            path = simulate(reading.strokes, knife_offset_mm=offset, heading_rad=heading)
            measured.append(_check_path(path, lines, sheet, machine, helds))
    return measured


def _down(text: str, machine: Machine) -> list[Stroke]:
    reading = read_program(text, units_per_mm=machine.units_per_mm)
    if not reading.ends_up or not reading.complete:
        raise CheckError("The whole program ends too early, with the knife down or cut short.")
    return [stroke for stroke in reading.strokes if stroke.down]


def _check_whole(
    program: CutProgram, told: Sequence[Reading], sheets: Sequence[Sheet], machine: Machine
) -> None:
    """The whole program is its sections, each moved along the roll."""
    if len(told) == 1 and program.hpgl == program.sections[0].hpgl and not sheets[0].start_units:
        return
    whole = _down(program.hpgl, machine)
    moved = [
        stroke.points_mm + machine.told_start(sheet.start_units) / machine.units_per_mm
        for reading, sheet in zip(told, sheets, strict=True)
        for stroke in reading.strokes
        if stroke.down
    ]
    same = len(whole) == len(moved) and all(
        a.points_mm.shape == b.shape and bool(np.allclose(a.points_mm, b, rtol=0, atol=1e-6))
        for a, b in zip(whole, moved, strict=True)
    )
    if not same:
        raise CheckError("The whole program is not the sum of its sections in their order.")


def check_program(
    program: CutProgram, drawing: Drawing, machine: Machine, *, progress: Progress = silent
) -> TipError:
    """Read a program back, simulate the blade's tip and compare its cut with the drawing.

    The cut must lie within `AWAY_MM` of the pattern's lines away from corners and `CORNER_MM`
    at them, and the lines as close to the cut, but for the bridges that the program says it
    leaves, and those must stay; every closed cut must run on beyond its start by the machine's
    overcut; nothing may be cut into a piece; cut-outs come before their outline; the knife stays
    within section and machine, and ends up. Every section is checked by itself, for four headings
    that the blade may have at first.

    Args:
        program: from `program`, or altered since.
        drawing: what it was made from.
        machine: what it was made for.
        progress: told of every section.

    Raises:
        CheckError: the program fails; the message names the piece and the place.
        InputError: its text is no HP-GL that the independent reader takes.
    """
    return check_sheets(program, sheets_of(drawing, machine), machine, progress=progress)


def check_sheets(
    program: CutProgram, sheets: Sequence[Sheet], machine: Machine, *, progress: Progress = silent
) -> TipError:
    """Check a program against a drawing that has been taken apart; see `check_program`."""
    if len(sheets) != len(program.sections):
        raise CheckError(
            f"The program has {len(program.sections)} sections; the drawing has {len(sheets)}."
        )
    measured: list[_Measured] = []
    told: list[Reading] = []
    for i, (section, sheet) in enumerate(zip(program.sections, sheets, strict=True)):
        progress(f"checking section {sheet.number}", i / len(sheets))
        told.append(read_program(section.hpgl, units_per_mm=machine.units_per_mm))
        measured += _check_section(told[-1], section, sheet, machine)
    _check_whole(program, told, sheets, machine)
    errors = [one.error for one in measured]
    distances = np.concatenate([one.distances for one in measured])
    weights = np.concatenate([one.spacings for one in measured])
    rank = np.argsort(distances)
    share = np.cumsum(weights[rank])
    return TipError(
        max_away_mm=max(error.max_away_mm for error in errors),
        max_corner_mm=max(error.max_corner_mm for error in errors),
        p95_mm=float(distances[rank][int(np.searchsorted(share, 0.95 * share[-1]))]),
        uncut_mm=sum(error.uncut_mm for error in errors),
        stray_mm=max(error.stray_mm for error in errors),
        least_overlap_mm=min(error.least_overlap_mm for error in errors),
    )
