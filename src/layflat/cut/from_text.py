"""Cut programs read back from their text, section by section, for a layout that is known."""

import re

import numpy as np

from layflat.base import InputError, SettingError
from layflat.cut.machine import Machine
from layflat.cut.owners import owned_strokes
from layflat.cut.reader import read_hpgl
from layflat.cut.records import CutProgram, SectionProgram, TipError
from layflat.cut.sheet import Sheet, sheets_of
from layflat.cut.texts import lift_places, moved
from layflat.pattern import Drawing

_WHOLE_END = re.compile(r"PU[^;]*;\s*SP0;\s*\Z")
_UNKNOWN = TipError(
    max_away_mm=float("nan"),
    max_corner_mm=float("nan"),
    p95_mm=float("nan"),
    uncut_mm=float("nan"),
    stray_mm=float("nan"),
    least_overlap_mm=float("nan"),
)


def program_from_text(
    text: str, drawing: Drawing, machine: Machine, *, number: int | None = None
) -> CutProgram:
    """A program as values again, from its text and the layout that it was made from.

    Args:
        text: of the whole program, or of one of its sections.
        drawing: the layout.
        machine: what the program was made for.
        number: which section the text may be of, if it is not of all.

    Raises:
        SettingError: it is of one section and nobody says of which, or there is no such section.
        InputError: the text is not whole, or does not cut the pieces of the layout.
    """
    sheets = sheets_of(drawing, machine)
    numbers = [sheet.number for sheet in sheets]
    if number is not None and number not in numbers:
        raise SettingError(
            f"The layout has no section {number} with pieces; it has "
            f"{', '.join(map(str, numbers))}."
        )
    texts = _texts(text, sheets, machine, number)
    sections = []
    for sheet in sheets:
        own = texts.get(sheet.number, "")
        made = SectionProgram(
            number=sheet.number,
            start_mm=sheet.start_units / machine.units_per_mm,
            end_mm=sheet.start_units / machine.units_per_mm + sheet.length_mm,
            hpgl=own,
            pieces=tuple(pattern.name for pattern in sheet.patterns),
            strokes=len(lift_places(own)) - 1 if own else 0,
            cut_length_mm=0.0,
            travel_length_mm=0.0,
            seconds=0.0,
        )
        if own:
            _require_pieces(made, sheet, machine)
        sections.append(made)
    return CutProgram(machine=machine.name, sections=tuple(sections), hpgl=text, tip_error=_UNKNOWN)


def _texts(
    text: str, sheets: tuple[Sheet, ...], machine: Machine, number: int | None
) -> dict[int, str]:
    """The text of each section that the text holds, by its number."""
    if _WHOLE_END.search(text) is None:
        raise InputError(
            "The program is not whole: it does not end with the knife up and SP0. Take the file "
            "that was sent, or write it anew."
        )
    strokes = read_hpgl(text, units_per_mm=machine.units_per_mm)
    downs = [machine.landed(stroke.points_mm) for stroke in strokes if stroke.down]
    if not downs:
        raise InputError("The program cuts nothing.")
    places = lift_places(text)
    if len(places) != len(downs) + 1:
        raise InputError("The program is none that Layflat wrote: it lowers the knife otherwise.")
    farthest = max(float(points[:, 0].max()) for points in downs)
    asked = next((s for s in sheets if s.number == number), sheets[0] if len(sheets) == 1 else None)
    if asked is not None and farthest <= asked.length_mm + 1.0:
        return {asked.number: text}
    if len(sheets) > 1 and all(farthest <= sheet.length_mm + 1.0 for sheet in sheets):
        raise SettingError("The program is of one section; say which one it is (--section).")
    starts = np.array([sheet.start_units / machine.units_per_mm for sheet in sheets])
    own = [int(np.sum(starts <= float(points[:, 0].mean()))) - 1 for points in downs]
    opening = text[: places[0]]
    found = {}
    for i, sheet in enumerate(sheets):
        strokes_of = [k for k, section in enumerate(own) if section == i]
        if strokes_of:
            body = text[places[strokes_of[0]] : _end(text, places, strokes_of[-1] + 1)]
            x, y = (-machine.told_start(sheet.start_units)).tolist()
            found[sheet.number] = opening + moved(body, x, y) + "SP0;\n"
    return found


def _end(text: str, places: list[int], stroke: int) -> int:
    """Where what belongs to the strokes before *stroke* ends, the last way up included."""
    return places[stroke] if stroke < len(places) - 1 else text.rindex("SP0")


def _require_pieces(section: SectionProgram, sheet: Sheet, machine: Machine) -> None:
    cut = {stroke.piece for stroke in owned_strokes(section, sheet, machine)}
    missing = [pattern.name for i, pattern in enumerate(sheet.patterns) if i not in cut]
    if missing:
        raise InputError(
            f"The program does not cut {', '.join(missing)} of section {section.number}: it is "
            "not the program of this layout, or of another section."
        )
