"""A drawing taken apart into the sections of the roll that are cut one after the other."""

import itertools
import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from layflat.base import DrawingError, FitError
from layflat.cut.machine import Machine
from layflat.pattern import Drawing, Pattern, bounds, place, to_polygon

_SLACK_MM = 0.01
_FAR = 2.0
"""How many times as far along the roll as a section goes the feed has no end of its own."""


@dataclass(frozen=True, eq=False)
class Sheet:
    """One section with its pieces, in its own coordinates.

    The origin lies at the section's start and the roll's edge; x runs along the roll.

    Attributes:
        number: from 1, along the roll.
        start_units: where the section starts, in whole plotter units from the roll's cut end.
        length_mm, width_mm: along and across the roll.
        patterns: its pieces.
    """

    number: int
    start_units: int
    length_mm: float
    width_mm: float
    patterns: tuple[Pattern, ...]

    @cached_property
    def polygons(self) -> tuple[shapely.Polygon, ...]:
        """The film of each piece, cut-outs left out; within 0.002 mm."""
        return tuple(to_polygon(p, deviation_mm=0.002) for p in self.patterns)

    @cached_property
    def outlines(self) -> tuple[shapely.Polygon, ...]:
        """What lies within the outline of each piece."""
        return tuple(shapely.Polygon(shapely.get_exterior_ring(p)) for p in self.polygons)

    @cached_property
    def film(self) -> BaseGeometry:
        """The film of all its pieces, cut-outs left out; within 0.002 mm."""
        return shapely.disjoint_subset_union_all(self.polygons)

    @cached_property
    def inner_pieces(self) -> list[tuple[int, int, int]]:
        """Pieces that lie in a cut-out of another: (inner piece, outer piece, its cut-out)."""
        inside = shapely.get_coordinates(shapely.point_on_surface(self.outlines))
        found = []
        for outer, polygon in enumerate(self.polygons):
            for hole, ring in enumerate(polygon.interiors):
                held = shapely.contains_xy(shapely.Polygon(ring), inside[:, 0], inside[:, 1])
                found += [(int(i), outer, hole) for i in np.flatnonzero(held) if i != outer]
        return found


def reach_of(sheet: Sheet, machine: Machine) -> BaseGeometry:
    """Where in a section the head gets to: a true machine all over, as far across as it reaches.

    One on which the film walks or that does not measure true is told places beyond its own edges
    for some that lie within the section.
    """
    most = min(machine.max_width_mm, sheet.width_mm)
    inside: BaseGeometry = shapely.box(0.0, 0.0, sheet.length_mm, most)
    if machine.is_true:
        return inside
    far = _FAR * (sheet.length_mm + machine.max_width_mm)
    told = [(0.0, 0.0), (far, 0.0), (far, machine.max_width_mm), (0.0, machine.max_width_mm)]
    return shapely.intersection(inside, shapely.Polygon(machine.landed(told)))


def sheets_of(drawing: Drawing, machine: Machine) -> tuple[Sheet, ...]:
    """The sections of a drawing, along the roll.

    Args:
        drawing: a layout; each rectangle of its stock is one section.
        machine: for the length of a section and the size of a plotter unit.

    Raises:
        DrawingError: there is no stock, no piece, or two sections overlap.
        FitError: a section is longer than the machine cuts in one go, or a piece lies outside of
            every section; the message says by how much.
    """
    if not drawing.patterns:
        raise DrawingError("The drawing has no piece to cut: no closed line on the layer OUTLINE.")
    if not drawing.stock:
        raise DrawingError(
            "The drawing has no section: no rectangle on the layer STOCK. Lay the pieces out first."
        )
    boxes = sorted(bounds(curve) for curve in drawing.stock)
    first_x, edge_y = boxes[0][0], min(box[1] for box in boxes)
    for i, (left, right) in enumerate(itertools.pairwise(boxes), start=1):
        if right[0] < left[2] - _SLACK_MM:
            raise DrawingError(
                f"Sections {i} and {i + 1} overlap by {left[2] - right[0]:.2f} mm along the roll."
            )
    held = _sort_into(drawing.patterns, boxes)
    sheets = []
    for i, (x0, y0, x1, y1) in enumerate(boxes):
        length = x1 - x0
        if length > machine.max_section_mm + _SLACK_MM:
            raise FitError(
                f"Section {i + 1} is {length:.1f} mm long: {length - machine.max_section_mm:.1f} "
                f"mm more than {machine.name} cuts in one go; lay out in shorter sections."
            )
        # A start in whole units keeps the section's own program and its part of the whole equal.
        start = math.floor((x0 - first_x) * machine.units_per_mm + 1e-6)
        zero = first_x + start / machine.units_per_mm
        sheets.append(
            Sheet(
                number=i + 1,
                start_units=start,
                length_mm=x1 - zero,
                width_mm=y1 - y0,
                patterns=tuple(place(p, x_mm=-zero, y_mm=-edge_y) for p in held[i]),
            )
        )
    return tuple(sheet for sheet in sheets if sheet.patterns)


def _sort_into(
    patterns: tuple[Pattern, ...], boxes: list[tuple[float, float, float, float]]
) -> list[list[Pattern]]:
    """The patterns that lie inside each box, in order."""
    held: list[list[Pattern]] = [[] for _ in boxes]
    for pattern in patterns:
        x0, y0, x1, y1 = bounds(pattern.outline)
        outside = [max(a - x0, b - y0, x1 - c, y1 - d) for a, b, c, d in boxes]
        best = min(range(len(boxes)), key=outside.__getitem__)
        if outside[best] > _SLACK_MM:
            raise FitError(
                f"The piece {pattern.name} sticks out of section {best + 1} by "
                f"{outside[best]:.2f} mm; a piece must lie in one section as a whole."
            )
        held[best].append(pattern)
    return held
