"""The fit report of one piece."""

from dataclasses import dataclass

import numpy as np
from PIL import Image
from shapely import LinearRing, Point

from layflat.base import FloatArray
from layflat.film import Film, Flat
from layflat.papers.canvas import photo
from layflat.papers.engine import Document
from layflat.papers.head import (
    Head,
    LengthUnit,
    Paper,
    all_written,
    area,
    length,
    per_cent,
    sheet_values,
)
from layflat.papers.lettering import one_line
from layflat.papers.look import DASHES
from layflat.papers.pictures import edge_key, strain_sheet_picture
from layflat.papers.strain import Effort, StrainSummary, summarise
from layflat.pattern import EdgeRecord, Finish, Pattern, pattern_area_mm2
from layflat.surface import KeepOut, Region

_QUANTITIES = {
    "thickness_um": "thickness",
    "stretch_limit": "stretch limit",
    "finger_limit": "finger limit",
    "poisson_ratio": "Poisson ratio",
    "youngs_modulus_mpa": "Young's modulus",
}

_MAP_MM = {Paper.A4: 92.0, Paper.LETTER: 80.0}


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
    pictures = {
        "strain.svg": strain_sheet_picture(
            sheet.flat,
            pattern=sheet.pattern,
            region=sheet.region,
            height_mm=_map_height_mm(sheet),
        ).encode(),
        **{f"edge-{k.value}.svg": edge_key(dashes).encode() for k, dashes in DASHES.items()},
    }
    if sheet.place is not None:
        pictures["place.svg"] = photo(sheet.place)
    verdict = verdict_sentence(summary, film, where=_where(sheet, summary.stretch_at_mm))
    texts = {
        "piece": one_line(sheet.piece, most=140),
        "film_line": f"Film: {film.name}, {film.thickness_um:g} µm",
        "verdict": verdict,
        "place_alt": f"The vehicle with the panel of {sheet.piece} marked.",
        "strain_alt": f"Strain map of {sheet.piece}. {verdict}",
        "numbers": _numbers(sheet, summary),
        "reading": _reading(film),
        "edges": [_edge_row(record, unit) for record in sheet.pattern.edges],
        "free": [_free(item, unit) for item in sheet.free],
        "laying": list(sheet.laying),
        "warnings": list(sheet.warnings),
        "sources": _sources(film),
    }
    values = {
        **sheet_values(sheet.head, sheet="Fit report", title=f"Fit report: {sheet.piece}"),
        **all_written(texts),
        "effort": summary.effort.value,
        "place": "place.svg" if sheet.place is not None else None,
    }
    return Document(template="fit.typ", values=values, pictures=pictures, dated=sheet.head.dated)


def _map_height_mm(sheet: FitSheet) -> float:
    """No more than the piece needs: a wide one leaves its room to the tables."""
    wide, high = np.ptp(sheet.flat.points_mm, axis=0)
    ratio = min(wide, high) / max(wide, high) if min(wide, high) * 1.25 < max(wide, high) else 1.0
    return float(np.clip(165.0 * ratio + 34.0, 62.0, _MAP_MM[sheet.head.paper]))


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


def _numbers(sheet: FitSheet, summary: StrainSummary) -> list[tuple[str, str]]:
    unit = sheet.head.unit
    surface = sheet.flat.mesh.area_mm2
    return [
        ("Greatest stretch, at A", per_cent(summary.stretch)),
        ("Stretch that 99 % of the surface stays below", per_cent(summary.stretch_99)),
        ("Surface beyond the stretch limit", per_cent(summary.over_stretch)),
        ("Greatest compression, at B", per_cent(summary.compression)),
        ("Surface beyond the finger limit", per_cent(summary.over_finger)),
        ("Area on the car", area(surface, unit)),
        ("Film in the piece", area(pattern_area_mm2(sheet.pattern), unit)),
        ("Cut-outs", str(len(sheet.pattern.cut_outs))),
    ]


def _reading(film: Film) -> list[str]:
    return [
        "A is stretched most, B compressed most.",
        (
            f"Strong full line: the stretch limit, {per_cent(film.stretch_limit)}. "
            "Beyond it, hatched: warm the film, pull slowly."
        ),
        (
            f"Strong broken line: the finger limit, {per_cent(film.finger_limit)}. Beyond it, "
            "hatched the other way: work the film inwards or it folds."
        ),
        "Thin lines: half a limit, and one and a half.",
        "The map lies as the film lies, seen from outside; the rule is at its scale.",
    ]


def _edge_row(record: EdgeRecord, unit: LengthUnit) -> dict[str, str]:
    difference = record.surface_length_mm - record.flat_length_mm
    sign = "+" if difference >= 0 else "−"
    return {
        "name": record.name or "–",
        "kind": record.kind.value,
        "line": f"edge-{record.kind.value}.svg",
        "finish": finish_words(record, unit),
        "car": length(record.surface_length_mm, unit),
        "flat": length(record.flat_length_mm, unit),
        "difference": sign + length(abs(difference), unit, decimals=1),
    }


def finish_words(record: EdgeRecord, unit: LengthUnit) -> str:
    """How film ends at an edge, in words."""
    how_far = length(record.finish.distance_mm, unit, decimals=1).replace(".0 mm", " mm")
    if record.finish.finish is Finish.WRAP:
        return f"wrapped {how_far}"
    if record.finish.finish is Finish.SHORT:
        return f"stopped {how_far} short"
    return "on the line"


def _free(item: KeepOut, unit: LengthUnit) -> str:
    name = item.name or item.kind.value
    return f"{name} ({item.kind.value}), with {length(item.clearance_mm, unit, decimals=1)} bare"


def _sources(film: Film) -> list[str]:
    known = [
        f"{word}: {film.sources[key]}" for key, word in _QUANTITIES.items() if key in film.sources
    ]
    silent = [word for key, word in _QUANTITIES.items() if key not in film.sources]
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
        return f"at A, by the edge “{nearest[1]}”"
    ring = LinearRing(points[sheet.region.loops[0].vertices])
    inland = ring.distance(Point(at_mm))
    return f"at A, {length(inland, sheet.head.unit)} in from the edge"
