"""Joints set into a curve without changing its shape."""

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from layflat.base import FloatArray
from layflat.pattern.curve import element_lengths_mm, points_along
from layflat.pattern.piece import Curve

_AT_JOINT_MM = 1e-3

Place = tuple[int, float]
"""An element of a curve, and how far along it, 0 to 1."""


def nearest_place(curve: Curve, point_mm: tuple[float, float] | FloatArray) -> Place:
    """The place on a curve that is nearest to a point; one at a joint is at its element's start."""
    point = np.asarray(point_mm, np.float64)
    starts, ends = curve.points_mm, np.roll(curve.points_mm, -1, axis=0)
    best, found = math.inf, (0, 0.0)
    for i, (start, end, bulge) in enumerate(zip(starts, ends, curve.bulges, strict=True)):
        part = _nearest_part(start, end, float(bulge), point)
        away = float(np.hypot(*(_at(curve, i, part) - point)))
        if away < best - 1e-9:
            best, found = away, (i, part)
    i, part = found
    length = float(element_lengths_mm(curve)[i])
    if part * length < _AT_JOINT_MM:
        return i, 0.0
    if (1.0 - part) * length < _AT_JOINT_MM:
        return (i + 1) % len(starts), 0.0
    return i, part


def with_joints(curve: Curve, places: Sequence[Place]) -> tuple[Curve, list[int]]:
    """The same curve with a joint at each place, and which joints these are.

    Args:
        curve: the curve.
        places: in ascending order.
    """
    points: list[FloatArray] = []
    bulges: list[float] = []
    joints: list[int] = []
    for i, (start, bulge) in enumerate(zip(curve.points_mm, curve.bulges, strict=True)):
        here = sorted(part for element, part in places if element == i)
        angle = math.atan(float(bulge))
        stops = [0.0, *(part for part in here if part > 0.0), 1.0]
        if here and here[0] == 0.0:
            joints.append(len(points))
        for first, last in pairwise(stops):
            if first > 0.0:
                joints.append(len(points))
            points.append(_at(curve, i, first) if first > 0.0 else start)
            bulges.append(math.tan(angle * (last - first)))
    return Curve(np.array(points), np.array(bulges)), joints


def _centre(start: FloatArray, end: FloatArray, bulge: float) -> FloatArray:
    chord = end - start
    left = np.array([-chord[1], chord[0]])
    centre: FloatArray = 0.5 * (start + end) + left * (1.0 - bulge**2) / (4.0 * bulge)
    return centre


def _at(curve: Curve, element: int, part: float) -> FloatArray:
    point: FloatArray = points_along(curve, np.array([element]), np.array([part]))[0]
    return point


def _nearest_part(start: FloatArray, end: FloatArray, bulge: float, point: FloatArray) -> float:
    chord = end - start
    if bulge == 0.0:
        size = float(chord @ chord)
        return 0.0 if size == 0.0 else float(np.clip((point - start) @ chord / size, 0.0, 1.0))
    centre = _centre(start, end, bulge)
    whole = 4.0 * math.atan(bulge)
    one, two = start - centre, point - centre
    angle = math.atan2(float(one[0] * two[1] - one[1] * two[0]), float(one @ two))
    if whole < 0.0:
        angle, whole = -angle, -whole
    angle %= 2.0 * math.pi
    if angle <= whole:
        return angle / whole
    # Beyond the arc the nearer end is nearest.
    near_start = np.hypot(*(point - start)) <= np.hypot(*(point - end))
    return 0.0 if near_start else 1.0
