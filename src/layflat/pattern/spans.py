"""Many biarcs at once: from one joint to every candidate for the next.

A *joint* is a point with a unit tangent.
"""

import math
from typing import NamedTuple

import numpy as np

from layflat.base import FloatArray, IntArray

_EQUAL_TANGENTS = 1e-12
_MOST_AT_ONCE = 1_000_000


class Joints(NamedTuple):
    """Candidates for joints.

    Attributes:
        at: (c,) int64, the vertex that each stands at.
        points: (c, 2) float64.
        tangents: (c, 2) float64, unit vectors.
    """

    at: IntArray
    points: FloatArray
    tangents: FloatArray

    def pick(self, which: IntArray | slice) -> "Joints":
        """Some of the candidates."""
        return Joints(self.at[which], self.points[which], self.tangents[which])


class Biarcs(NamedTuple):
    """One biarc per candidate; where there is none, the middle is not finite.

    Attributes:
        middles: (c, 2) float64, where the two arcs meet.
        tangents: (c, 2) float64, the unit direction there.
        halves: (2, c) float64, half the angle that the first and the second arc turn by.
        curvatures: (2, c) float64, of the two arcs, left positive, in 1/mm.
        lengths_mm: (c,) float64, of both arcs together.
    """

    middles: FloatArray
    tangents: FloatArray
    halves: FloatArray
    curvatures: FloatArray
    lengths_mm: FloatArray


def biarcs(start: FloatArray, leaving: FloatArray, ends: Joints) -> Biarcs:
    """The biarcs with equal tangent lengths from one joint to each of the others.

    With v from start to end, t the sum of the directions and d the tangent length, the middle
    lies half-way between start + d leaving and end - d arriving, where
    v·v - 2 d v·t - 2 d² (1 - leaving·arriving) = 0 (K. M. Bolton, Biarc curves, Computer-Aided
    Design 7 (1975) 89-92; from memory). There is none where no such length exists or one arc
    would turn by a half circle or more.
    """
    across = ends.points - start
    along = across @ leaving + np.sum(across * ends.tangents, axis=1)
    square = np.sum(across * across, axis=1)
    spread = 2.0 * (1.0 - ends.tangents @ leaving)
    with np.errstate(divide="ignore", invalid="ignore"):
        root = np.sqrt(along * along + spread * square)
        # The first form has no difference of near numbers; both give the same length.
        tangent = np.where(along > 0, square / (along + root), (root - along) / spread)
        tangent[(spread < _EQUAL_TANGENTS) & (along <= 0)] = np.nan
        tangent = np.where(tangent > 0, tangent, np.nan)
        middles = 0.5 * (ends.points + start + tangent[:, None] * (leaving - ends.tangents))
        first, second = middles - start, ends.points - middles
        halves = np.stack((_angles(leaving[None], first), _angles(second, ends.tangents)))
        chords = np.stack((np.hypot(*first.T), np.hypot(*second.T)))
        curvatures = 2.0 * np.sin(halves) / chords
        lengths = np.sum(chords / np.sinc(halves / math.pi), axis=0)
        gentle = np.abs(halves).max(axis=0) < 0.5 * math.pi
    middles = np.where(gentle[:, None], middles, np.nan)
    return Biarcs(middles, _turned(leaving, 2.0 * halves[0]), halves, curvatures, lengths)


def greatest_deviations(
    points: FloatArray,
    allowance: FloatArray,
    counts: IntArray,
    start: FloatArray,
    leaving: FloatArray,
    ends: Joints,
) -> tuple[Biarcs, FloatArray]:
    """The biarcs, and how far the points that each has to pass lie from it, less their allowance.

    The distance of a point (x, y) from the circle of curvature k that leaves the origin along the
    x axis is 2 q / (1 + sqrt(1 - 2 k q)) with q = y - k (x² + y²) / 2: exact, and as good for a
    straight line as for an arc. Which of the two arcs a point is measured from is told by the
    line through the middle that is square to it.

    Args:
        points: (n, 2) float64, the points after the first joint in order.
        allowance: (n,) float64, mm, how much farther than others each may lie away.
        counts: (c,) int64, how many of them each biarc passes; at least 1.
        start, leaving: the first joint.
        ends: the (c,) candidates for the second.

    Returns:
        The biarcs and (c,) float64 mm; not finite where there is no biarc.
    """
    found = biarcs(start, leaving, ends)
    most = np.empty(len(counts))
    block = max(1, _MOST_AT_ONCE // len(points))
    for low in range(0, len(counts), block):
        part = slice(low, low + block)
        reach = int(counts[part].max())
        away = _away(points[:reach], found, part) - allowance[:reach]
        away[np.arange(reach)[None] >= counts[part][:, None]] = 0.0
        most[part] = away.max(axis=1)
    return found, most


def _away(points: FloatArray, found: Biarcs, part: slice) -> FloatArray:
    """(c, n) float64: how far each point lies from each of some biarcs."""
    tx, ty = found.tangents[part, :1], found.tangents[part, 1:]
    x = points[None, :, 0] - found.middles[part, :1]
    y = points[None, :, 1] - found.middles[part, 1:]
    bends = found.curvatures[:, part, None]
    bend = np.where(tx * x + ty * y > 0, bends[1], bends[0])
    q = tx * y - ty * x - 0.5 * bend * (x * x + y * y)
    away: FloatArray = np.abs(2.0 * q / (1.0 + np.sqrt(np.maximum(1.0 - 2.0 * bend * q, 0.0))))
    return away


def _angles(one: FloatArray, two: FloatArray) -> FloatArray:
    angles: FloatArray = np.arctan2(
        one[:, 0] * two[:, 1] - one[:, 1] * two[:, 0], np.sum(one * two, axis=1)
    )
    return angles


def _turned(direction: FloatArray, angles: FloatArray) -> FloatArray:
    cos, sin = np.cos(angles), np.sin(angles)
    return np.column_stack(
        (direction[0] * cos - direction[1] * sin, direction[0] * sin + direction[1] * cos)
    )
