"""What remains of the film once the pieces are out: rectangles that can be used again, and waste.

A rectangle is looked for in each section by itself, since sections are parted from each other, and
on film that is passed by. It keeps clear of every piece and of every fault.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from layflat.base import CheckError, InputError
from layflat.nest.drawing import placed_pattern
from layflat.nest.layout import Layout
from layflat.pattern import to_polygon

_CELLS = 90
_FINEST_MM = 10.0
"""Rectangles are found to a ninetieth of a section or 10 mm, and are never larger than they are."""
_CLEAR_MM = 0.5
"""How far an offcut keeps from a piece."""
_CHORD_MM = 0.005
_MOST = 20
_AREA_TOLERANCE = 1e-4


@dataclass(frozen=True, kw_only=True, order=True)
class Offcut:
    """A rectangle of film that no piece lies on.

    Attributes:
        start_mm, low_mm: where it begins along and across the roll.
        length_mm, width_mm: along and across the roll.
    """

    start_mm: float
    low_mm: float
    length_mm: float
    width_mm: float

    @property
    def area_mm2(self) -> float:
        """How much film it is."""
        return self.length_mm * self.width_mm

    def polygon(self) -> Polygon:
        """It as a polygon on the roll."""
        return shapely.box(
            self.start_mm,
            self.low_mm,
            self.start_mm + self.length_mm,
            self.low_mm + self.width_mm,
        )


@dataclass(frozen=True, kw_only=True)
class FilmAccount:
    """Where the film of one roll or offcut went, in mm of its own width.

    Attributes:
        in_mm: what there was.
        pieces_mm: what is in pieces, cut-outs not counted.
        waste_mm: what is thrown away.
        offcuts_mm: what is kept as offcuts.
        left_mm: what remains on the roll.
    """

    in_mm: float
    pieces_mm: float
    waste_mm: float
    offcuts_mm: float
    left_mm: float

    def __post_init__(self) -> None:
        parts = (self.pieces_mm, self.waste_mm, self.offcuts_mm, self.left_mm)
        if min(parts) < -_AREA_TOLERANCE * self.in_mm:
            raise CheckError("The film of a roll does not add up: a part of it is negative.")
        missing = self.in_mm - sum(parts)
        if not abs(missing) <= _AREA_TOLERANCE * self.in_mm + 1e-6:
            raise CheckError(
                f"The film of a roll does not add up: of {self.in_mm:.1f} mm, {missing:.2f} mm are "
                "neither in pieces nor waste, offcut or left; this plan is not handed out."
            )


def offcuts_of(
    layout: Layout, *, least_mm: tuple[float, float], behind: bool = False
) -> tuple[Offcut, ...]:
    """The largest rectangles that remain, one after the other until none is large enough.

    Args:
        layout: what is cut.
        least_mm: the short and the long side that an offcut has at least.
        behind: whether the film behind the last section counts too (the layout lies on an offcut,
            of which nothing goes back on a roll); its length must be known.

    Raises:
        InputError: a side is not above 0.
    """
    short, long = sorted(least_mm)
    if not 0 < short <= long < math.inf:
        raise InputError(
            f"An offcut of at least {short:g} by {long:g} mm cannot be; both must be above 0."
        )
    pieces = [_solid(polygon) for polygon in _polygons(layout)]
    found = []
    for start, end in _regions(layout, behind=behind):
        inside = [shape for shape in pieces if shape.bounds[0] < end and shape.bounds[2] > start]
        free, steps = _cells(inside, start, end, layout.stock.width_mm)
        for _ in range(_MOST):
            corner = _largest(free, steps, short, long)
            if corner is None:
                break
            x0, y0, x1, y1 = corner
            free[x0:x1, y0:y1] = False
            found.append(
                Offcut(
                    start_mm=start + x0 * steps[0],
                    low_mm=y0 * steps[1],
                    length_mm=(x1 - x0) * steps[0],
                    width_mm=(y1 - y0) * steps[1],
                )
            )
    return tuple(sorted(found, key=lambda one: -one.area_mm2))


def film_account(
    layout: Layout, kept: tuple[Offcut, ...], *, length_mm: float, is_offcut: bool = False
) -> FilmAccount:
    """Where the film went; the waste is measured by itself, so that the sum is a check.

    Args:
        layout: what is cut.
        kept: the offcuts that are kept.
        length_mm: how long the film was.
        is_offcut: whether the layout lies on an offcut: what lies behind is waste or kept.

    Raises:
        CheckError: pieces, waste, offcuts and the rest are not all of the film.
    """
    width = layout.stock.width_mm
    end = length_mm if is_offcut else layout.length_mm
    used = shapely.union_all([*_polygons(layout), *(one.polygon() for one in kept)])
    waste = shapely.box(0.0, 0.0, end, width).difference(used)
    return FilmAccount(
        in_mm=length_mm,
        pieces_mm=layout.piece_area_mm2 / width,
        waste_mm=waste.area / width,
        offcuts_mm=sum(one.area_mm2 for one in kept) / width,
        left_mm=length_mm - end,
    )


def _polygons(layout: Layout) -> list[Polygon]:
    return [
        to_polygon(placed_pattern(placement), deviation_mm=_CHORD_MM)
        for placement in layout.placements
    ]


def _solid(polygon: Polygon) -> Polygon:
    """A piece with its cut-outs closed, since what falls out of them is small, and clear of it."""
    return Polygon(polygon.exterior).buffer(_CLEAR_MM + _CHORD_MM)


def _regions(layout: Layout, *, behind: bool) -> Iterator[tuple[float, float]]:
    """Sections, and sound film between and behind them."""
    at = 0.0
    for section in layout.sections:
        yield from _sound(layout, at, section.start_mm)
        yield section.start_mm, section.end_mm
        at = section.end_mm
    if behind and layout.stock.length_mm is not None:
        yield from _sound(layout, at, layout.stock.length_mm)


def _sound(layout: Layout, start: float, end: float) -> Iterator[tuple[float, float]]:
    for fault in sorted(layout.stock.faults, key=lambda one: one.start_mm):
        if fault.end_mm <= start or fault.start_mm >= end:
            continue
        if fault.start_mm > start:
            yield start, fault.start_mm
        start = fault.end_mm
    if end > start:
        yield start, end


def _cells(
    shapes: list[Polygon], start: float, end: float, width: float
) -> tuple[NDArray[np.bool_], tuple[float, float]]:
    """(along, across) bool: which cells of a region no piece touches, and how large a cell is."""
    along = min(_CELLS, max(1, math.ceil((end - start) / _FINEST_MM)))
    across = min(_CELLS, max(1, math.ceil(width / _FINEST_MM)))
    steps = ((end - start) / along, width / across)
    free = np.ones((along, across), dtype=np.bool_)
    x, y = np.meshgrid(np.arange(along), np.arange(across), indexing="ij")
    x0, y0 = start + steps[0] * x, steps[1] * y
    boxes = shapely.box(x0, y0, x0 + steps[0], y0 + steps[1])
    for shape in shapes:
        low_x, low_y, high_x, high_y = shape.bounds
        near = (x0 < high_x) & (x0 + steps[0] > low_x) & (y0 < high_y) & (y0 + steps[1] > low_y)
        shapely.prepare(shape)
        free[near] &= ~shapely.intersects(shape, boxes[near])
    return free, steps


def _largest(
    free: NDArray[np.bool_], steps: tuple[float, float], short: float, long: float
) -> tuple[int, int, int, int] | None:
    """The largest free rectangle with sides no shorter than asked, as cells; None without one.

    The stack over a histogram of free cells (common knowledge of algorithms; no source).
    """
    best: tuple[int, int, int, int] | None = None
    most = 0.0
    heights = np.zeros(free.shape[1], dtype=np.int64)
    for row in range(free.shape[0]):
        heights = np.where(free[row], heights + 1, 0)
        stack: list[tuple[int, int]] = []
        for column, height in enumerate([*heights.tolist(), 0]):
            begin = column
            while stack and stack[-1][1] >= height:
                begin, high = stack.pop()
                sides = sorted((high * steps[0], (column - begin) * steps[1]))
                area = sides[0] * sides[1]
                if area > most and sides[0] >= short - 1e-9 and sides[1] >= long - 1e-9:
                    most, best = area, (row + 1 - high, begin, row + 1, column)
            stack.append((begin, height))
    return best
