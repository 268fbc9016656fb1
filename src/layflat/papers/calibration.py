"""The calibration sheet's paper: what is cut, what to measure, and where to write it."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from layflat.base import FloatArray
from layflat.papers.canvas import Canvas, Frame, Pen
from layflat.papers.cautions import CUTTING
from layflat.papers.engine import Document
from layflat.papers.head import Head, LengthUnit, all_written, length, sheet_values
from layflat.papers.look import CHALK, INK, LINE, PAPER, PENCIL

_SIDE_MM = 128.0
_LABEL_PT = 11.0
_ROWS = {"offset": "knife offsets", "overcut": "overcuts", "force": "forces"}


@dataclass(frozen=True, eq=False, kw_only=True)
class CalibrationLine:
    """One cut of the sheet: its group, its name in the group, and (n, 2) float64 places in mm."""

    group: str
    name: str
    points_mm: FloatArray


@dataclass(frozen=True, eq=False, kw_only=True)
class CalibrationPaper:
    """A calibration sheet, as it goes on paper.

    Attributes:
        head: what stands on every sheet; its vehicle is the machine's name.
        film_mm: film that the sheet takes, along and across the roll alike.
        lines: what is cut.
        lengths: what the ruler measures: words with the length that a true machine would cut.
        offsets_mm, overcuts_mm, forces_g: the steps of the rows.
        scores: what a force may do, from 0 on.
    """

    head: Head
    film_mm: float
    lines: tuple[CalibrationLine, ...]
    lengths: tuple[tuple[str, float], ...]
    offsets_mm: tuple[float, ...]
    overcuts_mm: tuple[float, ...]
    forces_g: tuple[float, ...]
    scores: tuple[str, ...]


def calibration_document(paper: CalibrationPaper) -> Document:
    """The paper of a calibration sheet before it is set."""
    head = paper.head
    millimetres = LengthUnit.MM  # the file of readings is in millimetres
    texts = {
        "machine": head.vehicle,
        "film": f"Takes {length(paper.film_mm, millimetres)} along the roll and across it.",
        "alt": "The calibration sheet: four crosses, a circle in the middle, rows of small cuts.",
        "steps": [
            "Switch off what the machine itself corrects: knife offset, overcut and scale.",
            "Clamp the film as for any job, with a fresh blade, and cut the sheet.",
            "Let the film lie for ten minutes. Do not lift it: measure on the liner.",
            "Measure from the middle of one cross to the middle of another with a steel rule.",
            "Read the rows with a loupe that has a scale. Write down tenths, and guess between.",
            "The square beside the circle is a test piece: it comes free and has true corners.",
            "Leave a field empty rather than guess it: what is not measured stays as it was.",
        ],
        "lengths": [
            {"words": words[0].upper() + words[1:], "meant": length(mm, millimetres, decimals=1)}
            for words, mm in paper.lengths
        ],
        "offsets": [f"{value:g}" for value in paper.offsets_mm],
        "overcuts": [f"{value:g}" for value in paper.overcuts_mm],
        "forces": [f"{value:g}" for value in paper.forces_g] or ["at ____"] * 7,
        "force_words": (
            "The row is cut with these forces, in grams as the machine states them."
            if paper.forces_g
            else "This machine is not sent any force: set one after the other at the machine, cut "
            "its own test square, and write force and number down."
        ),
        "scores": [f"{score}: {words}" for score, words in enumerate(paper.scores)],
        "cautions": list(CUTTING),
    }
    values = {
        **sheet_values(head, sheet="Calibration", title=f"Calibration: {head.vehicle}", bay=True),
        **all_written(texts),
    }
    values["head"]["subject"] = "Machine"
    pictures = {
        "sheet.svg": _picture(paper).encode(),
        "offset.svg": _ends_picture().encode(),
        "overcut.svg": _bridge_picture().encode(),
    }
    return Document(template="calibration.typ", values=values, pictures=pictures, dated=head.dated)


def _picture(paper: CalibrationPaper) -> str:
    """The whole sheet, reduced, with what its parts are called."""
    canvas = Canvas(_SIDE_MM, _SIDE_MM)
    frame = Frame.fit(
        (0.0, 0.0, paper.film_mm, paper.film_mm), width_mm=_SIDE_MM - 2, height_mm=_SIDE_MM - 2,
        x_mm=1.0, y_mm=1.0,
    )  # fmt: skip
    film = np.array([(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)]) * paper.film_mm
    canvas.loops([frame.on_paper(film)], fill=PAPER, pen=Pen(PENCIL, 0.25, (2.0, 1.2)))
    crosses = _middles(paper.lines, "cross")
    guide = Pen(LINE, 0.3)
    corners = [crosses[name] for name in "ABCD"]
    canvas.loops([frame.on_paper(corners)], pen=guide)
    canvas.lines([frame.on_paper(corners[0::2]), frame.on_paper(corners[1::2])], pen=guide)
    for line in paper.lines:
        points = frame.on_paper(line.points_mm)
        canvas.lines([points], pen=Pen(INK, 0.35))
    for name, place in crosses.items():
        x, y = frame.on_paper([place])[0]
        side = -1.0 if name in "AD" else 1.0
        _label(canvas, x + 5.0 * side, y + (5.6 if name in "AB" else -3.0), name, bold=True)
    for group, words in _ROWS.items():
        middles = _middles(paper.lines, group)
        if middles:
            low = min(place[1] for place in middles.values())
            x = float(np.mean([place[0] for place in middles.values()]))
            left, y = frame.on_paper([(x, low)])[0]
            _label(canvas, left, y + 7.0, words)
    return canvas.svg()


def _label(canvas: Canvas, x: float, y: float, text: str, *, bold: bool = False) -> None:
    half = 0.5 * (1.0 + 1.9 * len(text))
    box = [(x - half, y - 3.7), (x + half, y - 3.7), (x + half, y + 1.1), (x - half, y + 1.1)]
    canvas.loops([box], fill=PAPER)
    canvas.text(x, y, text, size_pt=_LABEL_PT, anchor="middle", bold=bold)


def _middles(lines: Sequence[CalibrationLine], group: str) -> dict[str, tuple[float, float]]:
    """The middle of each name's cuts in a group."""
    places: dict[str, list[FloatArray]] = {}
    for line in lines:
        if line.group == group:
            places.setdefault(line.name, []).append(line.points_mm)
    found = {}
    for name, parts in places.items():
        points = np.vstack(parts)
        middle = 0.5 * (points.min(axis=0) + points.max(axis=0))
        found[name] = (float(middle[0]), float(middle[1]))
    return found


def _ends_picture() -> str:
    """How a gap is read: ends apart, level, passing by."""
    canvas = Canvas(174.0, 18.0)
    for i, (gap, words) in enumerate(
        ((7.0, "apart: the gap, e.g. 0.35"), (0.0, "level: 0"), (-7.0, "passing by: e.g. −0.35"))
    ):
        middle = 29.0 + 58.0 * i
        left, right = middle - 0.5 * gap, middle + 0.5 * gap
        canvas.lines([[(middle - 24, 8.0), (left, 8.0)]], pen=Pen(INK, 0.5))
        canvas.lines([[(middle + 24, 5.0), (right, 5.0)]], pen=Pen(INK, 0.5))
        ticks = [[(x, 2.0), (x, 11.0)] for x in ((left, right) if gap else (left,))]
        canvas.lines(ticks, pen=Pen(CHALK, 0.35))
        canvas.text(middle, 16.5, words, size_pt=_LABEL_PT, anchor="middle")
    return canvas.svg()


def _bridge_picture() -> str:
    """How a bridge is read: the part of a circle that stayed uncut, or none."""
    canvas = Canvas(174.0, 24.0)
    for i, (open_rad, words) in enumerate(
        ((0.55, "a bridge: its length, e.g. 0.3"), (0.0, "came free: 0"))
    ):
        x, y = 43.0 + 88.0 * i, 9.0
        turn = np.linspace(0.5 * np.pi + open_rad, 2.5 * np.pi, 60)
        canvas.lines(
            [np.column_stack((x + 7 * np.cos(turn), y + 7 * np.sin(turn)))], pen=Pen(INK, 0.5)
        )
        if open_rad:
            for angle in (0.5 * np.pi, 0.5 * np.pi + open_rad):
                u = np.array([np.cos(angle), np.sin(angle)])
                canvas.lines([np.array([(x, y) + 5.4 * u, (x, y) + 8.6 * u])], pen=Pen(CHALK, 0.35))
        canvas.text(x, 23.0, words, size_pt=_LABEL_PT, anchor="middle")
    return canvas.svg()
