"""From a drawing to a cut program that has passed its check."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from layflat.base import DrawingError, FitError, FloatArray, IntArray, Progress, part_of, silent
from layflat.cut.check import check_sheets
from layflat.cut.duration import runs_seconds, stretch_seconds
from layflat.cut.elements import Element, Loop, elements_of, wrapped
from layflat.cut.entry import Entry, align_path, entries_of, run_on, waste_of
from layflat.cut.hpgl import hpgl_text, told_cut
from layflat.cut.knife import pivot_path
from layflat.cut.machine import Machine
from layflat.cut.order import Stop, Visit, shortest_tour
from layflat.cut.records import Bridge, Cut, CutProgram, SectionProgram, TipError
from layflat.cut.sheet import Sheet, reach_of, sheets_of
from layflat.cut.tabs import (
    Gap,
    bridge_of,
    closed_to_starts,
    gaps_of,
    held_notes,
    missing_notes,
    parts_of,
)
from layflat.cut.waste_lines import weed_lines
from layflat.cut.wishes import NO_WISHES, Wishes, precedence, require_names
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


def loops_of(sheet: Sheet) -> list[Loop]:
    """Every line of a section's pieces: cut-outs, then the outline."""
    found = []
    for i, pattern in enumerate(sheet.patterns):
        for k, hole in enumerate(pattern.cut_outs):
            name = f"cut-out {k + 1} of {pattern.name}"
            found.append(_loop(hole, piece=i, name=name, is_cut_out=True))
        name = f"outline of {pattern.name}"
        found.append(_loop(pattern.outline, piece=i, name=name, is_cut_out=False))
    return found


def stop_of(loop: Loop, entries: Sequence[Entry], machine: Machine) -> Stop:
    """A loop as the tour sees it: where its cut may start, and where the knife then is lifted."""
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
    told = machine.told(pivot)
    low = np.minimum(pivot.min(axis=0), told.min(axis=0))
    high = np.array([pivot[:, 0].max(), max(pivot[:, 1].max(), told[:, 1].max())])
    beyond = np.concatenate((-low, high - most))
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
    cuts: tuple[Cut, ...]
    bridges: tuple[Bridge, ...]
    notes: tuple[str, ...]


def _way(sheet: Sheet, machine: Machine, wishes: Wishes) -> _Way:
    """Order, starts, lead-ins and compensation for one section."""
    offset = machine.knife_offset_mm
    waste = waste_of(sheet.film, reach=reach_of(sheet, machine))
    align = align_path(waste, offset_mm=offset)
    if align is None:
        raise FitError(
            f"Section {sheet.number} has no waste in which the blade could find its direction; "
            f"leave a margin of {16.0 * offset:.0f} mm at its start."
        )
    loops = loops_of(sheet)
    gaps = [gaps_of(loop, wishes, overcut_mm=machine.overcut_mm) for loop in loops]
    entries = [
        entries_of(loop, waste, offset_mm=offset, closed_mm=_closed(loop, own, machine))
        for loop, own in zip(loops, gaps, strict=True)
    ]
    visits: list[Visit] = shortest_tour(
        [stop_of(loop, ways, machine) for loop, ways in zip(loops, entries, strict=True)],
        before=precedence(sheet, wishes.first),
        start_mm=align[-1],
        end_mm=np.array([sheet.length_mm, 0.0]),
    )
    pivots = [align]
    last = align[-1] - align[-2]
    heading = float(np.arctan2(last[1], last[0]))
    notes = missing_notes(loops, gaps, wishes)
    # Whatever is cut last of a piece is its outline: pieces are told in this order.
    done = [loops[stop].piece for stop, _ in visits if not loops[stop].is_cut_out]
    cuts = [Cut(piece=None, kind="heading", first=0, last=1)]
    for stop, choice in visits:
        loop, entry = loops[stop], entries[stop][choice]
        parts = parts_of(loop, gaps[stop], start_mm=entry.along_mm, overcut_mm=machine.overcut_mm)
        parts[0] = [*entry.lead, *parts[0]]
        cuts.append(
            Cut(
                piece=done.index(loop.piece),
                kind="opening" if loop.is_cut_out else "outline",
                first=len(pivots),
                last=len(pivots) + len(parts),
            )
        )
        for part in parts:
            # After a bridge the blade still heads as it did before it: no lead is wanted.
            pivot = pivot_path(part, heading_rad=heading, offset_mm=offset)
            heading = part[-1].end_heading_rad
            _check_reach(pivot, name=loop.name, sheet=sheet, machine=machine)
            pivots.append(pivot)
        if not entry.in_waste:
            notes.append(
                f"The {loop.name} has no room beside it for a lead-in: "
                "the blade turns on the line itself."
            )
    lines = _weed_ways(sheet, machine, wishes, after_mm=pivots[-1][-1], heading_rad=heading)
    cuts += [
        Cut(piece=None, kind="weed line", first=len(pivots) + i, last=len(pivots) + i + 1)
        for i in range(len(lines))
    ]
    pivots += lines
    pieces = tuple(sheet.patterns[piece].name for piece in done)
    return _Way(
        pivots=tuple(pivots),
        pieces=pieces,
        cuts=tuple(cuts),
        bridges=tuple(
            bridge_of(loop, gap, piece=done.index(loop.piece))
            for loop, own in zip(loops, gaps, strict=True)
            for gap in own
        ),
        notes=tuple(notes),
    )


def _closed(loop: Loop, gaps: Sequence[Gap], machine: Machine) -> list[tuple[float, float]]:
    """Where along a loop no cut may start for its bridges."""
    before = run_on(loop, offset_mm=machine.knife_offset_mm)
    closed = closed_to_starts(gaps, before_mm=before, overcut_mm=machine.overcut_mm)
    return [(gap.start_mm, gap.length_mm) for gap in closed]


def _weed_ways(
    sheet: Sheet, machine: Machine, wishes: Wishes, *, after_mm: FloatArray, heading_rad: float
) -> list[FloatArray]:
    """The pivot's ways along the weed lines of a section, if they are wished, in a short order."""
    if wishes.strip_mm is None:
        return []
    offset = machine.knife_offset_mm
    lines = weed_lines(
        sheet.film,
        reach=reach_of(sheet, machine),
        strip_mm=wishes.strip_mm,
        clear_mm=max(wishes.clear_mm, 2.0 * offset),
    )
    if not lines:
        return []
    both = [(line, _turned(line)) for line in lines]
    stops = [
        Stop(
            piece=i,
            is_cut_out=False,
            entries_mm=np.array([way.at(0.0)[:2] for way in ways]),
            exits_mm=np.array([way.at(1.0)[:2] for way in ways]),
        )
        for i, ways in enumerate(both)
    ]
    visits = shortest_tour(stops, start_mm=after_mm, end_mm=np.array([sheet.length_mm, 0.0]))
    heading, found = heading_rad, []
    for stop, choice in visits:
        way = both[stop][choice]
        found.append(pivot_path([way], heading_rad=heading, offset_mm=offset))
        heading = way.heading_rad
    return found


def _turned(line: Element) -> Element:
    """A straight line the other way."""
    x, y, heading = line.at(1.0)
    return Element(x, y, wrapped(heading + np.pi), line.length_mm)


def _section(
    sheet: Sheet,
    way: _Way,
    machine: Machine,
    cuts: Sequence[IntArray],
    speeds: Sequence[IntArray | None],
) -> SectionProgram:
    """The text of one section with its lengths and time, from the rounded coordinates."""
    units = machine.units_per_mm
    length_units = int(float(machine.told((sheet.length_mm, 0.0))[0]) * units)
    runs = [cut / units for cut in cuts]
    ends = np.array([np.zeros(2), *(run[-1] for run in runs)])
    starts = np.array([*(run[0] for run in runs), np.array([length_units / units, 0.0])])
    travels = np.hypot(*(starts - ends).T)
    seconds = float(
        np.sum(
            stretch_seconds(
                travels,
                0.0,
                0.0,
                speed_mm_s=machine.travel_speed_mm_s,
                acceleration_mm_s2=machine.acceleration_mm_s2,
            )
        )
    )
    by_curve = [np.inf if told is None else told * machine.speed_unit_mm_s for told in speeds]
    seconds += runs_seconds(
        runs,
        speeds_mm_s=[np.minimum(speed, machine.cut_speed_mm_s) for speed in by_curve],
        acceleration_mm_s2=machine.acceleration_mm_s2,
        deviation_mm=machine.junction_deviation_mm,
    )
    return SectionProgram(
        number=sheet.number,
        start_mm=sheet.start_units / units,
        end_mm=sheet.start_units / units + sheet.length_mm,
        hpgl=hpgl_text([(cuts, length_units, 0)], machine=machine, speeds=[speeds]),
        pieces=way.pieces,
        strokes=len(cuts),
        cut_length_mm=sum(float(np.hypot(*np.diff(run, axis=0).T).sum()) for run in runs),
        travel_length_mm=float(travels.sum()),
        seconds=seconds + 2.0 * len(cuts) * machine.knife_move_s,
        cuts=way.cuts,
        bridges=way.bridges,
    )


def program(
    drawing: Drawing,
    machine: Machine,
    *,
    wishes: Wishes = NO_WISHES,
    progress: Progress = silent,
) -> CutProgram:
    """The cut program of a drawing, checked by simulating the blade's tip.

    Sections are cut one after the other. In each, the blade first finds its direction in a
    short cut in the waste; then every piece: cut-outs, then outline, pieces in the order of
    short knife-up travel. Lines on the layer MARK are not cut: a notch that is to be cut is
    part of an outline. The same drawing and machine give the same bytes.

    Args:
        drawing: a layout; each rectangle of its stock is one section. x runs along the roll
            and y across it; the program counts from the roll's cut end and its edge.
        machine: knife and limits.
        wishes: which pieces come first, weed lines, tabs or a hinge.
        progress: told of every section; it may stop the work.

    Raises:
        DrawingError: there is nothing to cut, or no stock.
        SettingError: a piece that is to come first does not exist.
        FitError: a piece or the knife would leave its section or the machine's reach.
        CheckError: the simulated cut does not lie on the pattern; nothing is handed out.
    """
    sheets = sheets_of(drawing, machine)
    require_names(wishes.first, sheets)
    ways = []
    for i, sheet in enumerate(sheets):
        progress(f"laying the knife's path in section {sheet.number}", 0.6 * i / len(sheets))
        ways.append(_way(sheet, machine, wishes))
    told = [[told_cut(pivot, machine) for pivot in way.pivots] for way in ways]
    units = [[cut for cut, _ in cuts] for cuts in told]
    speeds = [[speed for _, speed in cuts] for cuts in told]
    sections = tuple(
        _section(sheet, way, machine, cuts, own)
        for sheet, way, cuts, own in zip(sheets, ways, units, speeds, strict=True)
    )
    parts = []
    alone = len(sheets) == 1 and not sheets[0].start_units
    for sheet, own_units in zip(sheets, units, strict=True):
        start = machine.told_start(sheet.start_units)
        end = float(machine.told((sheet.length_mm, 0.0))[0])
        cuts = [cut + start for cut in own_units]
        parts.append((cuts, int(start[0]) + int(end * machine.units_per_mm), 0))
    notes = [note for way in ways for note in (*held_notes(way.bridges, way.pieces), *way.notes)]
    if drawing.marks or any(pattern.marks for pattern in drawing.patterns):
        notes.append("Marks are not cut; a notch that is to be cut is part of an outline.")
    made = CutProgram(
        machine=machine.name,
        sections=sections,
        hpgl=sections[0].hpgl if alone else hpgl_text(parts, machine=machine, speeds=speeds),
        tip_error=_NO_ERROR,
        notes=tuple(notes),
    )
    checking = part_of(progress, start=0.6, end=1.0)
    return replace(made, tip_error=check_sheets(made, sheets, machine, progress=checking))
