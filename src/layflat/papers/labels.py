"""Labels beside small things on a picture: each near its place, none over another."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import LineString, Point, Polygon, box
from shapely.geometry.base import BaseGeometry
from shapely.ops import nearest_points

from layflat.papers.canvas import Canvas, Pen
from layflat.papers.look import INK, PAPER

LABEL_PT = 9.0
_MM_PER_PT = 25.4 / 72.0
_HIGH_MM = 4.2
_EM = 0.45
"""Mean width of a letter of the sans face, of its size; measured on names of keep-outs."""
_REACHES_MM = (6.0, 9.0, 13.0, 18.0, 24.0, 31.0, 40.0)
_TURNS = 24
_OVER_FILM = 12.0
"""A label on the film is as bad as one so many mm farther off."""
_OVER_RIM = 1.5
"""A mm of the film's rim that a label hides is as bad as so many mm farther off."""
_OVER_OTHERS = 1e3
"""For each square mm of what must stay uncovered."""
_CROSSING = 60.0
"""For each thing that the line to a label crosses."""


@dataclass(frozen=True, eq=False)
class Label:
    """A label's place.

    Attributes:
        text: what stands there.
        box: (left, top, right, bottom) in paper mm.
        line: from the thing to the label; None where the text stands within the thing.
    """

    text: str
    box: tuple[float, float, float, float]
    line: LineString | None

    @property
    def shapes(self) -> list[BaseGeometry]:
        """What the label covers, with a little room."""
        own: list[BaseGeometry] = [box(*self.box).buffer(0.4)]
        return own if self.line is None else [*own, self.line.buffer(0.3)]


def text_width_mm(text: str, *, size_pt: float = LABEL_PT) -> float:
    """About how wide a text is on paper."""
    return _EM * size_pt * _MM_PER_PT * len(text)


@dataclass(frozen=True, eq=False, kw_only=True)
class Ground:
    """What labels are placed on.

    Attributes:
        width_mm, height_mm: of the picture; labels stay in it.
        film: what is better left uncovered.
    """

    width_mm: float
    height_mm: float
    film: BaseGeometry


def place_labels(
    things: Sequence[tuple[str, BaseGeometry]],
    *,
    ground: Ground,
    taken: Sequence[BaseGeometry] = (),
) -> tuple[Label, ...]:
    """A place for the name of each thing, found one after the other.

    Within the thing if there is room; else the nearest place beside it that is free, rather off
    the film than on it. Where no place is free the label lies over another.

    Args:
        things: names with shapes, in paper mm.
        ground: what they are placed on.
        taken: what must stay uncovered.
    """
    blocked = [*taken, *(shape for _, shape in things)]
    labels = []
    for text, shape in things:
        wide, high = text_width_mm(text) + 1.6, _HIGH_MM
        within = _centred(shape.centroid.x, shape.centroid.y, wide, high)
        if shape.contains(within):
            labels.append(Label(text, within.bounds, None))
            blocked += labels[-1].shapes
            continue
        others = [item for item in blocked if item is not shape]
        spot, line = free_spot(shape, wide, high, ground=ground, blocked=others)
        labels.append(Label(text, spot.bounds, line))
        blocked += labels[-1].shapes
    return tuple(labels)


def free_spot(
    shape: BaseGeometry,
    wide: float,
    high: float,
    *,
    ground: Ground,
    blocked: Sequence[BaseGeometry],
) -> tuple[Polygon, LineString]:
    """The best box of *wide* by *high* mm beside *shape*, and the line from the shape to it."""
    best = (np.inf, _centred(0.5 * ground.width_mm, 0.5 * ground.height_mm, wide, high))
    page = box(0.5, 0.5, ground.width_mm - 0.5, ground.height_mm - 0.5)
    shapely.prepare(ground.film)
    for spot in _spots(shape.centroid, wide, high):
        if not page.contains(spot):
            continue
        line = LineString(nearest_points(shape, spot))
        if line.length >= best[0]:
            continue
        hurt = sum(
            _OVER_OTHERS * spot.intersection(item).area + _CROSSING * line.intersects(item)
            for item in blocked
        )
        covered = spot.intersection(ground.film).area / spot.area
        hidden = spot.intersection(ground.film.boundary).length
        cost = line.length + _OVER_FILM * covered + _OVER_RIM * hidden + hurt
        if cost < best[0] - 1e-9:
            best = (cost, spot)
    return best[1], LineString(nearest_points(shape, best[1]))


def draw_labels(canvas: Canvas, labels: Sequence[Label]) -> None:
    """Draw labels over what is there."""
    lines = [np.array(label.line.coords) for label in labels if label.line is not None]
    canvas.lines(lines, pen=Pen(PAPER, 0.9))
    canvas.lines(lines, pen=Pen(INK, 0.2))
    for label in labels:
        left, top, right, bottom = label.box
        corners = [(left, top), (right, top), (right, bottom), (left, bottom)]
        canvas.loops([corners], fill=PAPER)
        middle = 0.5 * (left + right)
        canvas.text(middle, bottom - 1.1, label.text, size_pt=LABEL_PT, anchor="middle")


def _spots(middle: Point, wide: float, high: float) -> list[Polygon]:
    """Boxes round *middle*, the nearer first."""
    spots = []
    for reach in _REACHES_MM:
        for turn in np.arange(_TURNS) * (2.0 * np.pi / _TURNS):
            # The box's near side stands off by the reach, whichever way it lies.
            x = middle.x + np.cos(turn) * (reach + 0.5 * wide)
            y = middle.y + np.sin(turn) * (reach + 0.5 * high)
            spots.append(_centred(float(x), float(y), wide, high))
    return spots


def _centred(x: float, y: float, wide: float, high: float) -> Polygon:
    return box(x - 0.5 * wide, y - 0.5 * high, x + 0.5 * wide, y + 0.5 * high)
