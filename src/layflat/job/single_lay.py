"""The work of `layflat lay`: a given flat piece laid on a surface, and what that asks of it."""

import re
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final, Literal

import numpy as np
from shapely import Polygon, box

from layflat.base import DrawingError, Progress, Report, SettingError, part_of, silent
from layflat.film import film_notes, flat_obj, flatten_report
from layflat.fit import Anchor, Laid, find_fingers, finger_sentences, judge, lay
from layflat.job.done import Done
from layflat.job.single import film_of, percent, reading_notes
from layflat.job.single_drawing import parse_answers
from layflat.pattern import coarse_polygon, read_drawing
from layflat.surface import Mesh, mend, read_mesh, whole_region

_DEVIATION_MM: Final = 0.05
_FILL_MM: Final = 40.0
_LEAST_MM, _MOST_MM = 5.0, 20_000.0
_NUMBER = r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)"
_ANCHOR = re.compile(
    rf"\s*({_NUMBER})\s*,\s*({_NUMBER})\s*=\s*({_NUMBER})\s*,\s*({_NUMBER})\s*,\s*({_NUMBER})\s*"
)
_SIDES = re.compile(rf"\s*({_NUMBER})\s*[x×]\s*({_NUMBER})\s*")


def parse_anchor(text: str) -> Anchor:
    """An anchor from "X,Y=X,Y,Z": a point of the piece held at one of the surface, in mm.

    Raises:
        SettingError: it is not of this form.
    """
    found = _ANCHOR.fullmatch(text)
    if found is None:
        raise SettingError(
            f"The anchor {text!r} cannot be read; write the point on the piece and the point on "
            "the surface in mm, such as 120,40=1830,310,705."
        )
    numbers = [float(number) for number in found.groups()]
    return Anchor(np.array(numbers[:2]), np.array(numbers[2:]))


def parse_rectangle(text: str) -> Polygon:
    """A rectangle off the roll from "LENGTHxWIDTH" in mm, its first corner at 0, 0.

    Raises:
        SettingError: it is not of this form, or no rectangle of film.
    """
    found = _SIDES.fullmatch(text)
    if found is None:
        raise SettingError(
            f"The rectangle {text!r} cannot be read; write its length and width in mm, such as "
            "800x600."
        )
    along, across = (float(number) for number in found.groups())
    for side in (along, across):
        if not _LEAST_MM <= side <= _MOST_MM:
            raise SettingError(
                f"A rectangle has sides of {_LEAST_MM:g} to {_MOST_MM:g} mm, not {side:g}."
            )
    return box(0.0, 0.0, along, across)


def lay_file(
    surface: Path,
    *,
    piece: Path | None = None,
    rectangle: str = "",
    anchors: Sequence[str] = (),
    answers: Sequence[str] = (),
    law: Literal["plain", "relaxed"] = "plain",
    finger_aversion: float = 1.0,
    unit: str | None = None,
    film_path: Path | None = None,
    progress: Progress = silent,
) -> Done:
    """Lay a flat piece on the surface in the mesh file *surface*.

    Args:
        surface: a mesh that is one panel.
        piece: a drawing (DXF or SVG) with one piece, or None for *rectangle*.
        rectangle: see `parse_rectangle`; "" for *piece*.
        anchors: see `parse_anchor`.
        answers: to what the drawing asks; see `layflat.job.parse_answers`.
        law, finger_aversion: see `layflat.fit.lay`.
        unit: the mesh file's unit where it does not say.
        film_path: a film file, or None for the generic film.
        progress: told what is being done.

    Returns:
        The film as it lies, as .obj with the piece as texture coordinates, with its report.

    Raises:
        InputError: a file or a value cannot be used, or the piece cannot be laid; says why.
        CheckError: the result failed its own check.
    """
    began = time.perf_counter()
    defaults: dict[str, Any] = {}
    inputs: dict[str, str] = {}
    film = film_of(film_path, defaults, inputs)
    if (piece is None) == (not rectangle):
        raise SettingError("Say what is laid: a drawing with one piece, or --rectangle.")
    held = [parse_anchor(text) for text in anchors]
    shape, notes = (parse_rectangle(rectangle), ()) if piece is None else _drawn(piece, answers)
    if piece is not None:
        inputs.update(Report.hashes(piece))
    progress("reading", 0.0)
    read = read_mesh(surface, unit=unit)
    inputs[surface.name] = read.sha256
    if not read.unit_given:
        defaults["unit"] = read.unit
    mended = mend(read.mesh, fill_mm=_FILL_MM, progress=part_of(progress, start=0.05, end=0.2))
    mesh: Mesh = whole_region(mended.mesh, name=f"The surface in {surface.name}").mesh
    laid = lay(
        shape,
        mesh,
        film,
        anchors=held,
        law=law,
        finger_aversion=finger_aversion,
        progress=part_of(progress, start=0.2, end=0.95),
    )
    fingers = find_fingers(laid.flat)
    results = {
        **flatten_report(laid.flat),
        **_laid_results(laid),
        "film": film.name,
        "law": law,
        "unit": read.unit,
        "seconds": round(time.perf_counter() - began, 3),
    }
    judged = judge(laid.flat, fingers=(fingers,))
    strained = (
        f"{laid.flat.pattern_area_mm2 / 1e6:.3f} m² of film laid; stretched by "
        f"{percent(results['greatest_stretch'])} at most, compressed by "
        f"{percent(results['least_stretch'])} at most."
    )
    edges = (
        f"Its edges end {laid.off_edge_mm.mean_mm:.1f} mm from the surface's on the mean, "
        f"{laid.off_edge_mm.greatest_mm:.1f} mm at most."
    )
    lines = (strained, edges, judged.sentence, *finger_sentences(fingers))
    return Done(
        texts={".obj": flat_obj(laid.flat)},
        report=Report(
            kind="lay",
            inputs=inputs,
            results={**results, "sentences": list(lines)},
            defaults=defaults,
            warnings=(*notes, *reading_notes(read, mended), *film_notes(film), *laid.notes),
        ),
        sentence=strained,
        lines=lines,
    )


def _drawn(path: Path, answers: Sequence[str]) -> tuple[Polygon, tuple[str, ...]]:
    """The one piece of a drawing, and what reading it has to say."""
    drawing = read_drawing(path, answers=parse_answers(answers))
    if len(drawing.patterns) != 1:
        raise DrawingError(
            f"{path.name} has {len(drawing.patterns)} pieces on layer OUTLINE; one is laid at a "
            "time."
        )
    return coarse_polygon(drawing.patterns[0], deviation_mm=_DEVIATION_MM), drawing.notes


def _laid_results(laid: Laid) -> dict[str, Any]:
    """What laying adds to a report: lengths in mm, forces in newton."""
    off = laid.off_edge_mm
    return {
        "edges_off_mm": {
            "mean": off.mean_mm,
            "greatest": off.greatest_mm,
            "where": off.where_mm,
            "outline_missed": off.missed_mm,
        },
        "hanging_mm2": laid.hanging_mm2,
        "anchor_pulls_n": laid.pulls_n,
        "steps": laid.steps,
        "converged": laid.converged,
        "energy_mj": laid.energy_mj,
    }
