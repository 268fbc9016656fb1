"""The weeding and piece map of a layout."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from layflat.nest import Layout
from layflat.papers.cautions import WEEDING
from layflat.papers.engine import Document
from layflat.papers.head import Head, Paper, all_written, area, length, per_cent, run, sheet_values
from layflat.papers.lettering import panel_title
from layflat.papers.pictures import layout_height_mm, layout_picture

_ROLL_MM = {Paper.A4: (265.0, 76.0), Paper.LETTER: (247.0, 78.0)}
_SECTION_MM = {Paper.A4: (175.0, 126.0), Paper.LETTER: (157.0, 130.0)}


@dataclass(frozen=True, eq=False, kw_only=True)
class WeedingSheet:
    """A layout, as it goes on paper.

    Attributes:
        head: what stands on every sheet.
        layout: the layout.
        film: the film's name.
        lot: the maker's lot number of the roll, or "".
        warnings: what a person must know.
        called: what pieces are called where not by their numbers.
        whose: whose each piece is, by its number, where several jobs share the layout.
        jobs: the same jobs with all that is told of each, in a line.
    """

    head: Head
    layout: Layout
    film: str
    lot: str = ""
    warnings: tuple[str, ...] = ()
    called: Mapping[int, str] = field(default_factory=dict)
    whose: Mapping[int, str] = field(default_factory=dict)
    jobs: tuple[str, ...] = ()


def weeding_map(sheet: WeedingSheet) -> bytes:
    """The weeding and piece map as a PDF.

    Raises:
        CheckError: the sheet could not be set.
    """
    return weeding_document(sheet).pdf()


def weeding_document(sheet: WeedingSheet) -> Document:
    """The weeding and piece map before it is set."""
    layout, head = sheet.layout, sheet.head
    width_mm, height_mm = _ROLL_MM[head.paper]
    pictures = {
        "roll.svg": layout_picture(
            layout, width_mm=width_mm, height_mm=height_mm, called=sheet.called
        ).encode()
    }
    wide, high = _SECTION_MM[head.paper]
    for index in range(len(layout.sections)):
        picture = layout_picture(
            layout,
            section=index,
            width_mm=wide,
            height_mm=min(high, layout_height_mm(layout, width_mm=wide, section=index)),
            number_pt=(13.0, 40.0),
            called=sheet.called,
        )
        pictures[f"section-{index + 1}.svg"] = picture.encode()
    count, sections = len(layout.placements), len(layout.sections)
    lot = f", lot {sheet.lot}" if sheet.lot else ""
    width = length(layout.stock.width_mm, head.unit)
    texts = {
        "roll": f"{sheet.film}, roll {width} wide{lot}",
        "roll_alt": f"The roll with {count} numbered pieces in {sections} sections.",
        "facts": _facts(sheet),
        "reading": [
            *sheet.jobs,
            "Hatched: waste, comes off. Plain with a number: a piece, stays on the liner.",
            "Cross-hatched: a cut-out inside a piece. It comes off first.",
            "Strong broken line: here one section ends and the next begins.",
            "Thin broken lines: the roll's edges, where the pinch rollers run.",
            "The roll's cut end is on the left.",
        ],
        "cautions": list(WEEDING),
        "warnings": list(sheet.warnings),
        "sections": [_section(sheet, index) for index in range(sections)],
    }
    values = {
        **sheet_values(
            head, sheet="Weeding and piece map", title=f"Piece map: {head.job}", bay=True
        ),
        **all_written(texts),
    }
    return Document(template="weeding.typ", values=values, pictures=pictures, dated=head.dated)


def _facts(sheet: WeedingSheet) -> list[tuple[str, str]]:
    layout, unit = sheet.layout, sheet.head.unit
    return [
        ("Pieces", str(len(layout.placements))),
        ("Sections", str(len(layout.sections))),
        ("Film used", run(layout.length_mm, unit)),
        ("Lower bound", run(layout.lower_bound_mm, unit)),
        ("Yield", per_cent(layout.yield_)),
        ("Film in pieces", area(layout.piece_area_mm2, unit)),
    ]


def _section(sheet: WeedingSheet, index: int) -> dict[str, Any]:
    layout, unit = sheet.layout, sheet.head.unit
    part = layout.sections[index]
    pieces = [
        {
            "number": sheet.called.get(item.number, str(item.number)),
            "name": panel_title(item.pattern.name)
            + (f", copy {item.copy}" if item.copy > 1 else "")
            + (", mirrored" if item.mirrored else "")
            + (f", {sheet.whose[item.number]}" if item.number in sheet.whose else ""),
            "cut_outs": len(item.pattern.cut_outs),
        }
        for item in layout.placements
        if item.section == index
    ]
    span = f"{length(part.start_mm, unit)} to {length(part.end_mm, unit)} along the roll"
    return {
        "title": f"Section {index + 1} of {len(layout.sections)}",
        "span": f"{span}, {len(pieces)} pieces" if len(pieces) != 1 else f"{span}, 1 piece",
        "picture": f"section-{index + 1}.svg",
        "alt": f"Section {index + 1} with its numbered pieces; waste is hatched.",
        "pieces": pieces,
    }
