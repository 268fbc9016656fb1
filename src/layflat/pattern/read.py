"""Drawings in, from DXF or SVG."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from layflat.base import DrawingError, FloatArray, Progress, SettingError, silent
from layflat.pattern.assemble import assemble
from layflat.pattern.curve import sample
from layflat.pattern.drawing import Drawing
from layflat.pattern.dxf_read import DxfSource
from layflat.pattern.loops import Stroke
from layflat.pattern.mend_record import Findings, Mending, OpenQuestionsError, Question
from layflat.pattern.mend_units import Source, sketch_in_unit
from layflat.pattern.piece import Curve
from layflat.pattern.svg_read import SvgSource
from layflat.pattern.units import UNITS_MM

CLOSE_MM = 0.5
"""Gaps up to this are closed where no third end is near."""


@dataclass(frozen=True)
class Reading:
    """A drawing as it was read, with what was mended and what is still asked.

    Attributes:
        drawing: by the answers given and the defaults of the other questions; None if it cannot
            be used so.
        mended: what was mended, in the order of the work; of very many alike the widest.
        questions: all that were asked, answered or not.
        refusal: why there is no drawing, or "".
        unused: answers to questions that it does not ask.
        strokes: the lines of the file before anything was mended.
    """

    drawing: Drawing | None
    mended: tuple[Mending, ...] = ()
    questions: tuple[Question, ...] = ()
    refusal: str = ""
    unused: tuple[str, ...] = ()
    strokes: tuple[Stroke, ...] = ()

    @property
    def open_questions(self) -> tuple[Question, ...]:
        """The questions that nobody has answered; the drawing is used only without any."""
        return tuple(question for question in self.questions if question.answer is None)

    def lines_mm(self, *, deviation_mm: float = 0.1) -> tuple[FloatArray, ...]:
        """The lines of the file before anything was mended, each (k, 2) float64, for a picture.

        A closed line ends where it begins.

        Args:
            deviation_mm: how far chords may lie from arcs; above 0.
        """
        return tuple(_polyline(stroke, deviation_mm) for stroke in self.strokes)


def inspect_drawing(
    path: Path,
    *,
    unit: str | None = None,
    join_mm: float = 0.05,
    close_mm: float = CLOSE_MM,
    deviation_mm: float = 0.02,
    answers: Mapping[str, str] | None = None,
    progress: Progress = silent,
) -> Reading:
    """What the file at *path* draws, with all that was mended and is asked.

    Args:
        path: a .dxf or .svg file.
        unit: mm, cm, m, in, ft, px or pt, where the file leaves its unit open; answers the
            question for it.
        join_mm: line ends no farther apart than this are one point; 0 to 10.
        close_mm: gaps up to this are closed where no third end is near; 0 to 10.
        deviation_mm: how far the chords that stand for free curves may lie from them; 0.001 to 1.
        answers: to questions of an earlier reading, by their ids.
        progress: told of each step.

    Raises:
        DrawingError: the file is none of these, is damaged or too large.
        InputError: the file cannot be read.
        SettingError: an option is out of range, or an answer is none of its question's choices.
    """
    if unit is not None and unit not in UNITS_MM:
        raise SettingError(f"The unit “{unit}” is not known; known are {', '.join(UNITS_MM)}.")
    for what, distance in (("joining", join_mm), ("closing", close_mm)):
        if not 0 <= distance <= 10:
            raise SettingError(f"The {what} distance is {distance:g} mm; it must be 0 to 10 mm.")
    if not 0.001 <= deviation_mm <= 1:
        raise SettingError(f"The deviation is {deviation_mm:g} mm; it must be 0.001 to 1 mm.")
    findings = Findings(path.name, dict(answers or {}))
    strokes: tuple[Stroke, ...] = ()
    try:
        progress("opening the file", 0.0)
        source = _source(path, findings)
        progress("taking in its lines", 0.3)
        sketch = sketch_in_unit(source, findings, unit=unit, deviation_mm=deviation_mm)
        strokes = tuple(stroke for several in sketch.strokes.values() for stroke in several)
        progress("joining the lines to pieces", 0.6)
        drawing = assemble(
            sketch, findings=findings, join_mm=join_mm, close_mm=max(join_mm, close_mm)
        )
    except DrawingError as error:
        words = str(error) if path.name in str(error) else f"{path.name}: {error}"
        if not findings.open_questions:
            raise DrawingError(words) from error
        return Reading(None, findings.told, tuple(findings.questions), words, strokes=strokes)
    return Reading(
        drawing,
        findings.told,
        tuple(findings.questions),
        unused=findings.unused_answers,
        strokes=strokes,
    )


def _polyline(stroke: Stroke, deviation_mm: float) -> FloatArray:
    if stroke.closed:
        points = sample(Curve(stroke.points_mm, stroke.bulges), deviation_mm=deviation_mm)
        return np.vstack((points, points[:1]))
    # The way back to the first point is a straight line, which adds none.
    whole = Curve(stroke.points_mm, np.append(stroke.bulges, 0.0))
    return sample(whole, deviation_mm=deviation_mm)


def read_drawing(
    path: Path,
    *,
    unit: str | None = None,
    join_mm: float = 0.05,
    close_mm: float = CLOSE_MM,
    deviation_mm: float = 0.02,
    answers: Mapping[str, str] | None = None,
) -> Drawing:
    """The drawing in the file at *path*, checked, in mm, with no question open.

    Args and errors are those of `inspect_drawing`; also:

    Raises:
        OpenQuestionsError: the drawing asks what no answer was given to.
        SettingError: an answer fits no question.
    """
    reading = inspect_drawing(
        path,
        unit=unit,
        join_mm=join_mm,
        close_mm=close_mm,
        deviation_mm=deviation_mm,
        answers=answers,
    )
    drawing = _settled(path, reading)
    _refuse_unused([reading], reading.unused, path.name)
    return drawing


def read_drawings(
    paths: Sequence[Path], *, answers: Mapping[str, str] | None = None
) -> tuple[Drawing, ...]:
    """Several drawings; each answer goes to all that ask for it, and one must.

    Raises:
        OpenQuestionsError: a drawing asks what no answer was given to.
        SettingError: an answer fits no question of any.
        DrawingError, InputError: as of `read_drawing`.
    """
    readings = [inspect_drawing(path, answers=answers) for path in paths]
    drawings = tuple(_settled(path, r) for path, r in zip(paths, readings, strict=True))
    unused = set(answers or {}).intersection(*(reading.unused for reading in readings))
    _refuse_unused(readings, sorted(unused), ", ".join(path.name for path in paths[:3]))
    return drawings


def _settled(path: Path, reading: Reading) -> Drawing:
    if reading.open_questions or reading.drawing is None:
        raise OpenQuestionsError(path.name, reading.open_questions)
    return reading.drawing


def _refuse_unused(readings: Sequence[Reading], unused: Sequence[str], who: str) -> None:
    if unused:
        asked = ", ".join(q.id for reading in readings for q in reading.questions) or "none"
        raise SettingError(f"{who} does not ask “{unused[0]}”; what is asked is: {asked}.")


def _source(path: Path, findings: Findings) -> Source:
    suffix = path.suffix.lower()
    if suffix == ".dxf":
        return DxfSource(path, findings)
    if suffix == ".svg":
        return SvgSource(path, findings)
    raise DrawingError(f"{path.name} is neither a .dxf nor an .svg file.")
