"""From a drawing to a cut program that has passed its check."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from layflat.base import DrawingError, FitError, FloatArray, Progress, part_of, silent
from layflat.cut.check import check_program
from layflat.cut.duration import run_seconds
from layflat.cut.elements import Loop, elements_of
from layflat.cut.entry import Entry, align_path, entries_of, waste_of
from layflat.cut.hpgl import hpgl_text, to_units
from layflat.cut.knife import pivot_path
from layflat.cut.machine import Machine
from layflat.cut.order import Stop, Visit, shortest_tour
from layflat.cut.records import CutProgram, SectionProgram, TipError
from layflat.cut.sheet import Sheet, sheets_of
from layflat.pattern import Curve, Drawing, curve_area_mm2, reverse

_NO_ERROR = TipError(
    max_away_mm=0.0,
    max_corner_mm=0.0,
    p95_mm=0.0,
    uncut_mm=0.0,
    stray_mm=0.0,
    least_overlap_mm=0.0,
)


def _loop(curve: Curve, *, piece: int, name: str, is_cut_out: bool) -> Loop:
    """A curve as a loop with the film on its left, whichever way it was drawn."""
    counter_clockwise = curve_area_mm2(curve) > 0.0
    directed = reverse(curve) if counter_clockwise == is_cut_out else curve
    elements = elements_of(directed)
    if len(elements) < 2 or sum(element.length_mm for element in elements) < 1.0:
        raise DrawingError(f"The {name} is shorter than 1 mm all round: nothing to cut.")
    return Loop(piece=piece, name=name, is_cut_out=is_cut_out, elements=elements)


def _loops(sheet: Sheet) -> list[Loop]:
    """Every line of a section's pieces: cut-outs, then the outline."""
    found = []
    for i, pattern in enumerate(sheet.patterns):
        for k, hole in enumerate(pattern.cut_outs):
            name = f"cut-out {k + 1} of {pattern.name}"
            found.append(_loop(hole, piece=i, name=name, is_cut_out=True))
        name = f"outline of {pattern.name}"
        found.append(_loop(pattern.outline, piece=i, name=name, is_cut_out=False))
    return found


def _stop(loop: Loop, entries: Sequence[Entry], machine: Machine) -> Stop:
    exits = []
    for entry in entries:
        x, y, heading = loop.at(entry.along_mm + machine.overcut_mm)
        exits.append(
            (
                x + machine.knife_offset_mm * np.cos(heading),
                y + machine.knife_offset_mm * np.sin(heading),
            )
        )
    return Stop(
        piece=loop.piece,
        is_cut_out=loop.is_cut_out,
        entries_mm=np.array([(entry.lead[0].x_mm, entry.lead[0].y_mm) for entry in entries]),
        exits_mm=np.array(exits),
    )


def _check_reach(pivot: FloatArray, *, name: str, sheet: Sheet, machine: Machine) -> None:
    """Refuse a cut whose pivot leaves the section or the machine."""
    most = np.array([sheet.length_mm, min(machine.max_width_mm, sheet.width_mm)])
    beyond = np.concatenate((-pivot.min(axis=0), pivot.max(axis=0) - most))
    if beyond.max() <= 0.0:
        return
    side = (
        "the section's start",
        "the roll's near edge",
        "the section's end",
        "the roll's far edge"
        if sheet.width_mm <= machine.max_width_mm
        else f"the {machine.max_width_mm:g} mm that {machine.name} reaches across the roll",
    )[int(np.argmax(beyond))]
    raise FitError(
        f"Section {sheet.number}: for the {name} the knife's pivot would go {beyond.max():.2f} mm "
        f"beyond {side}. Leave that much more margin."
    )


@dataclass(frozen=True, eq=False)
class _Way:
    """The pivot's polylines of one section, in order, and what to say about them."""

    pivots: tuple[FloatArray, ...]
    pieces: tuple[str, ...]
    notes: tuple[str, ...]


def _way(sheet: Sheet, machine: Machine) -> _Way:
    """Order, starts, lead-ins and compensation for one section."""
    offset = machine.knife_offset_mm
    reach = min(machine.max_width_mm, sheet.width_mm)
    waste = waste_of(sheet.film(), bounds_mm=(0.0, 0.0, sheet.length_mm, reach))
    align = align_path(waste, offset_mm=offset)
    if align is None:
        raise FitError(
            f"Section {sheet.number} has no waste in which the blade could find its direction; "
            f"leave a margin of {16.0 * offset:.0f} mm at its start."
        )
    loops = _loops(sheet)
    entries = [entries_of(loop, waste, offset_mm=offset) for loop in loops]
    visits: list[Visit] = shortest_tour(
        [_stop(loop, ways, machine) for loop, ways in zip(loops, entries, strict=True)],
        before=[(inner, outer) for inner, outer, _ in sheet.inner_pieces()],
        start_mm=align[-1],
        end_mm=np.array([sheet.length_mm, 0.0]),
    )
    pivots = [align]
    last = align[-1] - align[-2]
    heading = float(np.arctan2(last[1], last[0]))
    notes, pieces = [], []
    for stop, choice in visits:
        loop, entry = loops[stop], entries[stop][choice]
        cut = [
            *entry.lead,
            *loop.stretch(entry.along_mm, loop.length_mm + machine.overcut_mm),
        ]
        pivot = pivot_path(cut, heading_rad=heading, offset_mm=offset)
        heading = cut[-1].end_heading_rad
        _check_reach(pivot, name=loop.name, sheet=sheet, machine=machine)
        pivots.append(pivot)
        if not loop.is_cut_out:
            pieces.append(sheet.patterns[loop.piece].name)
        if not entry.in_waste:
            notes.append(
                f"The {loop.name} has no room beside it for a lead-in: "
                "the blade turns on the line itself."
            )
    return _Way(pivots=tuple(pivots), pieces=tuple(pieces), notes=tuple(notes))


def _section(sheet: Sheet, way: _Way, machine: Machine) -> SectionProgram:
    """The text of one section with its lengths and time, from the rounded coordinates."""
    units = machine.units_per_mm
    cuts = [to_units(pivot, units_per_mm=units) for pivot in way.pivots]
    length_units = int(sheet.length_mm * units)
    runs = [cut / units for cut in cuts]
    ends = [np.zeros(2), *(run[-1] for run in runs)]
    starts = [*(run[0] for run in runs), np.array([length_units / units, 0.0])]
    travels = [np.vstack(pair) for pair in zip(ends, starts, strict=True)]
    speeds = {
        "acceleration_mm_s2": machine.acceleration_mm_s2,
        "deviation_mm": machine.junction_deviation_mm,
    }
    seconds = sum(run_seconds(run, speed_mm_s=machine.cut_speed_mm_s, **speeds) for run in runs)
    seconds += sum(run_seconds(t, speed_mm_s=machine.travel_speed_mm_s, **speeds) for t in travels)
    return SectionProgram(
        number=sheet.number,
        start_mm=sheet.start_units / units,
        end_mm=sheet.start_units / units + sheet.length_mm,
        hpgl=hpgl_text([(cuts, length_units, 0)], machine=machine),
        pieces=way.pieces,
        strokes=len(cuts),
        cut_length_mm=sum(float(np.hypot(*np.diff(run, axis=0).T).sum()) for run in runs),
        travel_length_mm=sum(float(np.hypot(*np.diff(t, axis=0).T).sum()) for t in travels),
        seconds=seconds + 2.0 * len(cuts) * machine.knife_move_s,
    )


def program(drawing: Drawing, machine: Machine, *, progress: Progress = silent) -> CutProgram:
    """The cut program of a drawing, checked by simulating the blade's tip.

    Sections are cut one after the other. In each, the blade first finds its direction in a
    short cut in the waste; then every piece: cut-outs, then outline, pieces in the order of
    short knife-up travel. Lines on the layer MARK are not cut: a notch that is to be cut is
    part of an outline. The same drawing and machine give the same bytes.

    Args:
        drawing: a layout; each rectangle of its stock is one section. x runs along the roll
            and y across it; the program counts from the roll's cut end and its edge.
        machine: knife and limits.
        progress: told of every section; it may stop the work.

    Raises:
        DrawingError: there is nothing to cut, or no stock.
        FitError: a piece or the knife would leave its section or the machine's reach.
        CheckError: the simulated cut does not lie on the pattern; nothing is handed out.
    """
    sheets = sheets_of(drawing, machine)
    ways = []
    for i, sheet in enumerate(sheets):
        progress(f"laying the knife's path in section {sheet.number}", 0.6 * i / len(sheets))
        ways.append(_way(sheet, machine))
    sections = tuple(_section(s, way, machine) for s, way in zip(sheets, ways, strict=True))
    units = machine.units_per_mm
    parts = [
        (
            [to_units(pivot, units_per_mm=units) for pivot in way.pivots],
            int(sheet.length_mm * units),
            sheet.start_units,
        )
        for sheet, way in zip(sheets, ways, strict=True)
    ]
    notes = [note for way in ways for note in way.notes]
    if drawing.marks or any(pattern.marks for pattern in drawing.patterns):
        notes.append("Marks are not cut; a notch that is to be cut is part of an outline.")
    made = CutProgram(
        machine=machine.name,
        sections=sections,
        hpgl=hpgl_text(parts, machine=machine),
        tip_error=_NO_ERROR,
        notes=tuple(notes),
    )
    checking = part_of(progress, start=0.6, end=1.0)
    return replace(made, tip_error=check_program(made, drawing, machine, progress=checking))
