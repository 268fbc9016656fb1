"""The check that guards every cut program: read it back, trail the tip, compare.

It knows the drawing, the machine and the text of the program, and nothing of how that text was
made. Distances are measured both ways: from the cut to the pattern's lines, and from the lines
to the cut. What it refuses is never handed out.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from layflat.base import CheckError, FloatArray, Progress, silent
from layflat.cut.line import BoolArray, Line, Lines, all_lines
from layflat.cut.machine import Machine
from layflat.cut.reader import Reading, Stroke, read_program
from layflat.cut.records import CutProgram, TipError
from layflat.cut.sheet import Sheet, sheets_of
from layflat.cut.tip import TipPath, simulate
from layflat.pattern import Drawing

AWAY_MM = 0.05
"""How far the cut may lie from the pattern away from corners."""

CORNER_MM = 0.15
"""How far it may lie from the pattern at corners."""

CORNER_ZONE_MM = 0.25
"""What lies this close to a corner is at the corner."""

_ON_LINE_MM = 0.025
_OVERLAP_SLACK_MM = 0.05
_NEAR_MM = 0.3
_FOLLOWS = 0.2
_SAME_MM = 1e-3
_HEADINGS_RAD = (0.1, 0.1 + 0.5 * np.pi, 0.1 + np.pi, 0.1 + 1.5 * np.pi)


@dataclass(frozen=True, eq=False)
class _Measured:
    """What was measured on one section, cut by cut and line by line."""

    error: TipError
    spacings: FloatArray
    distances: FloatArray


def _limits(corner: BoolArray) -> FloatArray:
    limits: FloatArray = np.where(corner, CORNER_MM, AWAY_MM)
    return limits


def _place(point: FloatArray) -> str:
    return f"x {point[0]:.1f} mm, y {point[1]:.1f} mm"


def _followed(cut: FloatArray, lines: Lines) -> int | None:
    """The line that most of a cut runs on, or None if it follows none."""
    owner, distance = lines.nearest(cut)
    near = owner[distance <= _NEAR_MM]
    if len(near) < _FOLLOWS * len(cut):
        return None
    return int(np.argmax(np.bincount(near)))


def _on_line(cut: FloatArray, line: Line) -> int:
    """The index at which a cut's lead-in ends: where it first lies on its line."""
    distances = line.distances(cut)
    for limit in (_ON_LINE_MM, AWAY_MM, CORNER_MM):
        found = np.flatnonzero(distances <= limit)
        if len(found):
            return int(found[0])
    return int(np.argmin(distances))


def _check_state(reading: Reading, sheet: Sheet, machine: Machine) -> None:
    """The knife ends up, the text is whole, and every place can be reached."""
    where = f"Section {sheet.number}"
    if not reading.ends_up or not reading.complete:
        raise CheckError(f"{where}: the program ends too early, with the knife down or cut short.")
    points = np.vstack([stroke.points_mm for stroke in reading.strokes])
    most = np.array([sheet.length_mm, machine.max_width_mm])
    beyond = float(max(np.max(-points), np.max(points - most)))
    if beyond > 1.0 / machine.units_per_mm:
        raise CheckError(
            f"{where}: the program leaves the section or the machine by {beyond:.2f} mm."
        )


def _check_order(firsts: dict[int, int], lines: Sequence[Line], sheet: Sheet) -> None:
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
    for inner, outer, hole in sheet.inner_pieces():
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


def _check_stray(path: TipPath, lines: Lines, sheet: Sheet) -> float:
    """How deep any cut enters film, at most; refused beyond the tolerance."""
    points = np.vstack(path.cuts)
    inside = points[shapely.contains_xy(sheet.film(deviation_mm=0.002), points[:, 0], points[:, 1])]
    if not len(inside):
        return 0.0
    owner, depths = lines.nearest(inside)
    corner = np.zeros(len(inside), dtype=bool)
    for i in np.unique(owner):
        corner[owner == i] = lines.lines[i].at_corner(inside[owner == i], CORNER_ZONE_MM)
    worst = int(np.argmax(depths - _limits(corner)))
    if depths[worst] > _limits(corner)[worst]:
        film = next(
            pattern.name
            for i, pattern in enumerate(sheet.patterns)
            if any(line.piece == i and line.holds(inside[worst]) for line in lines.lines)
        )
        raise CheckError(
            f"Section {sheet.number}: a cut enters the piece {film} by {depths[worst]:.3f} mm at "
            f"{_place(inside[worst])}."
        )
    return float(depths.max())


def _refuse_beyond(
    distances: FloatArray, corner: BoolArray, points: FloatArray, *, line: Line, what: str
) -> None:
    over = distances - _limits(corner)
    worst = int(np.argmax(over))
    if over[worst] > 0.0:
        kind = "at a corner" if corner[worst] else "away from corners"
        raise CheckError(
            f"The {line.name}: {what} {distances[worst]:.3f} mm {kind}, at {_place(points[worst])} "
            f"of its section; {_limits(corner)[worst]:g} mm is allowed."
        )


def _measure_line(line: Line, cuts: Sequence[FloatArray], overcut_mm: float) -> _Measured:
    """Compare one line of the pattern with the cuts that follow it."""
    tips = np.vstack(cuts)
    away = line.distances(tips)
    tip_corner = line.at_corner(tips, CORNER_ZONE_MM)
    back = line.distances_from(cuts)
    corner = line.at_corner(line.points_mm, CORNER_ZONE_MM)
    missed = back > _limits(corner)
    uncut = float(line.spacings_mm[missed].sum())
    _refuse_beyond(back, corner, line.points_mm, line=line, what="a part stays uncut; the cut is")
    _refuse_beyond(away, tip_corner, tips, line=line, what="the cut runs beside its line by")
    overlap = max(line.run_mm(cut) for cut in cuts) - line.length_mm
    if overlap < overcut_mm - _OVERLAP_SLACK_MM:
        raise CheckError(
            f"The {line.name}: the cut runs {overlap:.2f} mm beyond its start; "
            f"{overcut_mm:g} mm are wanted so that the piece comes free."
        )
    both, at = np.concatenate((away, back)), np.concatenate((tip_corner, corner))
    steps = [np.hypot(*np.diff(cut, axis=0, prepend=cut[:1]).T) for cut in cuts]
    error = TipError(
        max_away_mm=float(both[~at].max(initial=0.0)),
        max_corner_mm=float(both[at].max(initial=0.0)),
        p95_mm=0.0,
        uncut_mm=uncut,
        stray_mm=0.0,
        least_overlap_mm=overlap,
    )
    return _Measured(error=error, spacings=np.concatenate(steps), distances=away)


def _check_path(path: TipPath, lines: Lines, sheet: Sheet, machine: Machine) -> list[_Measured]:
    """Everything that one simulated path of the tip must fulfil."""
    stray = _check_stray(path, lines, sheet)
    cuts: dict[int, list[FloatArray]] = {}
    firsts: dict[int, int] = {}
    for order, cut in enumerate(path.cuts):
        followed = _followed(cut, lines)
        if followed is not None:
            cuts.setdefault(followed, []).append(cut[_on_line(cut, lines.lines[followed]) :])
            firsts.setdefault(followed, order)
    for i, line in enumerate(lines.lines):
        if i not in cuts:
            raise CheckError(f"Section {sheet.number}: the {line.name} is not cut at all.")
    _check_order(firsts, lines.lines, sheet)
    measured = [
        _measure_line(line, cuts[i], machine.overcut_mm) for i, line in enumerate(lines.lines)
    ]
    measured[0] = replace(measured[0], error=replace(measured[0].error, stray_mm=stray))
    return measured


def _check_section(text: str, sheet: Sheet, machine: Machine) -> list[_Measured]:
    """Check the program of one section for any heading that the blade may have at first."""
    reading = read_program(text, units_per_mm=machine.units_per_mm)
    if not any(stroke.down for stroke in reading.strokes):
        raise CheckError(f"Section {sheet.number}: the program cuts nothing.")
    _check_state(reading, sheet, machine)
    lines = all_lines(sheet.patterns)
    paths = [
        simulate(reading.strokes, knife_offset_mm=machine.knife_offset_mm, heading_rad=heading)
        for heading in _HEADINGS_RAD
    ]
    measured = _check_path(paths[0], lines, sheet, machine)
    for path in paths[1:]:
        _check_stray(replace(path, cuts=path.cuts[:1]), lines, sheet)
        apart = [
            float(np.abs(a - b).max())
            for a, b in zip(paths[0].cuts[1:], path.cuts[1:], strict=True)
        ]
        if max(apart, default=0.0) > _SAME_MM:
            measured += _check_path(path, lines, sheet, machine)
    return measured


def _down(text: str, machine: Machine) -> list[Stroke]:
    reading = read_program(text, units_per_mm=machine.units_per_mm)
    if not reading.ends_up or not reading.complete:
        raise CheckError("The whole program ends too early, with the knife down or cut short.")
    return [stroke for stroke in reading.strokes if stroke.down]


def _check_whole(program: CutProgram, sheets: Sequence[Sheet], machine: Machine) -> None:
    """The whole program is its sections, each moved along the roll."""
    whole = _down(program.hpgl, machine)
    moved = [
        stroke.points_mm + np.array([sheet.start_units / machine.units_per_mm, 0.0])
        for section, sheet in zip(program.sections, sheets, strict=True)
        for stroke in _down(section.hpgl, machine)
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
    at them, and the lines as close to the cut; every closed cut must run on beyond its start by
    the machine's overcut; nothing may be cut into a piece; cut-outs come before their outline;
    the knife stays within section and machine, and ends up. Every section is checked by itself,
    for four headings that the blade may have at first.

    Args:
        program: from `program`, or altered since.
        drawing: what it was made from.
        machine: what it was made for.
        progress: told of every section.

    Raises:
        CheckError: the program fails; the message names the piece and the place.
        InputError: its text is no HP-GL that the independent reader takes.
    """
    sheets = sheets_of(drawing, machine)
    if len(sheets) != len(program.sections):
        raise CheckError(
            f"The program has {len(program.sections)} sections; the drawing has {len(sheets)}."
        )
    measured: list[_Measured] = []
    for i, (section, sheet) in enumerate(zip(program.sections, sheets, strict=True)):
        progress(f"checking section {sheet.number}", i / len(sheets))
        measured += _check_section(section.hpgl, sheet, machine)
    _check_whole(program, sheets, machine)
    errors = [one.error for one in measured]
    distances = np.concatenate([one.distances for one in measured])
    weights = np.concatenate([one.spacings for one in measured])
    rank = np.argsort(distances, kind="stable")
    share = np.cumsum(weights[rank])
    return TipError(
        max_away_mm=max(error.max_away_mm for error in errors),
        max_corner_mm=max(error.max_corner_mm for error in errors),
        p95_mm=float(distances[rank][int(np.searchsorted(share, 0.95 * share[-1]))]),
        uncut_mm=sum(error.uncut_mm for error in errors),
        stray_mm=max(error.stray_mm for error in errors),
        least_overlap_mm=min(error.least_overlap_mm for error in errors),
    )
