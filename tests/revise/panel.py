"""A panel drawn by hand: straight lines, a smooth bend, a belly, cut-outs, marks by its edges."""

import math

import numpy as np

from layflat.base import FloatArray
from layflat.pattern import Curve, EdgeFinish, EdgeRecord, Finish, Mark, MarkKind, Pattern
from layflat.revise import Note, NoteKind, Outline, Revision, Spot
from layflat.surface import EdgeKind

QUARTER = math.tan(math.pi / 8.0)


def circle(x: float, y: float, radius: float) -> Curve:
    """A cut-out, clockwise."""
    return Curve(np.array([[x - radius, y], [x + radius, y]]), np.array([-1.0, -1.0]))


def panel(name: str = "panel", *, size: float = 1.0) -> Pattern:
    """600 × 400 mm: low and right straight, right into top by a quarter of 150 mm, left bellied."""
    points = np.array([[0, 0], [600, 0], [600, 250], [450, 400], [0, 400]], float) * size
    bulges = np.array([0.0, 0.0, QUARTER, 0.0, 0.08])
    marks = (
        Mark(MarkKind.ALIGN, size * np.array([[300.0, -3.0], [300.0, -8.0]]), "low"),
        Mark(MarkKind.ALIGN, size * np.array([[603.0, 240.0], [608.0, 240.0]]), "right"),
        Mark(MarkKind.ALIGN, size * np.array([[-40.0, 200.0], [-45.0, 200.0]]), "left"),
        Mark(MarkKind.NUMBER, size * np.array([[0.0, -15.0]]), name),
    )
    square = Curve(
        np.array([[350, 150], [350, 190], [410, 190], [410, 150]], float) * size, np.zeros(4)
    )
    flush = EdgeFinish(Finish.FLUSH)
    return Pattern(
        name,
        Curve(points, bulges),
        cut_outs=(circle(200 * size, 200 * size, 20 * size), square),
        marks=marks,
        edges=(EdgeRecord("low", EdgeKind.GAP, flush, 600.0 * size, 600.0 * size),),
        outline_corners=np.array([0, 1, 4]),
    )


def outline_of(pattern: Pattern) -> Outline:
    return Outline(pattern.outline, pattern.outline_corners)


def short(x: float, y: float, mm: float, **more: object) -> Note:
    """The film is short by *mm* at a point, over where it is below 0."""
    kind = NoteKind.SHORT if mm >= 0 else NoteKind.OVER
    return Note(kind, Spot(point_mm=(x, y)), mm=(abs(mm),), **more)  # type: ignore[arg-type]


def fits(x: float, y: float, **more: object) -> Note:
    return Note(NoteKind.FITS, Spot(point_mm=(x, y)), **more)  # type: ignore[arg-type]


def moved_out(revision: Revision, *points: tuple[float, float]) -> FloatArray:
    """How far the revised outline lies outside the old one at points of the old one."""
    old = outline_of(revision.base)
    new = outline_of(revision.pattern)
    stations, _ = old.nearest(np.array(points))
    foot = old.points(stations)
    there, away = new.nearest(foot)
    side = np.einsum("ij,ij->i", new.points(there) - foot, old.normals(stations))
    return np.asarray(np.copysign(away, side))
