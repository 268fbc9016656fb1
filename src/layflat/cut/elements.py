"""Lines and arcs with their headings, and closed loops of them that are to be cut.

Angles are radians, counter-clockwise from x. Film lies to the left of a loop's direction of
travel and waste to the right, for outlines (counter-clockwise) and cut-outs (clockwise) alike.
"""

import math
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from layflat.base import FloatArray
from layflat.pattern import Curve

_NO_LENGTH_MM = 1e-6
_STRAIGHT_RAD = 1e-9


def wrapped(angle_rad: float) -> float:
    """The same direction, from -pi (excluded) to pi."""
    return math.pi - (math.pi - angle_rad) % math.tau


@dataclass(frozen=True)
class Element:
    """A line, or an arc of a circle.

    Attributes:
        x_mm, y_mm: where it starts.
        heading_rad: its direction there.
        length_mm: along the line or arc; above 0.
        turn_rad: how far the direction turns over the length, left positive; 0 for a line.
    """

    x_mm: float
    y_mm: float
    heading_rad: float
    length_mm: float
    turn_rad: float = 0.0

    @property
    def is_line(self) -> bool:
        """Whether it is a line, to rounding."""
        return abs(self.turn_rad) < _STRAIGHT_RAD

    @property
    def end_heading_rad(self) -> float:
        """The direction at its end."""
        return self.heading_rad + self.turn_rad

    def at(self, part: float) -> tuple[float, float, float]:
        """The place (x, y in mm) and heading in radians at *part* (0 to 1) of its length."""
        half = 0.5 * self.turn_rad * part
        chord = self.length_mm * part * (math.sin(half) / half if abs(half) > 1e-9 else 1.0)
        direction = self.heading_rad + half
        return (
            self.x_mm + chord * math.cos(direction),
            self.y_mm + chord * math.sin(direction),
            self.heading_rad + 2.0 * half,
        )

    def cut(self, start: float, end: float) -> "Element":
        """The stretch of it from *start* to *end*, as parts (0 to 1) of its length."""
        x, y, heading = self.at(start)
        share = end - start
        return Element(x, y, heading, self.length_mm * share, self.turn_rad * share)


@dataclass(frozen=True, eq=False)
class Loop:
    """One closed line to cut.

    Attributes:
        piece: index of its piece among those of its section.
        name: what a message calls it, e.g. “cut-out 2 of hood”.
        is_cut_out: whether it is a cut-out.
        elements: in the direction of cutting, each starting where the last one ends.
    """

    piece: int
    name: str
    is_cut_out: bool
    elements: tuple[Element, ...]

    @cached_property
    def ends_mm(self) -> FloatArray:
        """(k,) float64: the distance along the loop at which each element ends."""
        return np.cumsum([element.length_mm for element in self.elements])

    @cached_property
    def length_mm(self) -> float:
        """The length of the whole loop."""
        return float(self.ends_mm[-1])

    @cached_property
    def _ends(self) -> list[float]:
        """`ends_mm` as plain numbers, which are found faster one at a time."""
        return [float(end) for end in self.ends_mm]

    def place(self, along_mm: float) -> tuple[int, float]:
        """The element, and the part of it, at a distance along the loop from its first joint."""
        along = along_mm % self.length_mm
        index = min(bisect_right(self._ends, along), len(self.elements) - 1)
        element = self.elements[index]
        before = self._ends[index] - element.length_mm
        return index, min(1.0, max(0.0, (along - before) / element.length_mm))

    def at(self, along_mm: float) -> tuple[float, float, float]:
        """The place (x, y in mm) and heading in radians at a distance along the loop."""
        index, part = self.place(along_mm)
        return self.elements[index].at(part)

    def stretch(self, start_mm: float, length_mm: float) -> list[Element]:
        """The elements from *start_mm* on over *length_mm*, more than once round if need be."""
        index, part = self.place(start_mm)
        found: list[Element] = []
        left = length_mm
        while left > _NO_LENGTH_MM:
            element = self.elements[index]
            end = min(1.0, part + left / element.length_mm)
            if (end - part) * element.length_mm > _NO_LENGTH_MM:
                found.append(element.cut(part, end))
            left -= (end - part) * element.length_mm
            index, part = (index + 1) % len(self.elements), 0.0
        return found


def elements_of(curve: Curve) -> tuple[Element, ...]:
    """The lines and arcs of a closed curve; joints less than 1e-6 mm apart are taken as one."""
    found = []
    # Plain numbers are faster one at a time.
    points = curve.points_mm.tolist()
    following = [*points[1:], *points[:1]]
    for (x, y), (to_x, to_y), bulge in zip(points, following, curve.bulges.tolist(), strict=True):
        chord = math.hypot(to_x - x, to_y - y)
        if chord <= _NO_LENGTH_MM:
            continue
        half = 2.0 * math.atan(bulge)
        stretch = half / math.sin(half) if abs(half) > 1e-9 else 1.0
        heading = math.atan2(to_y - y, to_x - x) - half
        found.append(Element(x, y, heading, chord * stretch, 2.0 * half))
    return tuple(found)


def sampled(elements: Sequence[Element], *, step_mm: float) -> FloatArray:
    """(n, 2) float64 points along joined elements, both ends included, at most *step_mm* apart."""
    points = [(elements[0].x_mm, elements[0].y_mm)]
    for element in elements:
        count = max(1, math.ceil(element.length_mm / step_mm))
        points += [element.at((i + 1) / count)[:2] for i in range(count)]
    return np.array(points)
