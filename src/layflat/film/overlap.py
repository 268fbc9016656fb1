"""Whether a flat pattern lies on top of itself."""

import numpy as np
from shapely import MultiLineString, Point, Polygon, get_parts, polygonize, unary_union

from layflat.base import FloatArray
from layflat.film.flat import Flat
from layflat.film.sheet import sheet_loops

_LEAST_AREA_MM2 = 1e-6
"""Rounding can make specks that are no overlap."""


def overlaps(flat: Flat) -> tuple[Polygon, ...]:
    """The parts of the plane that *flat* covers more than once, in mm, largest first.

    No triangle of a flat pattern is inverted, so that it covers each place as often as its
    boundary winds round it: if no boundary line meets another, once; else the boundary lines
    are cut where they meet, and the windings are counted for each part between them.
    """
    loops = [flat.points_mm[loop] for loop in sheet_loops(flat.mesh)]
    lines = MultiLineString([np.concatenate((loop, loop[:1])) for loop in loops])
    if lines.is_simple:
        return ()
    parts = get_parts(polygonize([unary_union(lines)]))
    twice = [
        part
        for part in parts
        if part.area > _LEAST_AREA_MM2 and _windings(part.representative_point(), loops) > 1
    ]
    return tuple(sorted(twice, key=lambda part: -part.area))


def _windings(point: Point, loops: list[FloatArray]) -> int:
    """How often the *loops* together wind round *point*, counter-clockwise positive."""
    centre = complex(point.x, point.y)
    total = 0.0
    for loop in loops:
        seen = loop[:, 0] + 1j * loop[:, 1] - centre
        total += float(np.angle(np.roll(seen, -1) / seen).sum())
    return round(total / (2.0 * np.pi))
