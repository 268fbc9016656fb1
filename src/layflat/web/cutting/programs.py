"""From a layout that somebody chose to its cut programs, each checked by simulating the tip.

The same stored layout gives the same bytes: nothing here searches, and nothing looks at a clock.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from shapely import Polygon

from layflat.base import Progress, part_of
from layflat.cut import (
    NO_WISHES,
    CutProgram,
    Machine,
    SectionProgram,
    Wishes,
    cut_report,
    program,
    witnessed,
)
from layflat.nest import Layout, layout_drawing, placed_pattern
from layflat.pattern import Pattern, place, to_polygon
from layflat.web.cover.order import usual_machine
from layflat.web.cutting.models import whole_mm
from layflat.web.cutting.simulated import simulated_json
from layflat.web.cutting.stored import check_stored, layout_of
from layflat.web.cutting.turns import turns_of

_RIM_MM: Final = 0.1


@dataclass(frozen=True, kw_only=True)
class MadeSection:
    """A section of a kept layout, with what cuts it.

    Attributes:
        number: from 1 along the roll.
        start_mm, end_mm: along the roll.
        film_mm: that it takes from the roll, in whole millimetres; with the gap to the section
            before it, if there is one.
        pieces: their numbers.
        hpgl: its program.
        simulated: JSON, see `layflat.web.cutting.simulated`.
        seconds: that cutting it is estimated to take.
        program: all that is known of its program.
    """

    number: int
    start_mm: float
    end_mm: float
    film_mm: int
    pieces: tuple[int, ...]
    hpgl: bytes
    simulated: bytes
    seconds: float
    program: SectionProgram


@dataclass(frozen=True, kw_only=True)
class Made:
    """What a kept layout is cut by.

    Attributes:
        sections: along the roll.
        checked: what the simulation measured, plain values.
        notes: sentences.
    """

    sections: tuple[MadeSection, ...]
    checked: dict[str, Any]
    notes: tuple[str, ...]


def make_programs(
    found: Mapping[str, Any],
    patterns: Mapping[int, Pattern],
    *,
    machine: Machine | None = None,
    every_mm: float | None = None,
    wishes: Wishes = NO_WISHES,
    progress: Progress,
) -> Made:
    """The programs of a stored layout, section by section.

    Args:
        found: the layout, see `layflat.web.cutting.stored`.
        patterns: of its pieces, by number.
        machine: that they are made for; None for the usual one.
        every_mm: after how much feed the head returns to a witness mark; None without marks.
        wishes: weed lines, and what holds pieces.
        progress: told what is being done.

    Raises:
        LayflatError: the layout fails its check, or a program does; nothing is handed out.
    """
    layout = layout_of(found, patterns)
    progress("checking the layout", 0.0)
    check_stored(layout, patterns, turns_deg=turns_of(found))
    if machine is None:
        machine = usual_machine(roll_width_mm=layout.stock.width_mm)
    drawing = layout_drawing(layout)
    cut = program(
        drawing,
        machine,
        wishes=wishes,
        progress=part_of(progress, start=0.1, end=0.8),
    )
    if every_mm is not None:
        progress("setting witness marks", 0.8)
        cut = witnessed(cut, drawing, machine, every_mm=every_mm)
    progress("simulating the cut", 0.9)
    report = cut_report(cut)
    del report["sections"]
    return Made(
        sections=tuple(_section(cut, layout, machine, i) for i in range(len(cut.sections))),
        checked=report,
        notes=(*layout.notes, *cut.notes),
    )


def _section(cut: CutProgram, layout: Layout, machine: Machine, index: int) -> MadeSection:
    section, part = cut.sections[index], layout.sections[index]
    before_mm = layout.sections[index - 1].end_mm if index else 0.0
    held = [item for item in layout.placements if item.section == index]
    return MadeSection(
        number=section.number,
        start_mm=part.start_mm,
        end_mm=part.end_mm,
        film_mm=whole_mm(before_mm, part.end_mm),
        pieces=tuple(item.number for item in held),
        hpgl=section.hpgl.encode("ascii"),
        simulated=simulated_json(
            section,
            machine,
            width_mm=layout.stock.width_mm,
            pieces={item.number: _within(placed_pattern(item), section.start_mm) for item in held},
        ),
        seconds=section.seconds,
        program=section,
    )


def _within(pattern: Pattern, start_mm: float) -> Polygon:
    return to_polygon(place(pattern, x_mm=-start_mm), deviation_mm=_RIM_MM)
