"""Lines and arcs along one stretch of a polyline, few and smoothly joined."""

import math
from dataclasses import dataclass

import numpy as np

from layflat.base import FloatArray, IntArray
from layflat.pattern.arcs import Biarc, distances_to_element, merged
from layflat.pattern.joints import Candidates, candidates
from layflat.pattern.spans import greatest_deviations

Element = tuple[FloatArray, float]
"""An element's end point and its bulge."""

_MOST_TURN = math.radians(160.0)
_SHARE = 0.9
"""Part of the tolerance that a span may use; the rest is for merged arcs and rounding."""

_LOOSE_BELLY = 0.02
"""Belly of a short step over its length: that of an arc which turns by 9°."""

_STRAIGHT_SHARE = 0.5
_MERGED_SHARE = 0.2
_GROWTH = 1.35
_BATCH = 4
_REFINED = 10
_BEND_REACH = 3


@dataclass(frozen=True, eq=False)
class _Way:
    """A biarc from one joint to another within the tolerance.

    Attributes:
        to: the vertex that it reaches.
        leaving: the tangent at the first.
        point, tangent: the other.
        biarc: its two arcs; None for a straight step.
    """

    to: int
    leaving: FloatArray
    point: FloatArray
    tangent: FloatArray
    biarc: Biarc | None


def fit_stretch(
    points: FloatArray, *, tolerance: float, closed: bool
) -> tuple[FloatArray, FloatArray]:
    """Few lines and arcs past the points of a line, smooth where they join.

    From each joint all biarcs to the candidates (`layflat.pattern.joints`) for the next are tried,
    at vertices farther and farther on, for those that pass every vertex between within the
    tolerance; the farthest is taken.

    Args:
        points: (m + 1, 2) float64; a closed line repeats its first point at the end.
        tolerance: greatest distance of a point from the fit, mm; 0 keeps every point.
        closed: whether it is a closed line without corners.

    Returns:
        (k + 1, 2) joints, both ends among them, and the (k,) bulges between.
    """
    last = len(points) - 1
    if tolerance > 0.0 and not closed and _is_straight(points, tolerance):
        return points[[0, last]], np.zeros(1)
    if tolerance == 0.0 or last < 3:
        return points, np.zeros(last)
    walk = _Walk(points, candidates(points, tolerance=tolerance, closed=closed))
    start, elements = walk.elements()
    joints = np.array([start, *(point for point, _ in elements)])
    return joints, np.array([bulge for _, bulge in elements])


def _is_straight(points: FloatArray, tolerance: float) -> bool:
    away = distances_to_element(points, points[0], points[-1], 0.0)
    return bool(away.max() <= _STRAIGHT_SHARE * tolerance)


def _with_middles(points: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The points with the chords' middles between them, and how much the middles may be off more.

    The line that the points sample lies off a chord of length c by its sagitta, k c² / 8 for the
    curvature k: the lesser of those at the chord's ends, so that no bend spreads into a straight.
    Curvature is the turn between chords over some vertices, for noise bends short ones most.
    """
    count = len(points)
    at = np.arange(count)
    behind = points - points[np.maximum(at - _BEND_REACH, 0)]
    ahead = points[np.minimum(at + _BEND_REACH, count - 1)] - points
    cross = behind[:, 0] * ahead[:, 1] - behind[:, 1] * ahead[:, 0]
    turns = np.arctan2(cross, np.sum(behind * ahead, axis=1))
    bends = 2.0 * turns / (np.hypot(*behind.T) + np.hypot(*ahead.T))
    bends[[0, -1]] = bends[[1, -2]]
    one, two = bends[:-1], bends[1:]
    bend = np.where(one * two > 0, np.minimum(np.abs(one), np.abs(two)), 0.0)
    lengths = np.hypot(*np.diff(points, axis=0).T)
    every = np.empty((2 * len(points) - 1, 2))
    every[::2], every[1::2] = points, 0.5 * (points[:-1] + points[1:])
    allowance = np.zeros(len(every))
    allowance[1::2] = bend * lengths**2 / 8.0
    return every, allowance


class _Walk:
    """Goes along a stretch from joint to joint."""

    def __init__(self, points: FloatArray, offered: Candidates) -> None:
        self.points, self.allowance = _with_middles(points)
        self.offered = offered
        self.tolerance = offered.tolerance
        self.last = len(points) - 1
        steps = np.hypot(*np.diff(points, axis=0).T)
        self.along = np.concatenate(([0.0], np.cumsum(steps)))

    def elements(self) -> tuple[FloatArray, list[Element]]:
        """The first joint's place and all elements in order."""
        firsts = self.offered.at(np.array([0]))
        ways = [self._way(0, *first) for first in zip(firsts.points, firsts.tangents, strict=True)]
        found = [way for way in ways if way is not None]
        # The first of equals: tangents are offered from the smoothest on.
        way = max(found, key=lambda way: way.to) if found else None
        elements: list[Element] = []
        here, at, leaving = 0, firsts.points[0], firsts.tangents[0]
        while here < self.last:
            way = way or self._short_step(here, at, leaving)
            elements += self._elements(at, way)
            here, at, leaving = way.to, way.point, way.tangent
            way = self._way(here, at, leaving) if here < self.last else None
        return firsts.points[0], elements

    def _short_step(self, here: int, point: FloatArray, tangent: FloatArray) -> _Way:
        """A step to the next vertex where no biarc keeps near the chord: the nearest there is."""
        there = here + 1
        found = self._within(here, point, tangent, np.array([there]), loose=True)
        if found is not None:
            return found
        # The tangents point apart: along the chord, with a kink, nothing is astray.
        ends = self.offered.at(np.array([there]))
        return _Way(there, tangent, ends.points[0], ends.tangents[0], None)

    def _way(self, here: int, point: FloatArray, tangent: FloatArray) -> _Way | None:
        """The biarc from a joint that reaches farthest within the tolerance, if there is any.

        Vertices are tried in growing strides as long as any is reached, then between the last
        stride that was and the next.
        """
        strides = self._strides(here)
        reached: _Way | None = None
        for low in range(0, len(strides), _BATCH):
            found = self._within(here, point, tangent, strides[low : low + _BATCH])
            if found is None:
                break
            reached = found
        if reached is None:
            return None
        good = reached.to
        bad = next((int(v) for v in strides if v > good), self.last + 1)
        if bad - good > 1:
            count = min(bad - good, _REFINED)
            between = np.unique(np.linspace(good, bad - 1, count).astype(np.int64))
            reached = self._within(here, point, tangent, between) or reached
        return reached

    def _strides(self, here: int) -> IntArray:
        """The vertices that are tried first: the next, and others ever farther apart."""
        found, step = [], 1
        while here + step < self.last:
            found.append(here + step)
            step = max(step + 1, int(_GROWTH * step))
        return np.array([*found, self.last])

    def _within(
        self,
        here: int,
        point: FloatArray,
        tangent: FloatArray,
        vertices: IntArray,
        *,
        loose: bool = False,
    ) -> _Way | None:
        """The best biarc to the candidates at some vertices that keeps the tolerance.

        It is the one that reaches farthest, among such the one that lies nearest. With *loose* it
        may lie a little farther away.
        """
        ends = self.offered.at(vertices)
        between = slice(2 * here, 2 * int(vertices[-1]) + 1)
        found, away = greatest_deviations(
            self.points[between],
            self.allowance[between],
            2 * (ends.at - here) + 1,
            point,
            tangent,
            ends,
        )
        limit = _SHARE * self.tolerance
        walked = self.along[ends.at] - self.along[here]
        turned = 2.0 * np.abs(found.halves).sum(axis=0)
        with np.errstate(invalid="ignore"):
            good = (
                (away <= limit + (_LOOSE_BELLY * walked if loose else 0.0))
                & (turned <= _MOST_TURN)
                & (found.lengths_mm <= 1.1 * walked + 2.0 * limit)
            )
        which = np.flatnonzero(good)
        if not len(which):
            return None
        best = which[np.lexsort((away[which], -ends.at[which]))[0]]
        first, second = np.tan(0.5 * found.halves[:, best]).tolist()
        return _Way(
            int(ends.at[best]),
            tangent,
            ends.points[best],
            ends.tangents[best],
            Biarc(found.middles[best], (first, second)),
        )

    def _elements(self, at: FloatArray, way: _Way) -> list[Element]:
        """The arcs of a way; one line or arc where nobody could tell the two from it."""
        if way.biarc is None:
            return [(way.point, 0.0)]
        slack = _MERGED_SHARE * self.tolerance
        one = merged(at, way.leaving, way.point, way.tangent, slack_mm=slack)
        if one is not None:
            return [(way.point, one)]
        return [(way.biarc.middle, way.biarc.bulges[0]), (way.point, way.biarc.bulges[1])]
