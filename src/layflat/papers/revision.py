"""The revision sheet: a pattern before and after its fit notes, on one page."""

from dataclasses import dataclass, replace

import numpy as np
from shapely import LinearRing, LineString, Point, Polygon

from layflat.base import FloatArray, counted
from layflat.papers.canvas import Canvas, Frame, Pen
from layflat.papers.engine import Document
from layflat.papers.head import Head, LengthUnit, all_written, length, sheet_values
from layflat.papers.lettering import one_line, panel_title
from layflat.papers.look import CHALK, GROUND, INK, PAPER, PENCIL
from layflat.pattern import sample
from layflat.revise import NoteKind, Revision

_WIDTH_MM = 178.0
_HEIGHT_MM = 120.0
_MARGIN_MM = 14.0
_SHOWN_MM = 5.0
_FACTORS = (1, 2, 5, 10, 20, 50, 100)
_RING_MM = 2.7
_OFF_MM = 8.0
_MOST_TRIES = 12
_DEVIATION_MM = 0.02
_MOST_ROWS = 40
_FINE = Pen(PENCIL, 0.2)
_BOLD = Pen(INK, 0.7)


@dataclass(frozen=True, eq=False, kw_only=True)
class RevisionSheet:
    """One revision as it goes on paper, with what stands on every sheet."""

    head: Head
    revision: Revision


def revision_document(sheet: RevisionSheet) -> Document:
    """The revision sheet before it is set."""
    revision, unit = sheet.revision, sheet.head.unit
    name = panel_title(revision.base.name)
    picture, factor = revision_picture(revision)
    summary = revision.summary
    shown = (
        f"Thin: before. Bold: after, its moves drawn {factor} times as large."
        if factor > 1
        else "Thin: before. Bold: after."
    )
    texts = {
        "piece": one_line(name, most=80),
        "sentence": (
            f"The outline moves by {_fine(summary.largest_mm, unit)} at most, on "
            f"{summary.largest_where}; {_fine(summary.rms_mm, unit)} RMS."
        ),
        "alt": (
            f"The outline of {name} before and after, with {counted(len(revision.notes), 'note')}."
        ),
        "reading": shown,
        "rows": [
            [str(i), note.words(), where, note.car, _left(note.kind, left, unit)]
            for i, (note, where, left) in enumerate(
                zip(revision.notes, revision.where, revision.left_mm.tolist(), strict=True), 1
            )
        ][:_MOST_ROWS],
        "more": (
            f"{len(revision.notes) - _MOST_ROWS} more notes stand in the file of the revision."
            if len(revision.notes) > _MOST_ROWS
            else ""
        ),
        "said": list(revision.said),
    }
    values = {
        **sheet_values(
            sheet.head,
            sheet="Revision",
            title=f"Revision {revision.number}: {revision.base.name}",
        ),
        **all_written(texts),
        "number": revision.number,
    }
    values["head"]["subject"] = "Piece"
    return Document(
        template="revision.typ",
        values=values,
        pictures={"revision.svg": picture.encode()},
        dated=sheet.head.dated,
    )


def _fine(mm: float, unit: LengthUnit) -> str:
    return length(mm, unit, decimals=1)


def _left(kind: NoteKind, left_mm: float, unit: LengthUnit) -> str:
    """What a note still asks, with the sense that it has in words."""
    if abs(left_mm) < 0.05:
        return "met"
    words = {True: "short", False: "over"}[left_mm > 0]
    if kind in (NoteKind.SHIFT, NoteKind.FINGER):
        words = "off"
    return f"{words} {_fine(abs(left_mm), unit)}"


def revision_picture(
    revision: Revision, *, width_mm: float = _WIDTH_MM, height_mm: float = _HEIGHT_MM
) -> tuple[str, int]:
    """The old outline thin and the new one bold, with numbered notes, as SVG.

    Returns:
        The picture, and how many times as large the moves are drawn as they are: a move of a
        millimetre on a piece of a metre could not be seen.
    """
    points, shifts = revision.moved(every_mm=4.0)
    box = (*points.min(axis=0).tolist(), *points.max(axis=0).tolist())
    frame = Frame.fit(
        box,
        width_mm=width_mm - 2.0 * _MARGIN_MM, height_mm=height_mm - 2.0 * _MARGIN_MM,
        x_mm=_MARGIN_MM, y_mm=_MARGIN_MM, may_turn=True,
    )  # fmt: skip
    # A wide piece leaves room above and below, which is better on the page than in the picture.
    low, high = frame.on_paper(points)[:, 1].min(), frame.on_paper(points)[:, 1].max()
    frame = replace(frame, y_mm=frame.y_mm - low + _MARGIN_MM)
    largest = float(np.hypot(*shifts.T).max(initial=0.0)) * frame.scale
    factor = max((each for each in _FACTORS if each * largest <= _SHOWN_MM), default=1)
    canvas = Canvas(width_mm, float(high - low) + 2.0 * _MARGIN_MM)
    old = frame.on_paper(points)
    canvas.loops([old], fill=GROUND, pen=_FINE)
    new = frame.on_paper(points + factor * shifts)
    canvas.loops([new], pen=_BOLD)
    for before, after in zip(revision.base.cut_outs, revision.pattern.cut_outs, strict=True):
        line = sample(before, deviation_mm=_DEVIATION_MM)
        shift = after.points_mm.mean(axis=0) - before.points_mm.mean(axis=0)
        canvas.loops([frame.on_paper(line)], fill=PAPER, pen=_FINE)
        canvas.loops([frame.on_paper(line + factor * shift)], pen=_BOLD)
    _numbers(canvas, frame.on_paper(revision.places_mm), Polygon(old), LinearRing(new))
    return canvas.svg(), factor


def _numbers(canvas: Canvas, places: FloatArray, piece: Polygon, new: LinearRing) -> None:
    """Each note's number in a circle beside its place, where no other stands."""
    taken: list[FloatArray] = []
    middle = np.array([piece.centroid.x, piece.centroid.y])
    for number, place in enumerate(places, 1):
        outward = place - middle
        outward /= max(float(np.hypot(*outward)), 1e-9)
        spot = _free_spot(place, outward, taken, (piece, new), canvas)
        taken.append(spot)
        toward = spot - place
        end = spot - toward * (_RING_MM / max(float(np.hypot(*toward)), _RING_MM))
        canvas.lines([np.array([place, end])], pen=Pen(CHALK, 0.25))
        canvas.circle(place[0], place[1], 0.7, fill=CHALK)
        canvas.circle(spot[0], spot[1], _RING_MM, fill=PAPER, pen=Pen(CHALK, 0.3))
        canvas.text(spot[0], spot[1] + 1.15, str(number), size_pt=9.0, bold=True, anchor="middle")


def _free_spot(
    place: FloatArray,
    outward: FloatArray,
    taken: list[FloatArray],
    drawn: tuple[Polygon, LinearRing],
    canvas: Canvas,
) -> FloatArray:
    """Where a number's circle can stand: outside the piece first, clear of others."""
    best, least = place + _OFF_MM * outward, np.inf
    for turn in np.linspace(0.0, np.pi, _MOST_TRIES):
        for angle in (turn, -turn):
            cos, sin = np.cos(angle), np.sin(angle)
            way = np.array(
                [cos * outward[0] - sin * outward[1], sin * outward[0] + cos * outward[1]]
            )
            for far in (_OFF_MM, 1.6 * _OFF_MM):
                spot = place + far * way
                edge = np.clip(
                    spot, _RING_MM + 0.5,
                    [canvas.width_mm - _RING_MM - 0.5, canvas.height_mm - _RING_MM - 0.5],
                )  # fmt: skip
                near = sum(
                    float(np.hypot(*(spot - other))) < 2.0 * _RING_MM + 0.6 for other in taken
                )
                line = LineString([place, spot])
                crossed = sum(line.distance(Point(other)) < _RING_MM for other in taken)
                inside = min(shape.distance(Point(spot)) for shape in drawn) < _RING_MM + 0.8
                cost = 10.0 * near + 4.0 * crossed + 6.0 * inside + turn + 0.1 * far
                cost += 20.0 * float(np.abs(edge - spot).max())
                if cost < least:
                    best, least = spot, cost
    return best
