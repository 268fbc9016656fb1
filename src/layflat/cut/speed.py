"""How fast a cut may be: slower where its way is bent, as far as the machine can be told.

A head that goes round a curve of radius r at the speed v is held on it by the acceleration v²/r.
Where that is to be at most a, the machine's own, v is at most sqrt(a r). Speeds are told in few
steps, each half of the one above. A faster stretch is told only where it is long enough for the
head to get up to its speed and down again: (v² - u²)/a from a slower speed u and back to it.
"""

import math

import numpy as np

from layflat.base import FloatArray, IntArray
from layflat.cut.machine import Machine

_WINDOWS_MM = (0.5, 1.0, 2.0, 5.0, 10.0)
_KINK_RAD = 0.2
"""How far a way may turn at one joint, or by rounding, without being told slower for it."""

_SLACK = 1.4
"""How much more than its radii say a way may turn within a window, for the same reason."""

_SAME = 1e-9


def full_speed(machine: Machine) -> int:
    """The speed of cutting as the machine is told it, in its own unit."""
    return max(1, round(machine.cut_speed_mm_s / machine.speed_unit_mm_s))


def speed_steps(machine: Machine) -> list[int]:
    """The speeds that it may be told, the fastest first, its least or just above it last."""
    least = max(1, math.ceil(machine.least_speed_mm_s / machine.speed_unit_mm_s - _SAME))
    steps = [full_speed(machine)]
    while steps[-1] > least:
        steps.append(max(steps[-1] // 2, least))
    return steps


def radii_mm(points_mm: FloatArray) -> FloatArray:
    """(n - 1,) float64: the radius that each straight stretch of a way stands for.

    A regular polygon with sides of length l that turns by t at each corner lies round a circle of
    radius l/(2 tan(t/2)); t is the greater turn at a stretch's two ends.

    Args:
        points_mm: (n, 2) float64, n >= 2, no two in a row the same.
    """
    steps = np.diff(points_mm, axis=0)
    headings = np.arctan2(steps[:, 1], steps[:, 0])
    turns = np.abs(np.remainder(np.diff(headings) + math.pi, math.tau) - math.pi)
    greater = np.maximum(np.append(0.0, turns), np.append(turns, 0.0))
    lengths = np.hypot(steps[:, 0], steps[:, 1])
    with np.errstate(divide="ignore"):
        radii: FloatArray = lengths / (2.0 * np.tan(0.5 * np.minimum(greater, 3.1)))
    return radii


def _sharpest_mm(told_mm: FloatArray) -> FloatArray:
    """(n - 1,) float64: a radius that no stretch of a told way may exceed, mostly infinite.

    A way is no circle's polygon at a kink, and rounding to whole units bends its short stretches.
    How far it turns within some lengths, less what one kink may be, tells the radius then. It is
    looked at from each joint to each other: a turn that is undone behind it counts, since the way
    behind it may be told slower. At a joint of two speeds the head goes at the slower one: of the
    two stretches beside the first joint the shorter is held, and a long line keeps its speed.

    Args:
        told_mm: (n, 2) float64, n >= 2, no two in a row the same.
    """
    steps = np.diff(told_mm, axis=0)
    lengths = np.hypot(steps[:, 0], steps[:, 1])
    headings = np.unwrap(np.arctan2(steps[:, 1], steps[:, 0]))
    joints = np.cumsum(lengths)[:-1]
    first = np.arange(len(joints))
    held = np.where(lengths[:-1] < lengths[1:], first, first + 1)
    radii = np.full(len(lengths), np.inf)
    windows = np.array(_WINDOWS_MM)
    last = first
    while len(first):
        # A joint right at a window's end is within it for one way of adding up, not for another.
        which = np.searchsorted(windows + _SAME, joints[last] - joints[first])
        inside = which < len(windows)
        first, last = first[inside], last[inside]
        turned = np.abs(headings[last + 1] - headings[first]) - _KINK_RAD
        bent = turned > _SAME
        found = _SLACK * windows[which[inside][bent]] / turned[bent]
        np.minimum.at(radii, held[first[bent]], found)
        first, last = first[last + 1 < len(joints)], last[last + 1 < len(joints)] + 1
    return radii


def told_speeds(points_mm: FloatArray, told_mm: FloatArray, machine: Machine) -> IntArray | None:
    """(n - 1,) int64: the speed that the machine is told on each stretch of a cut.

    Args:
        points_mm: (n, 2) float64, n >= 2, no two in a row the same.
        told_mm: (n, 2) float64, the same points as the machine is told them, rounded.
        machine: for its acceleration, speeds, and whether it takes them while it cuts.

    Returns:
        In the machine's own unit; None where it is told no speeds on the way.
    """
    if not machine.speed_by_curve:
        return None
    steps = np.array(speed_steps(machine), dtype=np.int64)
    radii = np.minimum(radii_mm(points_mm), _sharpest_mm(told_mm))
    most = np.sqrt(machine.acceleration_mm_s2 * radii) / machine.speed_unit_mm_s
    # The first step that is slow enough, or the last one.
    which = np.minimum(np.sum(steps[None, :] > most[:, None], axis=1), len(steps) - 1)
    lengths = np.hypot(*np.diff(points_mm, axis=0).T)
    speeds = steps.astype(np.float64) * machine.speed_unit_mm_s
    return steps[_worth_it(which, lengths, speeds, machine)]


def _worth_it(
    which: IntArray, lengths_mm: FloatArray, speeds_mm_s: FloatArray, machine: Machine
) -> IntArray:
    """The steps of each stretch, with runs slowed step by step that are too short for theirs."""
    now = which.copy()
    while True:
        starts = np.flatnonzero(np.append(True, np.diff(now) != 0))
        runs = now[starts]
        far = np.iinfo(np.int64).max
        before, after = np.append(far, runs[:-1]), np.append(runs[1:], far)
        # A greater step is a slower speed; where a cut begins or ends there is none beside.
        beside = np.minimum(
            np.where(before > runs, before, far), np.where(after > runs, after, far)
        )
        between = (before > runs) & (after > runs)
        slowed = np.where(beside == far, runs, beside)
        gain = speeds_mm_s[runs] ** 2 - speeds_mm_s[slowed] ** 2
        least = gain / machine.acceleration_mm_s2
        short = between & (np.add.reduceat(lengths_mm, starts) < least)
        if not bool(short.any()):
            return now
        runs = np.where(short, runs + 1, runs)
        now = np.repeat(runs, np.diff(np.append(starts, len(now))))
