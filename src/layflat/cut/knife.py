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
from shapely import LineString

from layflat.base import FloatArray
from layflat.cut.elements import Element, wrapped

CHORD_MM = 0.005
"""The greatest sagitta of the chords that stand for the pivot's arcs."""

THIN_MM = 0.002
"""Pivot points that lie this close to the line between their neighbours are left out."""

_NO_TURN_MM = 1e-4


def _arc_steps(radius_mm: float, turn_rad: float) -> int:
    """How many chords keep within `CHORD_MM` of an arc."""
    ratio = min(CHORD_MM / radius_mm, 1.0)
    return max(1, math.ceil(abs(turn_rad) / (2.0 * math.acos(1.0 - ratio)) - 1e-9))


def swivel(
    x_mm: float, y_mm: float, from_rad: float, to_rad: float, *, offset_mm: float
) -> list[tuple[float, float]]:
    """Pivot points that turn the blade about a standing tip, the shorter way round.

    Args:
        x_mm: where the tip stands.
        y_mm: where the tip stands.
        from_rad: the blade's heading before.
        to_rad: the blade's heading after.
        offset_mm: the knife offset.

    Returns:
        The points after the first, which is the tip plus the offset along *from_rad*.
    """
    turn = wrapped(to_rad - from_rad)
    if abs(turn) * offset_mm < _NO_TURN_MM:
        return []
    steps = _arc_steps(offset_mm, turn)
    angles = [from_rad + turn * (i + 1) / steps for i in range(steps)]
    return [(x_mm + offset_mm * math.cos(a), y_mm + offset_mm * math.sin(a)) for a in angles]


def pivot_path(elements: Sequence[Element], *, heading_rad: float, offset_mm: float) -> FloatArray:
    """The pivot's polyline for the tip to run along joined elements.

    Args:
        elements: lines and arcs, each starting where the last one ends; corners between them
            become swivels.
        heading_rad: the blade's heading when it is lowered at the start of the first element.
        offset_mm: the knife offset, above 0.

    Returns:
        (n, 2) float64, from where the knife is lowered to where it is lifted.
    """
    first = elements[0]
    heading = heading_rad
    points = [
        (first.x_mm + offset_mm * math.cos(heading), first.y_mm + offset_mm * math.sin(heading))
    ]
    for element in elements:
        points += swivel(
            element.x_mm, element.y_mm, heading, element.heading_rad, offset_mm=offset_mm
        )
        steps = 1
        if not element.is_line:
            radius = math.hypot(element.length_mm / element.turn_rad, offset_mm)
            steps = _arc_steps(radius, element.turn_rad)
        for i in range(steps):
            x, y, heading = element.at((i + 1) / steps)
            points.append((x + offset_mm * math.cos(heading), y + offset_mm * math.sin(heading)))
    line = LineString(points).simplify(THIN_MM, preserve_topology=False)
    return np.asarray(line.coords, dtype=np.float64)
