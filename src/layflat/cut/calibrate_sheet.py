"""The calibration sheet: what is cut to measure the machine and its knife.

Four crosses stand at the corners of a large square: their distances with the two diagonals tell
how far the machine goes and whether its axes are square, and no knife offset spoils them, since
each cross is made of two straight cuts. A circle in the middle says the same from other
directions. A row of pairs of cuts that come from opposite sides and end at one line, each pair for
another knife offset: where the offset is the blade's own the ends are level, elsewhere they stand
apart by twice the difference. A row of small circles that begin on their own line, each with
another overcut: what stays uncut is a bridge whose length is read. A row of small squares, each
with another force, where the machine file says that the force may be sent.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import shapely

from layflat.base import CheckError, FitError, FloatArray, frozen
from layflat.cut.check import AWAY_MM
from layflat.cut.elements import Element, sampled
from layflat.cut.hpgl import hpgl_text, to_units
from layflat.cut.knife import pivot_path
from layflat.cut.machine import Machine
from layflat.cut.reader import read_program
from layflat.cut.tip import simulate

OFFSETS_MM = (0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7)
OVERCUTS_MM = (0.0, 0.2, 0.4, 0.6, 0.8, 1.0)
FORCE_SHARES = (0.55, 0.7, 0.85, 1.0, 1.15, 1.3, 1.45)
SIDE_MM = 400.0

_LEAST_SIDE_MM = 200.0
_MARGIN_MM = 30.0
_ARM_MM = 10.0
_STAGGER_MM = 0.6
_ROW_CIRCLE_MM = 10.0
_ROW_SQUARE_MM = 8.0
_PIECE_MM = 20.0


@dataclass(frozen=True, eq=False, kw_only=True)
class SheetCut:
    """One cut of the sheet.

    Attributes:
        group: "align", "cross", "circle", "offset", "overcut", "piece" or "force".
        name: what the paper calls it, e.g. "A" or "0.3".
        line_mm: (n, 2) float64, where the tip is meant to run.
        offset_mm: the knife offset that it was made for.
    """

    group: str
    name: str
    line_mm: FloatArray
    offset_mm: float

    def __post_init__(self) -> None:
        object.__setattr__(self, "line_mm", frozen(self.line_mm))


@dataclass(frozen=True, eq=False, kw_only=True)
class CalibrationSheet:
    """A calibration sheet and its program.

    Attributes:
        side_mm: of the square whose corners are the crosses.
        circle_mm: the circle's diameter.
        corners_mm: (4, 2) float64, the crosses A, B, C, D, from the section's start.
        length_mm, width_mm: film that it takes along and across the roll.
        offsets_mm, overcuts_mm: of the two rows.
        forces_g: of the third; empty where the machine is not sent any force.
        cuts: in order.
        hpgl: the program; the machine is told the sheet's own millimetres.
    """

    side_mm: float
    circle_mm: float
    corners_mm: FloatArray
    length_mm: float
    width_mm: float
    offsets_mm: tuple[float, ...]
    overcuts_mm: tuple[float, ...]
    forces_g: tuple[float, ...]
    cuts: tuple[SheetCut, ...]
    hpgl: str


@dataclass(frozen=True, eq=False)
class _Planned:
    """A cut before its pivot's way is known: the elements of the tip's way."""

    group: str
    name: str
    elements: tuple[Element, ...]
    offset_mm: float


def calibration_sheet(
    machine: Machine, *, width_mm: float, side_mm: float = SIDE_MM
) -> CalibrationSheet:
    """The calibration sheet for a machine, checked by simulating the blade's tip.

    The machine is told the sheet's own millimetres, whatever its file says about scale and skew:
    the sheet measures them anew.

    Args:
        machine: knife and reach.
        width_mm: of the roll.
        side_mm: of the square; smaller where roll or machine have no room for it.

    Raises:
        FitError: there is no room for a square of 200 mm.
        CheckError: the simulated cut does not run where it is meant to.
    """
    room = min(width_mm, machine.max_width_mm, machine.max_section_mm) - 2.0 * _MARGIN_MM
    side = min(side_mm, 10.0 * math.floor(room / 10.0))
    if side < _LEAST_SIDE_MM:
        raise FitError(
            f"A calibration sheet needs {_LEAST_SIDE_MM + 2 * _MARGIN_MM:g} mm across and along "
            f"the roll; roll and machine leave {room + 2 * _MARGIN_MM:g} mm."
        )
    forces = (
        tuple(float(round(share * machine.force_g)) for share in FORCE_SHARES)
        if machine.send_force
        else ()
    )
    planned = _planned(side, machine, forces)
    length = side + 2.0 * _MARGIN_MM
    pivots, cuts = _pivots(planned)
    units = [to_units(pivot, units_per_mm=machine.units_per_mm) for pivot in pivots]
    text = hpgl_text([(units, int(length * machine.units_per_mm), 0)], machine=machine)
    if forces:
        text = _with_forces(text, cuts, forces, machine)
    m = _MARGIN_MM
    sheet = CalibrationSheet(
        side_mm=side,
        circle_mm=side / 4.0,
        corners_mm=frozen([(m, m), (m + side, m), (m + side, m + side), (m, m + side)]),
        length_mm=length,
        width_mm=length,
        offsets_mm=OFFSETS_MM,
        overcuts_mm=OVERCUTS_MM,
        forces_g=forces,
        cuts=tuple(cuts),
        hpgl=text,
    )
    _check(sheet, machine)
    return sheet


def _line(x: float, y: float, heading: float, length: float) -> Element:
    return Element(x, y, heading, length)


def _round(x: float, y: float, diameter: float, overcut: float) -> tuple[Element, ...]:
    """Once round a circle, from its lowest point to the left of travel, and a little further."""
    radius = 0.5 * diameter
    turn = math.tau + overcut / radius
    return (Element(x, y - radius, 0.0, radius * turn, turn),)


def _square(x: float, y: float, side: float, overcut: float) -> tuple[Element, ...]:
    """Once round a square, from the middle of its lower side, and a little further."""
    half = 0.5 * side
    return (
        _line(x, y - half, 0.0, half),
        _line(x + half, y - half, 0.5 * math.pi, side),
        _line(x + half, y + half, math.pi, side),
        _line(x - half, y + half, 1.5 * math.pi, side),
        _line(x - half, y - half, 0.0, half + overcut),
    )


def _planned(side: float, machine: Machine, forces: Sequence[float]) -> list[_Planned]:
    """Every cut of the sheet, in order."""
    own, m = machine.knife_offset_mm, _MARGIN_MM
    middle = m + 0.5 * side
    found = [_Planned("align", "", (_line(2.0, 4.0, 0.5 * math.pi, 14.0 * own),), own)]
    for name, x, y in (
        ("A", m, m),
        ("B", m + side, m),
        ("C", m + side, m + side),
        ("D", m, m + side),
    ):
        found += [
            _Planned("cross", name, (_line(x - _ARM_MM, y, 0.0, 2 * _ARM_MM),), own),
            _Planned("cross", name, (_line(x, y - _ARM_MM, 0.5 * math.pi, 2 * _ARM_MM),), own),
        ]
    step = (side - 40.0) / len(OFFSETS_MM)
    arm = min(12.0, 0.5 * step - 1.0)
    y = m + 0.15 * side
    for i, offset in enumerate(OFFSETS_MM):
        x = middle + (i - 0.5 * (len(OFFSETS_MM) - 1)) * step
        name = f"{offset:g}"
        found += [
            _Planned("offset", name, (_line(x - arm, y, 0.0, arm),), offset),
            _Planned("offset", name, (_line(x + arm, y + _STAGGER_MM, math.pi, arm),), offset),
        ]
    # The row's circles begin on their own line: the blade is given their first direction before.
    turn = _line(middle - 0.5 * side + 20.0, m + 0.92 * side, 0.0, 14.0 * own)
    found.append(_Planned("align", "", (turn,), own))
    for i, overcut in enumerate(OVERCUTS_MM):
        x = middle + (i - 0.5 * (len(OVERCUTS_MM) - 1)) * step
        ring = _round(x, m + 0.85 * side, _ROW_CIRCLE_MM, overcut)
        found.append(_Planned("overcut", f"{overcut:g}", ring, own))
    for i, force in enumerate(forces):
        x = middle + (i - 0.5 * (len(forces) - 1)) * step
        square = _square(x, m + 0.72 * side, _ROW_SQUARE_MM, machine.overcut_mm)
        found.append(_Planned("force", f"{force:g}", square, own))
    piece = _square(m + 0.15 * side, middle, _PIECE_MM, machine.overcut_mm)
    circle = _round(middle, middle, side / 4.0, machine.overcut_mm)
    return [*found, _Planned("piece", "", piece, own), _Planned("circle", "", circle, own)]


def _pivots(planned: Sequence[_Planned]) -> tuple[list[FloatArray], list[SheetCut]]:
    """The pivot's way of each cut, the blade's heading carried on."""
    heading = 0.5 * math.pi
    pivots, cuts = [], []
    for plan in planned:
        elements = list(plan.elements)
        pivots.append(pivot_path(elements, heading_rad=heading, offset_mm=plan.offset_mm))
        heading = elements[-1].end_heading_rad
        cuts.append(
            SheetCut(
                group=plan.group,
                name=plan.name,
                line_mm=sampled(elements, step_mm=0.2),
                offset_mm=plan.offset_mm,
            )
        )
    return pivots, cuts


def _with_forces(
    text: str, cuts: Sequence[SheetCut], forces: Sequence[float], machine: Machine
) -> str:
    """The program with the force set before each square of the row, and set back after it."""
    first = next(i for i, cut in enumerate(cuts) if cut.group == "force")
    wanted = {first + i: force for i, force in enumerate(forces)}
    wanted[first + len(forces)] = machine.force_g
    head, *runs = text.split("PU")
    parts = [head]
    for i, run in enumerate(runs):
        if i in wanted:
            parts.append(f"FS{max(1, round(wanted[i]))};\n")
        parts.append("PU" + run)
    return "".join(parts)


def _check(sheet: CalibrationSheet, machine: Machine) -> None:
    """Every cut whose offset is the machine's runs along its line; all of them stay on the film."""
    strokes = read_program(sheet.hpgl, units_per_mm=machine.units_per_mm).strokes
    path = simulate(strokes, knife_offset_mm=machine.knife_offset_mm, heading_rad=0.1)
    if len(path.cuts) != len(sheet.cuts):
        raise CheckError("The calibration sheet's program does not have the cuts that it should.")
    for cut, tip in zip(sheet.cuts, path.cuts, strict=True):
        low, high = tip.min(axis=0), tip.max(axis=0)
        if min(low) < 0.0 or max(high) > sheet.length_mm:
            raise CheckError(f"The calibration sheet's {cut.group} {cut.name} leaves the film.")
        if cut.group == "align" or cut.offset_mm != machine.knife_offset_mm:
            continue
        settled = tip[len(tip) // 4 :]
        far = shapely.distance(shapely.LineString(cut.line_mm), shapely.points(settled))
        if float(far.max()) > AWAY_MM:
            raise CheckError(
                f"The calibration sheet's {cut.group} {cut.name} runs {float(far.max()):.3f} mm "
                f"beside its line; {AWAY_MM:g} mm is allowed."
            )
