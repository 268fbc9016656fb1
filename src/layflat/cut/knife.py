"""Where the pivot must go for the blade's tip to run along a given line.

The tip trails behind the pivot at the knife offset L and moves only along the blade, as the
rear wheel of a bicycle follows the front one. For the tip to run along g(s) with the unit
tangent T(s), the pivot runs along g + L T: the track of the front wheel (S. R. Dunbar,
R. J. C. Bosman, S. E. M. Nooij, The Track of a Bicycle Back Tire, Mathematics Magazine 74
(2001) 273-287). For a line that is the line, moved along; for an arc of radius r an arc about
the same centre of radius sqrt(r² + L²), whatever r is; at a corner, the case r = 0, an arc of
radius L about the corner, on which the tip stands still.
"""

import math
from collections.abc import Sequence

import numpy as np
import shapely

from layflat.base import FloatArray
from layflat.cut.elements import Element, wrapped

CHORD_MM = 0.005
"""The greatest sagitta of the chords that stand for the pivot's arcs."""

THIN_MM = 0.002
"""Pivot points that lie this close to the line between their neighbours are left out."""

_NO_TURN_MM = 1e-4


def _arc(
    centre_mm: tuple[float, float], start_mm: tuple[float, float], turn_rad: float
) -> list[tuple[float, float]]:
    """Points along an arc after its start, with chords within `CHORD_MM` of it.

    The points between the ends lie a little outside, so that the chords enclose the arc's own
    area. Chords within the arc would bring the pivot nearer to the centre on average, and the
    tip, whose radius is sqrt(R² - L²), by R/r times as much.
    """
    away = (start_mm[0] - centre_mm[0], start_mm[1] - centre_mm[1])
    radius = math.hypot(*away)
    ratio = min(CHORD_MM / radius, 1.0)
    steps = max(1, math.ceil(abs(turn_rad) / (2.0 * math.acos(1.0 - ratio)) - 1e-9))
    step = turn_rad / steps
    outside = math.sqrt(step / math.sin(step)) if abs(step) < 1.5 else 1.0
    found = []
    for i in range(1, steps + 1):
        cos, sin = math.cos(i * step), math.sin(i * step)
        scale = outside if i < steps else 1.0
        found.append(
            (
                centre_mm[0] + scale * (cos * away[0] - sin * away[1]),
                centre_mm[1] + scale * (sin * away[0] + cos * away[1]),
            )
        )
    return found


def _pivot(x_mm: float, y_mm: float, heading_rad: float, offset_mm: float) -> tuple[float, float]:
    """Where the pivot stands for a tip and its heading."""
    return x_mm + offset_mm * math.cos(heading_rad), y_mm + offset_mm * math.sin(heading_rad)


def _along(element: Element, offset_mm: float) -> list[tuple[float, float]]:
    """The pivot's points over one element, after the first."""
    if element.is_line:
        return [_pivot(*element.at(1.0), offset_mm)]
    radius = element.length_mm / element.turn_rad  # left turns positive
    centre = (
        element.x_mm - radius * math.sin(element.heading_rad),
        element.y_mm + radius * math.cos(element.heading_rad),
    )
    start = _pivot(element.x_mm, element.y_mm, element.heading_rad, offset_mm)
    return _arc(centre, start, element.turn_rad)


def pivot_path(elements: Sequence[Element], *, heading_rad: float, offset_mm: float) -> FloatArray:
    """The pivot's polyline for the tip to run along joined elements.

    Args:
        elements: lines and arcs, each starting where the last one ends; corners between them
            become swivels, the shorter way round.
        heading_rad: the blade's heading when it is lowered at the start of the first element.
        offset_mm: the knife offset, above 0.

    Returns:
        (n, 2) float64, from where the knife is lowered to where it is lifted.
    """
    heading = heading_rad
    points = [_pivot(elements[0].x_mm, elements[0].y_mm, heading, offset_mm)]
    for element in elements:
        turn = wrapped(element.heading_rad - heading)
        tip = (element.x_mm, element.y_mm)
        if abs(turn) * offset_mm > _NO_TURN_MM:
            points += _arc(tip, _pivot(*tip, heading, offset_mm), turn)
        points += _along(element, offset_mm)
        heading = element.end_heading_rad
    line = shapely.linestrings(np.array(points))
    return shapely.get_coordinates(shapely.simplify(line, THIN_MM, preserve_topology=False))
