"""The fit report of one piece."""

from dataclasses import dataclass, replace

import numpy as np
from PIL import Image
from shapely import LinearRing, Point

from layflat.base import FloatArray
from layflat.film import NOT_STATED, QUANTITIES, Film, Flat, to_flat
from layflat.fit import Fingers
from layflat.papers.canvas import Canvas, photo
from layflat.papers.engine import Document
from layflat.papers.finger_marks import CutMark, marked_zones
from layflat.papers.head import (
    Head,
    LengthUnit,
    all_written,
    area,
    length,
    per_cent,
    sheet_values,
)
from layflat.papers.lettering import one_line, panel_title
from layflat.papers.look import DASHES
from layflat.papers.pictures import edge_key, strain_sheet_picture
from layflat.papers.strain import Effort, StrainSummary, summarise
from layflat.pattern import EdgeRecord, Finish, Pattern, pattern_area_mm2
from layflat.surface import KeepOut, Region

_MAP_MM = (56.0, 112.0)
"""Least and greatest height of the map."""
_MAP_STEP_MM = 2.0
_PICTURE_MM = 178.0


@dataclass(frozen=True, kw_only=True)
class Way:
    """One way to cover a panel, in one piece or in two.

    Attributes:
        name: e.g. "One piece".
        stretch: the greatest, as a fraction.
        excess_mm: film too much in fingers.
        seam_mm, visible_mm: the length of its seam, and of what is seen of it.
        film_mm2: off the roll.
        minutes: of one person.
    """

    name: str
    stretch: float
    excess_mm: float
    seam_mm: float
    visible_mm: float
    film_mm2: float
    minutes: float


@dataclass(frozen=True, eq=False, kw_only=True)
class FitSheet:
    """One piece's fit, as it goes on paper.

    Attributes:
        head: what stands on every sheet.
        piece: the piece's name.
        flat: what flattening gave.
        pattern: the piece's pattern, in the same coordinates as `flat`.
        region: what `flat` was computed from, to draw and name its edges.
        place: a picture of the panel on the car.
        free: keep-outs that are left free.
        laying: advice, in the order of laying.
        warnings: what a person must know.
        fingers: where the piece fingers, or None if nobody looked.
        cuts: proposed cuts from the edge inward, with what each is for.
        seams: proposed seams, to be drawn.
        ways: one piece beside two along each of them.
    """

    head: Head
    piece: str
    flat: Flat
    pattern: Pattern
    region: Region | None = None
    place: Image.Image | None = None
    free: tuple[KeepOut, ...] = ()
    laying: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    fingers: Fingers | None = None
    cuts: tuple[tuple[CutMark, str], ...] = ()
    seams: tuple[CutMark, ...] = ()
    ways: tuple[Way, ...] = ()


def fit_report(sheet: FitSheet) -> bytes:
    """The fit report as a PDF.

    Raises:
        CheckError: the sheet could not be set.
    """
    return fit_document(sheet).pdf()


def fit_document(sheet: FitSheet) -> Document:
    """The fit report before it is set."""
    summary = summarise(sheet.flat)
    film, unit = sheet.flat.film, sheet.head.unit
    verdict = verdict_sentence(summary, film, where=_where(sheet, summary.stretch_at_mm))
    texts = {
        "piece": one_line(sheet.piece, most=140),
        "film_line": (
            f"Film: {film.name}, {film.thickness_um:g} µm; "
            f"{area(pattern_area_mm2(sheet.pattern), unit)} for "
            f"{area(sheet.flat.mesh.area_mm2, unit)} of the car"
        ),
        "verdict": verdict,
        "place_alt": f"The vehicle with the panel of {sheet.piece} marked.",
        "strain_alt": f"Strain map of {sheet.piece}. {verdict}",
        "numbers": _numbers(summary),
        "reading": _READING,
        "edges": [_edge_row(record, unit) for record in sheet.pattern.edges],
        "free": _free(sheet.free, unit),
        "laying": list(sheet.laying),
        "warnings": list(sheet.warnings),
        "sources": _sources(film),
        "fingers": _finger_rows(sheet.fingers, unit),
        "cuts": [(cut.name, words) for cut, words in sheet.cuts],
        "ways": [_way_row(way, unit) for way in sheet.ways],
    }
    pictures = {f"edge-{k.value}.svg": edge_key(dashes).encode() for k, dashes in DASHES.items()}
    if sheet.place is not None:
        pictures["place.svg"] = photo(sheet.place)
    values = {
        **sheet_values(sheet.head, sheet="Fit report", title=f"Fit report: {sheet.piece}"),
        **all_written(texts),
        "effort": summary.effort.value,
        "place": "place.svg" if sheet.place is not None else None,
    }
    report = Document(template="fit.typ", values=values, pictures=pictures, dated=sheet.head.dated)
    strain = strain_sheet_picture(
        sheet.flat,
        pattern=sheet.pattern,
        region=sheet.region,
        free=[
            (one_line(item.name or item.kind, most=32), to_flat(sheet.flat, item.points_mm))
            for item in sheet.free
        ],
        zones=marked_zones(sheet.fingers),
        cuts=[*(cut for cut, _ in sheet.cuts), *sheet.seams],
        width_mm=_PICTURE_MM,
        height_mm=_map_height_mm(report, sheet),
    )
    return _with_map(report, strain)


def _way_row(way: Way, unit: LengthUnit) -> tuple[str, ...]:
    seam = "none"
    if way.seam_mm:
        seam = f"{length(way.seam_mm, unit)}, {length(way.visible_mm, unit)}"
    return (
        way.name,
        per_cent(way.stretch),
        length(way.excess_mm, unit),
        seam,
        area(way.film_mm2, unit),
        f"{way.minutes:.0f} min",
    )


def _with_map(report: Document, strain: str) -> Document:
    return replace(report, pictures={**report.pictures, "strain.svg": strain.encode()})


def _needed_height_mm(flat: Flat) -> float:
    """The height at which the map fills the page's width, or is as high as it may be."""
    wide, high = np.ptp(flat.points_mm, axis=0)
    ratio = min(wide, high) / max(wide, high) if min(wide, high) * 1.25 < max(wide, high) else 1.0
    return float(np.clip(172.0 * ratio + 30.0, *_MAP_MM))


def _map_height_mm(report: Document, sheet: FitSheet) -> float:
    """The greatest height of the map with which the report stays on one page.

    It is found by setting the report with an empty map. A report with very much to say keeps the
    least height and goes on to a second page; one that tells of fingers has a large map and goes
    on to a second page anyway.
    """
    most_mm = _needed_height_mm(sheet.flat)
    if marked_zones(sheet.fingers) or sheet.cuts:
        return most_mm

    def on_one_page(height_mm: float) -> bool:
        return _with_map(report, Canvas(_PICTURE_MM, height_mm).svg()).page_count() == 1

    least = _MAP_MM[0]
    heights = [*np.arange(least, most_mm, _MAP_STEP_MM).tolist(), most_mm]
    if on_one_page(most_mm):
        return most_mm
    low, high = 0, len(heights) - 1
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if on_one_page(heights[middle]) else (low, middle)
    return float(heights[low])


def verdict_sentence(summary: StrainSummary, film: Film, *, where: str = "at A") -> str:
    """What laying a piece comes to, as one sentence."""
    if summary.effort is Effort.EASY:
        return (
            "Goes on without visible stretch: no place is beyond the film's limits "
            f"(most {per_cent(summary.stretch)})."
        )
    parts = []
    if summary.stretch > film.stretch_limit:
        parts.append(f"{per_cent(summary.stretch)} stretch {where}")
    if summary.compression > film.finger_limit:
        parts.append(f"{per_cent(summary.compression)} compression at B, fingers are likely")
    listed = "; ".join(parts)
    if summary.effort is Effort.CARE:
        return f"Needs care: {listed}."
    return (
        f"Hard to lay in one piece: {listed}. "
        "Think of a relief cut or a second piece, and try it on waste film first."
    )


def _numbers(summary: StrainSummary) -> list[tuple[str, str]]:
    return [
        ("Greatest stretch, at A", per_cent(summary.stretch)),
        ("Stretch on 99 % of the surface, at most", per_cent(summary.stretch_99)),
        ("Surface beyond the stretch limit", per_cent(summary.over_stretch)),
        ("Greatest compression, at B", per_cent(summary.compression)),
        ("Compression on 99 % of the surface, at most", per_cent(summary.compression_99)),
        ("Surface beyond the finger limit", per_cent(summary.over_finger)),
    ]


_READING = (
    "Seen from outside. A is stretched most, B compressed most. Full line: the stretch limit; "
    "hatched beyond it: warm the film, pull slowly. Broken line: the finger limit; hatched the "
    "other way: work the film inwards or it folds. Thin lines: half a limit, one and a half."
)


def _finger_rows(fingers: Fingers | None, unit: LengthUnit) -> list[tuple[str, str, str, str]]:
    """The zones that have a number on the map: number, along the edge, depth, film too much."""
    return [
        (
            str(number),
            length(zone.width_mm, unit),
            length(zone.depth_mm, unit),
            length(zone.excess_mm, unit, decimals=1),
        )
        for number, zone in enumerate(marked_zones(fingers), start=1)
    ]


def _edge_row(record: EdgeRecord, unit: LengthUnit) -> dict[str, str]:
    difference = record.surface_length_mm - record.flat_length_mm
    written = length(abs(difference), unit, decimals=1)
    sign = "" if not any(digit in written for digit in "123456789") else "−+"[difference > 0]
    return {
        "name": panel_title(record.name) if record.name else "–",
        "kind": record.kind.value,
        "line": f"edge-{record.kind.value}.svg",
        "finish": finish_words(record, unit),
        "car": length(record.surface_length_mm, unit),
        "flat": length(record.flat_length_mm, unit),
        "difference": sign + written,
    }


def finish_words(record: EdgeRecord, unit: LengthUnit) -> str:
    """How film ends at an edge, in words."""
    how_far = length(record.finish.distance_mm, unit, decimals=1).replace(".0 mm", " mm")
    if record.finish.finish is Finish.WRAP:
        return f"wrapped {how_far}"
    if record.finish.finish is Finish.SHORT:
        return f"stopped {how_far} short"
    return "on the line"


def _free(items: tuple[KeepOut, ...], unit: LengthUnit) -> list[tuple[str, str]]:
    """Why places are left free and how much bare paint they keep, with their names."""
    groups: dict[str, list[str]] = {}
    for item in items:
        why = f"{item.kind.value}, {length(item.clearance_mm, unit, decimals=1)} bare round it"
        groups.setdefault(why, []).append(item.name or item.kind.value)
    return [(why, "; ".join(names)) for why, names in groups.items()]


def _sources(film: Film) -> list[str]:
    """For each number of the film what it rests on, and where it is from."""
    known, silent = [], []
    for key, word in QUANTITIES.items():
        source, basis = film.sources.get(key, NOT_STATED), film.basis_of(key)
        told = "basis not stated" if basis == NOT_STATED else basis
        if source != NOT_STATED:
            known.append(f"{word} ({told}): {source}")
        elif basis != NOT_STATED:
            known.append(f"{word} ({told})")
        else:
            silent.append(word)
    if silent:
        known.append(f"{', '.join(silent)}: the film file names no source; take it as assumed.")
    return known


def _where(sheet: FitSheet, at_mm: FloatArray) -> str:
    """The place of A in words: by an edge that has a name, or away from the edges."""
    if sheet.region is None:
        return "at A"
    points = sheet.flat.points_mm
    span = float(np.hypot(*(points.max(axis=0) - points.min(axis=0))))
    nearest: tuple[float, str] = (np.inf, "")
    for loop in sheet.region.loops:
        following = np.roll(loop.vertices, -1)
        for index, edge in enumerate(loop.edges):
            own = loop.edge_of == index
            ends = points[np.concatenate((loop.vertices[own], following[own]))]
            distance = float(np.hypot(*(ends - at_mm).T).min())
            if edge.name and distance < nearest[0]:
                nearest = (distance, edge.name)
    if nearest[0] < 0.12 * span:
        return f"at A, by the edge “{panel_title(nearest[1])}”"
    ring = LinearRing(points[sheet.region.loops[0].vertices])
    inland = ring.distance(Point(at_mm))
    return f"at A, {length(inland, sheet.head.unit)} in from the edge"
