"""How long a run of the head takes, with acceleration.

On a straight stretch the speed follows a trapezoid, or a triangle where the stretch is too
short to reach the greatest speed. At a joint the speed is limited so that rounding it off by
the junction deviation d keeps the sideways acceleration within a: the circle that touches both
stretches and passes the joint at the distance d has the radius d c / (1 - c) with
c = cos(turn/2), hence v² = a d c / (1 - c). A turn back stops the head. Limits are carried
backward and forward along the run, so that every stretch can be braked in time.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from layflat.base import FloatArray
from layflat.cut.machine import Machine
from layflat.cut.reader import Stroke


def stretch_seconds(
    length_mm: ArrayLike,
    start_mm_s: ArrayLike,
    end_mm_s: ArrayLike,
    *,
    speed_mm_s: ArrayLike,
    acceleration_mm_s2: float,
) -> FloatArray:
    """Seconds over straight stretches, entered and left at given speeds; exact.

    All may be numbers or arrays alike. The speeds at the ends must be reachable from each other
    within the stretch.
    """
    length, start, end = (
        np.asarray(a, dtype=np.float64) for a in (length_mm, start_mm_s, end_mm_s)
    )
    a = acceleration_mm_s2
    peak = np.sqrt(a * length + 0.5 * (start**2 + end**2))
    top = np.maximum(np.minimum(peak, speed_mm_s), np.maximum(start, end))
    ramps = (2.0 * top**2 - start**2 - end**2) / (2.0 * a)
    steady = np.maximum(0.0, length - ramps) / np.maximum(top, np.finfo(np.float64).tiny)
    seconds: FloatArray = (2.0 * top - start - end) / a + steady
    return seconds


def junction_speeds(
    points_mm: FloatArray,
    *,
    speed_mm_s: float | FloatArray,
    acceleration_mm_s2: float,
    deviation_mm: float,
) -> FloatArray:
    """(n,) float64: the greatest speed at each point of a polyline; 0 at both ends.

    The speed is one for all, or (n - 1,) of each stretch.
    """
    steps = np.diff(points_mm, axis=0)
    headings = np.arctan2(steps[:, 1], steps[:, 0])
    turn = np.abs(np.remainder(np.diff(headings) + np.pi, 2.0 * np.pi) - np.pi)
    cos = np.clip(np.cos(0.5 * turn), 0.0, 1.0)
    with np.errstate(divide="ignore"):
        joint = np.sqrt(acceleration_mm_s2 * deviation_mm * cos / (1.0 - cos))
    limits = np.zeros(len(points_mm))
    most = np.broadcast_to(np.asarray(speed_mm_s, dtype=np.float64), (len(points_mm) - 1,))
    limits[1:-1] = np.minimum(joint, np.minimum(most[1:], most[:-1]))
    return limits


def runs_seconds(
    runs_mm: Sequence[ArrayLike],
    *,
    speeds_mm_s: Sequence[ArrayLike],
    acceleration_mm_s2: float,
    deviation_mm: float,
) -> float:
    """Seconds for runs along polylines, each from rest to rest, without the ways between them.

    Args:
        runs_mm: at least one; each (n, 2) float64, n >= 1; repeated points are taken as one.
        speeds_mm_s: for each the greatest speed, above 0; one for all of it, or (n - 1,) of each
            stretch.
        acceleration_mm_s2: the greatest acceleration, along the path and across it; above 0.
        deviation_mm: how far the head may round off a joint; above 0.
    """
    runs = [np.asarray(run, dtype=np.float64).reshape(-1, 2) for run in runs_mm]
    points = np.concatenate(runs)
    run = np.repeat(np.arange(len(runs)), [len(one) for one in runs])
    stretches = np.flatnonzero(run[1:] == run[:-1])
    most = np.zeros(len(points) - 1)
    most[stretches] = np.concatenate(
        [
            np.broadcast_to(np.asarray(speed, dtype=np.float64), (len(one) - 1,))
            for one, speed in zip(runs, speeds_mm_s, strict=True)
        ]
    )
    steps = np.diff(points, axis=0)
    keep = np.ones(len(points), dtype=bool)
    keep[1:] = np.any(steps != 0.0, axis=1) | (run[1:] != run[:-1])
    points, run, most = points[keep], run[keep], most[keep[1:]]
    steps = np.diff(points, axis=0)
    lengths = np.hypot(steps[:, 0], steps[:, 1])
    speeds = junction_speeds(
        points,
        speed_mm_s=most,
        acceleration_mm_s2=acceleration_mm_s2,
        deviation_mm=deviation_mm,
    )
    # Of the way between two runs nothing counts; its greatest speed is 0, so that the head rests at
    # both of its ends.
    lengths[run[1:] != run[:-1]] = 0.0
    # v² may change by 2 a s over the way s: each limit, carried both ways, is a line of v² over s.
    gained = 2.0 * acceleration_mm_s2 * np.concatenate(([0.0], np.cumsum(lengths)))
    squared = np.minimum.accumulate((speeds**2 + gained)[::-1])[::-1] - gained
    squared = np.minimum.accumulate(squared - gained) + gained
    speeds = np.sqrt(np.maximum(0.0, squared))
    return float(
        np.sum(
            stretch_seconds(
                lengths,
                speeds[:-1],
                speeds[1:],
                speed_mm_s=most,
                acceleration_mm_s2=acceleration_mm_s2,
            )
        )
    )


def run_seconds(
    points_mm: ArrayLike,
    *,
    speed_mm_s: ArrayLike,
    acceleration_mm_s2: float,
    deviation_mm: float,
) -> float:
    """Seconds for one run along a polyline, from rest to rest; see `runs_seconds`."""
    return runs_seconds(
        [points_mm],
        speeds_mm_s=[speed_mm_s],
        acceleration_mm_s2=acceleration_mm_s2,
        deviation_mm=deviation_mm,
    )


def stroke_seconds(stroke: Stroke, machine: Machine) -> float:
    """Seconds for one run of the head as a program tells it, the knife's own moves with it.

    Args:
        stroke: up or down; on the way down its told speeds count, where it has some.
        machine: its speeds, acceleration and the time of a move of the knife.
    """
    speed: FloatArray = np.asarray(
        machine.cut_speed_mm_s if stroke.down else machine.travel_speed_mm_s
    )
    if stroke.down and stroke.speeds:
        speed = np.minimum(speed, np.array(stroke.speeds) * machine.speed_unit_mm_s)
    run = run_seconds(
        stroke.points_mm,
        speed_mm_s=speed,
        acceleration_mm_s2=machine.acceleration_mm_s2,
        deviation_mm=machine.junction_deviation_mm,
    )
    return run + (2.0 * machine.knife_move_s if stroke.down else 0.0)
