"""Single lines and arcs, and pairs of arcs that join two directions smoothly (biarcs).

An element is given by its start, its end and its bulge (see `layflat.pattern.curve`).
"""

import math
from typing import NamedTuple

import numpy as np

from layflat.base import FloatArray
from layflat.pattern.piece import Curve

_STRAIGHT_BULGE = 1e-9
_SAME_DIRECTION = 2e-3


class Biarc(NamedTuple):
    """Two arcs that leave and arrive in given directions and share a tangent between.

    Attributes:
        middle: (2,) float64, where they meet.
        bulges: of the first and of the second arc.
    """

    middle: FloatArray
    bulges: tuple[float, float]


def turn_between(one: FloatArray, two: FloatArray) -> float:
    """The angle from direction *one* to direction *two*, -pi to pi, left positive."""
    cross = float(one[0] * two[1] - one[1] * two[0])
    return math.atan2(cross, float(one @ two))


def merged(
    start: FloatArray,
    leaving: FloatArray,
    end: FloatArray,
    arriving: FloatArray,
    *,
    slack_mm: float,
) -> float | None:
    """The bulge of one line or arc in place of a biarc, where nobody could tell them apart.

    It may lie *slack_mm* from the biarc, and its ends may turn by 0.1° from the directions.
    """
    chord = end - start
    length = math.hypot(*chord)
    first, second = turn_between(leaving, chord), turn_between(chord, arriving)
    if abs(first - second) > min(slack_mm / max(length, 1e-300), _SAME_DIRECTION):
        return None
    mean = 0.5 * (first + second)
    return 0.0 if abs(mean) * length < 0.5 * slack_mm else math.tan(0.5 * mean)


def distances_to_element(
    points: FloatArray, start: FloatArray, end: FloatArray, bulge: float
) -> FloatArray:
    """(n,) float64: the exact distance of each of (n, 2) points from one element."""
    chord = end - start
    length = math.hypot(*chord)
    if abs(bulge) < _STRAIGHT_BULGE or length == 0.0:
        part = np.clip((points - start) @ chord / max(length * length, 1e-300), 0.0, 1.0)
        foot = points - start - part[:, None] * chord
        straight: FloatArray = np.hypot(foot[:, 0], foot[:, 1])
        return straight
    half = 2.0 * math.atan(bulge)
    normal = np.array([-chord[1], chord[0]]) / length
    centre = 0.5 * (start + end) + normal * (0.5 * length / math.tan(half))
    radius = 0.5 * length / abs(math.sin(half))
    out = points - centre
    reach = np.hypot(out[:, 0], out[:, 1])
    toward_arc = -math.copysign(1.0, bulge) * (out @ normal)
    to_start = np.hypot(points[:, 0] - start[0], points[:, 1] - start[1])
    to_end = np.hypot(points[:, 0] - end[0], points[:, 1] - end[1])
    beside = toward_arc >= reach * math.cos(half)
    found: FloatArray = np.where(beside, np.abs(reach - radius), np.minimum(to_start, to_end))
    return found


def distances_to_curve(points: FloatArray, curve: Curve) -> FloatArray:
    """(n,) float64: the exact distance of each of (n, 2) points from a closed curve, in mm."""
    points = np.asarray(points, dtype=np.float64).reshape(-1, 2)
    nearest = np.full(len(points), np.inf)
    ends = np.roll(curve.points_mm, -1, axis=0)
    for start, end, bulge in zip(curve.points_mm, ends, curve.bulges, strict=True):
        np.minimum(nearest, distances_to_element(points, start, end, float(bulge)), out=nearest)
    return nearest
