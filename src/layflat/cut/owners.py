"""Which strokes of a section's program cut which piece."""

from dataclasses import dataclass

import numpy as np

from layflat.base import FloatArray
from layflat.cut.check import landed
from layflat.cut.line import all_lines
from layflat.cut.machine import Machine
from layflat.cut.reader import read_hpgl
from layflat.cut.records import SectionProgram
from layflat.cut.sheet import Sheet, sheets_of
from layflat.cut.tip import TipPath, simulate
from layflat.pattern import Drawing

_NEAR_MM = 0.5
_FOLLOWS = 0.2


@dataclass(frozen=True, eq=False)
class OwnedStroke:
    """One stroke of a section with the knife down.

    Attributes:
        piece: index into the section's patterns, or None for what is cut in the waste.
        tip_mm: (n, 2) float64, the tip's way on the film.
        heading_rad: the blade's heading at its end.
        fed_mm: how far along the roll the head had been at most when the stroke began.
        travelled_mm: how far it had gone along the roll by then, to and fro together.
        fed_end_mm, travelled_end_mm: the same when the stroke had ended.
    """

    piece: int | None
    tip_mm: FloatArray
    heading_rad: float
    fed_mm: float
    travelled_mm: float
    fed_end_mm: float
    travelled_end_mm: float


def owned_strokes(
    section: SectionProgram, sheet: Sheet, machine: Machine
) -> tuple[OwnedStroke, ...]:
    """Every stroke with the knife down, in order, with the piece whose line it follows."""
    strokes = landed(read_hpgl(section.hpgl, units_per_mm=machine.units_per_mm), machine)
    path = simulate(strokes, knife_offset_mm=machine.knife_offset_mm, heading_rad=0.1)
    tips = dict(zip(path.strokes, path.cuts, strict=True))
    headings = dict(zip(path.strokes, path.headings_rad, strict=True))
    owners = _told(section, sheet) or _followed(path, sheet)
    found: list[OwnedStroke] = []
    fed = travelled = 0.0
    for index, stroke in enumerate(strokes):
        x = stroke.points_mm[:, 0]
        began = travelled
        before = fed
        travelled += float(np.abs(np.diff(x)).sum())
        fed = max(fed, float(x.max()))
        if not stroke.down:
            continue
        found.append(
            OwnedStroke(
                piece=owners[len(found)],
                tip_mm=tips[index],
                heading_rad=headings[index],
                fed_mm=before,
                travelled_mm=began,
                fed_end_mm=fed,
                travelled_end_mm=travelled,
            )
        )
    return tuple(found)


def piece_strokes(
    section: SectionProgram, drawing: Drawing, machine: Machine
) -> dict[str, tuple[int, int]]:
    """For each piece of a section the indices of its first and its last stroke."""
    sheet = next(s for s in sheets_of(drawing, machine) if s.number == section.number)
    owners = [stroke.piece for stroke in owned_strokes(section, sheet, machine)]
    found: dict[str, tuple[int, int]] = {}
    for k, piece in enumerate(owners):
        if piece is not None:
            name = sheet.patterns[piece].name
            found[name] = (found[name][0] if name in found else k, k)
    return found


def _told(section: SectionProgram, sheet: Sheet) -> list[int | None]:
    """The piece of every stroke as the program says it; nothing where it does not."""
    names = [pattern.name for pattern in sheet.patterns]
    if len(set(names)) < len(names):
        return []
    return [
        None if cut.piece is None else names.index(section.pieces[cut.piece])
        for cut in section.cuts
        for _ in range(cut.first, cut.last)
    ]


def _followed(path: TipPath, sheet: Sheet) -> list[int | None]:
    """The piece of every stroke by the line that the tip follows."""
    lines = all_lines(sheet.patterns)
    found: list[int | None] = []
    for tip in path.cuts:
        owner, distance = lines.nearest(tip)
        near = owner[distance <= _NEAR_MM]
        follows = len(near) >= _FOLLOWS * len(tip)
        found.append(lines.lines[int(np.argmax(np.bincount(near)))].piece if follows else None)
    return found


def fed_before(hpgl: str, machine: Machine) -> tuple[list[float], list[float]]:
    """For each stroke with the knife down, how far the head had cut and gone when it began.

    Returns:
        How far along the section it had been at most; and how far it had gone along the roll, to
        and fro together; both in mm.
    """
    strokes = landed(read_hpgl(hpgl, units_per_mm=machine.units_per_mm), machine)
    fed = travelled = 0.0
    most, gone = [], []
    for stroke in strokes:
        x = stroke.points_mm[:, 0]
        if stroke.down:
            most.append(fed)
            gone.append(travelled)
        fed = max(fed, float(x.max()))
        travelled += float(np.abs(np.diff(x)).sum())
    return most, gone
