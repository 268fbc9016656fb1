"""Where film fingers and where it is cut open, as marks on a strain map."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import LineString, Point
from shapely.geometry.base import BaseGeometry

from layflat.base import FloatArray
from layflat.film import Flat, to_flat
from layflat.fit import Fingers, FingerZone
from layflat.papers.canvas import Canvas, Frame, Pen
from layflat.papers.labels import Ground, free_spot
from layflat.papers.look import INK, PAPER

_MOST_ZONES = 9
_LEAST_EXCESS_MM = 0.2

_ROOT_MM = 3.2
_STROKE_MM = (4.0, 14.0)
_APART_MM = 5.0
_RADIUS_MM = 2.5
_HALO = Pen(PAPER, 1.3)
_STROKE = Pen(INK, 0.45)
_CUT = Pen(INK, 0.9)
_SEAM = Pen(INK, 0.9, (4.0, 1.6))


@dataclass(frozen=True, eq=False)
class CutMark:
    """A cut from the edge inward, or a seam from edge to edge, to be drawn.

    Attributes:
        name: what stands beside it, e.g. "R1".
        points_mm: (k, 2) float64, in the flat, from the edge to the tip.
        is_seam: whether two pieces would meet there.
    """

    name: str
    points_mm: FloatArray
    is_seam: bool = False

    @staticmethod
    def on(flat: Flat, name: str, path_mm: FloatArray, *, is_seam: bool = False) -> "CutMark":
        """The mark of a path (k, 3) on the surface of *flat*."""
        return CutMark(name, to_flat(flat, path_mm), is_seam)


def marked_zones(fingers: Fingers | None) -> tuple[FingerZone, ...]:
    """The zones that get a number on a map, in the order of their numbers.

    Those with the most film too much, as many as can be told apart; such that a thumb presses
    away get none.
    """
    zones = () if fingers is None else fingers.zones
    worth = [zone for zone in zones if zone.excess_mm >= _LEAST_EXCESS_MM]
    return tuple(sorted(worth, key=lambda zone: -zone.excess_mm)[:_MOST_ZONES])


def draw_fingers(
    canvas: Canvas, flat: Flat, zones: Sequence[FingerZone], frame: Frame, *, ground: Ground
) -> list[BaseGeometry]:
    """Strokes along the fingers of each zone, with its number; what they cover.

    The strokes point to the edge that the fingers run to. Zones come in the order of their
    numbers, from 1.
    """
    taken: list[BaseGeometry] = []
    strokes = [_strokes(flat, zone, frame) for zone in zones]
    for lines in strokes:
        canvas.lines([line.coords for line in lines], pen=_HALO)
        canvas.lines([line.coords for line in lines], pen=_STROKE)
        for line in lines:
            _arrow(canvas, line)
        taken += [line.buffer(0.5) for line in lines]
    for number, lines in enumerate(strokes, start=1):
        taken += _number(canvas, str(number), lines[0], ground, taken)
    return taken


def draw_cuts(
    canvas: Canvas,
    cuts: Sequence[CutMark],
    frame: Frame,
    *,
    ground: Ground,
    taken: Sequence[BaseGeometry],
) -> list[BaseGeometry]:
    """Each cut as a strong line with a round tip, each seam broken, with names; what they cover."""
    lines = [LineString(frame.on_paper(cut.points_mm)) for cut in cuts]
    covered: list[BaseGeometry] = [line.buffer(0.8) for line in lines]
    for cut, line in zip(cuts, lines, strict=True):
        canvas.lines([line.coords], pen=Pen(PAPER, 1.9))
        canvas.lines([line.coords], pen=_SEAM if cut.is_seam else _CUT)
        if not cut.is_seam:
            x, y = line.coords[-1]
            canvas.circle(x, y, 0.9, fill=PAPER, pen=Pen(INK, 0.45))
    for cut, line in zip(cuts, lines, strict=True):
        covered += _number(canvas, cut.name, line, ground, [*taken, *covered])
    return covered


def _strokes(flat: Flat, zone: FingerZone, frame: Frame) -> list[LineString]:
    """One to a few strokes across a zone, the first through its middle."""
    corners = flat.points_mm[flat.mesh.faces[zone.faces]]
    middles = frame.on_paper(corners.mean(axis=1))
    ends = frame.on_paper([np.zeros(2), zone.flat_direction])
    along = (ends[1] - ends[0]) / np.linalg.norm(ends[1] - ends[0])
    across = np.array([-along[1], along[0]])
    area = shapely.union_all(
        shapely.polygons(frame.on_paper(corners.reshape(-1, 2)).reshape(-1, 3, 2))
    )
    weights = flat.mesh.face_areas_mm2[zone.faces]
    centre = middles[np.argmin(np.linalg.norm(middles - weights @ middles / weights.sum(), axis=1))]
    found = []
    reach = float(np.hypot(*np.ptp(middles, axis=0)))
    for step in _steps(reach):
        at = centre + step * _APART_MM * across
        whole = LineString([at - reach * along, at + (reach + 1.0) * along]).intersection(area)
        parts = [part for part in shapely.get_parts(whole) if part.length > 0.3]
        if not parts:
            continue
        part = max(parts, key=lambda line: line.length)
        middle = np.asarray(part.interpolate(0.5, normalized=True).coords[0])
        half = 0.5 * float(np.clip(part.length, *_STROKE_MM))
        found.append(LineString([middle - half * along, middle + half * along]))
    if not found:
        half = 0.5 * _STROKE_MM[0]
        found = [LineString([centre - half * along, centre + half * along])]
    return found


def _steps(reach_mm: float) -> list[int]:
    """0, then to either side, as far as a zone reaches, but no more than seven."""
    most = min(3, int(reach_mm / (2.0 * _APART_MM)))
    return [0, *(sign * step for step in range(1, most + 1) for sign in (1, -1))]


def _arrow(canvas: Canvas, line: LineString) -> None:
    """The tip of a stroke, where the finger runs to."""
    start, end = np.asarray(line.coords[0]), np.asarray(line.coords[-1])
    along = (end - start) / np.linalg.norm(end - start)
    across = np.array([-along[1], along[0]])
    back = end - 1.5 * along
    canvas.loops([[end + 0.3 * along, back + 0.75 * across, back - 0.75 * across]], fill=INK)


def _number(
    canvas: Canvas, text: str, line: LineString, ground: Ground, taken: Sequence[BaseGeometry]
) -> list[BaseGeometry]:
    """A name in a ring beside a line, with a line to it; what they cover."""
    wide = 2.0 * _RADIUS_MM + (len(text) - 1) * 1.6
    start = line.centroid if line.length < 2.0 * _ROOT_MM else Point(line.coords[0])
    own = start.buffer(0.4)
    others = [shape for shape in taken if not shape.contains(own)]
    spot, leader = free_spot(own, wide, 2.0 * _RADIUS_MM, ground=ground, blocked=others)
    canvas.lines([leader.coords], pen=Pen(PAPER, 0.9))
    canvas.lines([leader.coords], pen=Pen(INK, 0.25))
    left, top, right, bottom = spot.bounds
    canvas.loops(
        [shapely.get_coordinates(spot.buffer(-0.2).exterior)[:-1]], fill=PAPER, pen=Pen(INK, 0.3)
    )
    canvas.text(
        0.5 * (left + right),
        0.5 * (top + bottom) + 1.45,
        text,
        size_pt=11,
        bold=True,
        anchor="middle",
    )
    return [spot.buffer(0.4), leader.buffer(0.3)]
