"""Weed lines: cuts across the waste, so that it comes off in strips and not as one great net.

A line goes straight across the roll, through waste only, and ends at a distance from film and from
the roll's edges: what is left there tears. Within a quarter of a strip of where strips of equal
width would end, the place is taken at which least is to be cut. Common practice, no source.
"""

import math

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from layflat.cut.elements import Element

CLEAR_MM = 2.0
"""How far weed lines stay from film and from the roll's edges."""

_TRIED_MM = 4.0
_SHORTEST_MM = 5.0


def weed_lines(
    film: BaseGeometry, *, reach: BaseGeometry, strip_mm: float, clear_mm: float
) -> list[Element]:
    """The lines that divide a section's waste into strips across the roll.

    Args:
        film: of all pieces, in the section's coordinates.
        reach: where in the section the knife gets to, from its start to its end.
        strip_mm: how wide a strip may be at most, but for the search for short lines: up to a half
            more where that saves cutting.
        clear_mm: how far lines stay from film and from where the knife does not get to.

    Returns:
        Lines towards the far edge, along the roll. Passages with less than 5 mm to cut are left.
    """
    _, _, length_mm, width_mm = reach.bounds
    count = math.ceil(length_mm / strip_mm) - 1
    if count < 1:
        return []
    free = reach.buffer(-clear_mm).difference(film.buffer(clear_mm))
    pitch = length_mm / (count + 1)
    tried = max(3, 2 * round(0.25 * pitch / _TRIED_MM) + 1)
    found = []
    for i in range(1, count + 1):
        xs = i * pitch + np.linspace(-0.25, 0.25, tried) * pitch
        # The middle first, so that of equal ones the evenest is taken.
        xs = xs[np.argsort(np.abs(xs - i * pitch), kind="stable")]
        ways = [_across(free, float(x), width_mm) for x in xs]
        lengths = [round(sum(way.length_mm for way in ways_), 3) for ways_ in ways]
        found += ways[int(np.argmin(lengths))]
    return found


def _across(free: BaseGeometry, x: float, width_mm: float) -> list[Element]:
    """The stretches of free waste on one line across the roll."""
    met = shapely.intersection(shapely.LineString([(x, 0.0), (x, width_mm)]), free)
    parts = [part for part in shapely.get_parts(met) if part.length >= _SHORTEST_MM]
    ends = sorted((part.bounds[1], part.bounds[3]) for part in parts)
    return [Element(x, low, 0.5 * math.pi, high - low) for low, high in ends]
