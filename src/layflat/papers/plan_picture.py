"""How one piece is laid, drawn on its flat shape: anchor, sweeps, measured pulls, heat."""

from collections.abc import Sequence

import numpy as np
import shapely
from shapely import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from layflat.base import FloatArray
from layflat.fit import PiecePlan, Tape
from layflat.papers.canvas import Canvas, Frame, Pen
from layflat.papers.labels import Ground, free_spot, text_width_mm
from layflat.papers.look import GROUND, INK, PAPER, PENCIL
from layflat.pattern import Pattern, bounds, coarse_polygon

_ARROW = Pen(PENCIL, 1.0)
_HALO = Pen(PAPER, 2.0)
_TAPE = Pen(INK, 0.45, (2.2, 1.2))
_FINE = Pen(INK, 0.25)
_RADIUS_MM = 3.0
_SIZE_PT = 13.0
_LETTER_PT = 13.0
_WIDE_LETTERS = 1.25
"""A browser shows the picture in letters of its own, which may be so much wider."""

_SHORTEST_MM = 7.0
"""Shorter arrows are left away: the number alone says it."""


def plan_picture(
    pattern: Pattern,
    plan: PiecePlan,
    *,
    width_mm: float = 178.0,
    height_mm: float = 88.0,
) -> str:
    """The flat piece with all that its plan marks.

    O in a full ring is the anchor; numbered arrows are the sweeps; broken lines between crosses
    with letters are measured pulls with both lengths; H in a lozenge is where film is warmed.

    Args:
        pattern: the piece's outline and cut-outs, in the coordinates of its flat shape.
        plan: of laying it.
        width_mm: of the picture.
        height_mm: of the picture.
    """
    canvas = Canvas(width_mm, height_mm)
    frame = Frame.fit(
        bounds(pattern.outline),
        width_mm=width_mm - 16,
        height_mm=height_mm - 12,
        x_mm=8,
        y_mm=6,
        may_turn=True,
    )
    shape = coarse_polygon(pattern, deviation_mm=0.05 / frame.scale)
    piece = shapely.transform(shape, frame.on_paper)
    rings = [piece.exterior, *piece.interiors]
    canvas.loops(
        [shapely.get_coordinates(ring)[:-1] for ring in rings], fill=GROUND, pen=Pen(INK, 0.5)
    )
    ground = Ground(width_mm=width_mm, height_mm=height_mm, film=piece.simplify(0.1))
    taken: list[BaseGeometry] = []
    arrows = [_arrows(frame, sweep.arrows) for sweep in plan.sweeps]
    for lines in arrows:
        for line in lines:
            _arrow(canvas, line)
    taken += [line.buffer(0.8) for lines in arrows for line in lines]
    _draw_tapes(canvas, frame, plan.tapes, ground, taken)
    for sweep, lines in zip(plan.sweeps, arrows, strict=True):
        at = frame.on_paper(sweep.middle_mm)[0]
        line = lines[len(lines) // 2] if lines else LineString([at, at + np.array((0.0, 0.1))])
        taken += _ring(canvas, line, str(sweep.number), taken)
    for number, heat in enumerate(plan.heats, start=1):
        taken += _lozenge(canvas, frame.on_paper(heat.at.flat_mm)[0], f"H{number}", ground, taken)
    x, y = frame.on_paper(plan.anchor.flat_mm)[0]
    canvas.circle(x, y, 3.4, fill=INK, pen=Pen(PAPER, 0.8))
    canvas.text(x, y + 1.6, "O", size_pt=13, bold=True, anchor="middle", colour=PAPER)
    return canvas.svg()


def _arrows(frame: Frame, arrows: FloatArray) -> list[LineString]:
    lines = [LineString(frame.on_paper(arrow)) for arrow in arrows]
    return [line for line in lines if line.length > _SHORTEST_MM]


def _arrow(canvas: Canvas, line: LineString) -> None:
    start, end = np.asarray(line.coords[0]), np.asarray(line.coords[-1])
    along = (end - start) / np.linalg.norm(end - start)
    across = np.array([-along[1], along[0]])
    back = end - min(4.0, 0.6 * line.length) * along
    canvas.lines([[start, back]], pen=_HALO)
    canvas.lines([[start, back]], pen=_ARROW)
    canvas.loops([[end, back + 1.7 * across, back - 1.7 * across]], fill=PENCIL)


def _ring(
    canvas: Canvas, line: LineString, text: str, taken: Sequence[BaseGeometry]
) -> list[BaseGeometry]:
    """A sweep's number on its arrow, where nothing else is."""
    places = [line.interpolate(share, normalized=True) for share in (0.5, 0.35, 0.65, 0.2, 0.8)]
    others = [shape for shape in taken if not shape.contains(line)]

    def hidden(at: Point) -> float:
        own = at.buffer(_RADIUS_MM)
        return sum(own.intersection(shape).area for shape in others)

    at = min(places, key=hidden)
    canvas.circle(at.x, at.y, _RADIUS_MM, fill=PAPER, pen=Pen(INK, 0.4))
    canvas.text(at.x, at.y + 1.6, text, size_pt=_SIZE_PT, bold=True, anchor="middle")
    return [at.buffer(_RADIUS_MM + 0.4)]


def _lozenge(
    canvas: Canvas, at: FloatArray, text: str, ground: Ground, taken: Sequence[BaseGeometry]
) -> list[BaseGeometry]:
    own = Point(*at).buffer(0.6)
    spot, leader = free_spot(own, 9.0, 7.0, ground=ground, blocked=list(taken))
    line = np.vstack((at, leader.coords[-1]))
    canvas.lines([line], pen=Pen(PAPER, 1.0))
    canvas.lines([line], pen=_FINE)
    canvas.circle(float(at[0]), float(at[1]), 0.6, fill=INK)
    x, y = spot.centroid.x, spot.centroid.y
    corners = [(x - 5.0, y), (x, y - 4.2), (x + 5.0, y), (x, y + 4.2)]
    canvas.loops([corners], fill=PAPER, pen=Pen(INK, 0.4))
    canvas.text(x, y + 1.4, text, size_pt=11, bold=True, anchor="middle")
    return [Polygon(corners).buffer(0.3), leader.buffer(0.3)]


def _draw_tapes(
    canvas: Canvas,
    frame: Frame,
    tapes: Sequence[Tape],
    ground: Ground,
    taken: list[BaseGeometry],
) -> None:
    """Each measured pull as a broken line; letters at its crosses, both lengths beside it."""
    lines = [LineString(frame.on_paper([end.flat_mm for end in tape.ends])) for tape in tapes]
    for line in lines:
        canvas.lines([line.coords], pen=Pen(PAPER, 1.4))
        canvas.lines([line.coords], pen=_TAPE)
    taken += [line.buffer(0.5) for line in lines]
    seen = {"O"}
    for tape, line in zip(tapes, lines, strict=True):
        for letter, end in zip(tape.letters, line.coords, strict=True):
            if letter not in seen:
                seen.add(letter)
                taken += _cross(canvas, np.asarray(end), letter, ground, taken)
    for tape, line in zip(tapes, lines, strict=True):
        words = f"{tape.liner_mm:.0f} → {tape.car_mm:.0f}"
        wide = _WIDE_LETTERS * text_width_mm(words, size_pt=12.0) + 2.0
        middle = line.interpolate(0.5, normalized=True).buffer(0.3)
        others = [shape for shape in taken if not shape.contains(middle)]
        spot, leader = free_spot(middle, wide, 6.0, ground=ground, blocked=others)
        canvas.lines([leader.coords], pen=_FINE)
        canvas.loops([shapely.get_coordinates(spot.exterior)[:-1]], fill=PAPER, pen=_FINE)
        canvas.text(
            spot.centroid.x, spot.centroid.y + 1.5, words, size_pt=12, bold=True, anchor="middle"
        )
        taken += [spot.buffer(0.4), leader.buffer(0.3)]


def _cross(
    canvas: Canvas, at: FloatArray, letter: str, ground: Ground, taken: Sequence[BaseGeometry]
) -> list[BaseGeometry]:
    rising, falling = np.array((1.6, 1.6)), np.array((1.6, -1.6))
    arms = [[at - rising, at + rising], [at - falling, at + falling]]
    canvas.lines(arms, pen=Pen(PAPER, 1.2))
    canvas.lines(arms, pen=Pen(INK, 0.6))
    own = Point(*at).buffer(1.8)
    others = [shape for shape in taken if not shape.intersects(Point(*at))]
    spot, _ = free_spot(own, 5.0, 5.6, ground=ground, blocked=others)
    canvas.text(
        spot.centroid.x,
        spot.centroid.y + 1.7,
        letter,
        size_pt=_LETTER_PT,
        bold=True,
        anchor="middle",
    )
    return [own, spot]
