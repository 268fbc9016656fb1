"""How long a run of the head takes, with acceleration.

On a straight stretch the speed follows a trapezoid, or a triangle where the stretch is too
short to reach the greatest speed. At a joint the speed is limited so that rounding it off by
the junction deviation d keeps the sideways acceleration within a: the circle that touches both
stretches and passes the joint at the distance d has the radius d c / (1 - c) with
c = cos(turn/2), hence v² = a d c / (1 - c). A turn back stops the head. Limits are carried
backward and forward along the run, so that every stretch can be braked in time.
"""

import math

import numpy as np
from numpy.typing import ArrayLike

from layflat.base import FloatArray


def stretch_seconds(
    length_mm: float,
    start_mm_s: float,
    end_mm_s: float,
    *,
    speed_mm_s: float,
    acceleration_mm_s2: float,
) -> float:
    """Seconds over a straight stretch, entered and left at given speeds; exact.

    The speeds at the ends must be reachable from each other within the stretch.
    """
    a = acceleration_mm_s2
    peak = math.sqrt(max(0.0, a * length_mm + 0.5 * (start_mm_s**2 + end_mm_s**2)))
    top = max(min(peak, speed_mm_s), start_mm_s, end_mm_s)
    ramps = (2.0 * top**2 - start_mm_s**2 - end_mm_s**2) / (2.0 * a)
    steady = max(0.0, length_mm - ramps) / top if top > 0.0 else 0.0
    return (2.0 * top - start_mm_s - end_mm_s) / a + steady


def junction_speeds(
    points_mm: FloatArray, *, speed_mm_s: float, acceleration_mm_s2: float, deviation_mm: float
) -> FloatArray:
    """(n,) float64: the greatest speed at each point of a polyline; 0 at both ends."""
    steps = np.diff(points_mm, axis=0)
    headings = np.arctan2(steps[:, 1], steps[:, 0])
    turn = np.abs(np.remainder(np.diff(headings) + np.pi, 2.0 * np.pi) - np.pi)
    cos = np.clip(np.cos(0.5 * turn), 0.0, 1.0)
    with np.errstate(divide="ignore"):
        joint = np.sqrt(acceleration_mm_s2 * deviation_mm * cos / (1.0 - cos))
    limits = np.zeros(len(points_mm))
    limits[1:-1] = np.minimum(joint, speed_mm_s)
    return limits


def run_seconds(
    points_mm: ArrayLike, *, speed_mm_s: float, acceleration_mm_s2: float, deviation_mm: float
) -> float:
    """Seconds for a run along a polyline, from rest to rest.

    Args:
        points_mm: (n, 2) float64, n >= 1; repeated points are taken as one.
        speed_mm_s: the greatest speed, above 0.
        acceleration_mm_s2: the greatest acceleration, along the path and across it; above 0.
        deviation_mm: how far the head may round off a joint; above 0.
    """
    points = np.asarray(points_mm, dtype=np.float64).reshape(-1, 2)
    keep = np.ones(len(points), dtype=bool)
    keep[1:] = np.any(np.diff(points, axis=0) != 0.0, axis=1)
    points = points[keep]
    if len(points) < 2:
        return 0.0
    lengths = np.hypot(*np.diff(points, axis=0).T).tolist()
    speeds = junction_speeds(
        points,
        speed_mm_s=speed_mm_s,
        acceleration_mm_s2=acceleration_mm_s2,
        deviation_mm=deviation_mm,
    ).tolist()
    gain = 2.0 * acceleration_mm_s2
    for i in range(len(lengths) - 1, -1, -1):
        speeds[i] = min(speeds[i], math.sqrt(speeds[i + 1] ** 2 + gain * lengths[i]))
    total = 0.0
    for i, length in enumerate(lengths):
        speeds[i + 1] = min(speeds[i + 1], math.sqrt(speeds[i] ** 2 + gain * length))
        total += stretch_seconds(
            length,
            speeds[i],
            speeds[i + 1],
            speed_mm_s=speed_mm_s,
            acceleration_mm_s2=acceleration_mm_s2,
        )
    return total
