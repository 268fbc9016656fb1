"""The pattern's lines as the check of a cut program sees them: points, distances, corners."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TypeAlias

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from shapely import STRtree

from layflat.base import FloatArray, IntArray
from layflat.pattern import Curve, Pattern, corners, sample, tangent_turns

_DEVIATION_MM = 0.002
_SPACING_MM = 0.5
_CORNER_TURN_DEG = 10.0
_APART_MM = 1e6
"""What is added to a third coordinate from line to line, so that none is near another."""

REACH_MM = 0.6
"""How far `Lines.near` looks from a place to a line's points, which lie half a millimetre apart."""

BoolArray: TypeAlias = NDArray[np.bool_]


def stretch_distances(
    points_mm: FloatArray, starts_mm: FloatArray, ends_mm: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Distances of points from straight stretches, each from its own.

    Returns:
        (m,) float64 in mm; and (m,) float64, 0 to 1, how far along its stretch each is nearest.
    """
    x, y = (ends_mm - starts_mm).T
    to_x, to_y = (points_mm - starts_mm).T
    squared = np.maximum(x * x + y * y, np.finfo(np.float64).tiny)
    part = np.clip((to_x * x + to_y * y) / squared, 0.0, 1.0)
    return np.hypot(to_x - part * x, to_y - part * y), part


@dataclass(frozen=True, eq=False)
class Line:
    """One closed line of a pattern.

    Attributes:
        piece: index of its pattern.
        cut_out: index of the cut-out, None for the outline.
        name: for messages.
        points_mm: (n, 2) float64, at most 0.5 mm apart, the first not repeated.
        spacings_mm: (n,) float64, from each point to the next.
        corners_mm: (c, 2) float64, where the direction turns by more than 10 degrees.
        turns_rad: (c,) float64, by how much it turns there, 0 to pi.
    """

    piece: int
    cut_out: int | None
    name: str
    points_mm: FloatArray
    spacings_mm: FloatArray
    corners_mm: FloatArray
    turns_rad: FloatArray

    @cached_property
    def ends_mm(self) -> FloatArray:
        """(n + 1,) float64: how far along the line each point lies, and its length."""
        return np.concatenate(([0.0], np.cumsum(self.spacings_mm)))

    @property
    def length_mm(self) -> float:
        """The line's length."""
        return float(self.ends_mm[-1])

    @cached_property
    def _tree(self) -> STRtree:
        """The stretches between the points."""
        following = np.roll(self.points_mm, -1, axis=0)
        return STRtree(
            np.asarray(shapely.linestrings(np.stack((self.points_mm, following), axis=1)))
        )

    def holds(self, point_mm: FloatArray) -> bool:
        """Whether the line runs round a point."""
        return bool(shapely.contains_xy(shapely.Polygon(self.points_mm), *point_mm))

    def distances(self, points_mm: FloatArray) -> FloatArray:
        """(m,) float64: distances of points from the line."""
        _, found = self._tree.query_nearest(
            shapely.points(points_mm), all_matches=False, return_distance=True
        )
        return found

    def along_mm(self, points_mm: FloatArray) -> FloatArray:
        """(m,) float64: where along the line it is nearest to each point."""
        found = self._tree.query_nearest(shapely.points(points_mm), all_matches=False)[1]
        following = np.roll(self.points_mm, -1, axis=0)
        _, part = stretch_distances(points_mm, self.points_mm[found], following[found])
        along: FloatArray = self.ends_mm[found] + part * self.spacings_mm[found]
        return along

    def at_mm(self, along_mm: FloatArray) -> FloatArray:
        """(m, 2) float64: the places at distances along the line, any number of times round."""
        closed = np.vstack((self.points_mm, self.points_mm[:1]))
        along = np.remainder(along_mm, self.length_mm)
        return np.column_stack([np.interp(along, self.ends_mm, closed[:, axis]) for axis in (0, 1)])


def _line(curve: Curve, *, piece: int, cut_out: int | None, name: str) -> Line:
    joints = sample(curve, deviation_mm=_DEVIATION_MM)
    steps = np.diff(joints, axis=0, append=joints[:1])
    lengths = np.hypot(steps[:, 0], steps[:, 1])
    counts = np.ceil(lengths / _SPACING_MM).astype(np.int64)
    joint = np.repeat(np.arange(len(joints)), counts)
    number = np.arange(len(joint)) - np.repeat(np.cumsum(counts) - counts, counts)
    part = number / counts[joint]
    sharp = corners(curve, least_turn_deg=_CORNER_TURN_DEG)
    return Line(
        piece=piece,
        cut_out=cut_out,
        name=name,
        points_mm=joints[joint] + part[:, None] * steps[joint],
        spacings_mm=lengths[joint] / counts[joint],
        corners_mm=curve.points_mm[sharp],
        turns_rad=np.abs(tangent_turns(curve)[sharp]),
    )


def _lines_of(patterns: Sequence[Pattern]) -> list[Line]:
    """The lines of some patterns: for each its outline, then its cut-outs."""
    found = []
    for i, pattern in enumerate(patterns):
        found.append(
            _line(pattern.outline, piece=i, cut_out=None, name=f"outline of {pattern.name}")
        )
        found += [
            _line(hole, piece=i, cut_out=k, name=f"cut-out {k + 1} of {pattern.name}")
            for k, hole in enumerate(pattern.cut_outs)
        ]
    return found


@dataclass(frozen=True, eq=False)
class Near:
    """Which line lies near each of some points.

    Attributes:
        line: (m,) int64, the nearest line, or the number of lines where none is near.
        distance_mm: (m,) float64, from that line, hardly ever more than the least; infinite where
            none is near.
        along_mm: (m,) float64, how far along it.
    """

    line: IntArray
    distance_mm: FloatArray
    along_mm: FloatArray

    def part(self, which: slice | IntArray) -> "Near":
        """What lies near some of the points."""
        return Near(
            line=self.line[which],
            distance_mm=self.distance_mm[which],
            along_mm=self.along_mm[which],
        )


@dataclass(frozen=True, eq=False)
class Lines:
    """All lines of a section, to ask for the nearest.

    Attributes:
        lines: in order.
        points_mm: (n, 2) float64, the points of all lines.
        owner: (n,) int64, the index of the line that each point belongs to.
        along_mm: (n,) float64, how far along its line each point lies.
        spacings_mm: (n,) float64, from each point to the next of its line.
    """

    lines: tuple[Line, ...]
    points_mm: FloatArray
    owner: IntArray
    along_mm: FloatArray
    spacings_mm: FloatArray

    @cached_property
    def lengths_mm(self) -> FloatArray:
        """(k,) float64: the length of every line."""
        return np.array([line.length_mm for line in self.lines])

    @cached_property
    def _neighbours(self) -> tuple[IntArray, IntArray]:
        """The points before and after each, round each line."""
        first = np.searchsorted(self.owner, np.arange(len(self.lines)))
        last = np.append(first[1:], len(self.owner)) - 1
        before, after = np.arange(len(self.owner)) - 1, np.arange(len(self.owner)) + 1
        before[first], after[last] = last, first
        return before, after

    @cached_property
    def _points_tree(self) -> cKDTree:
        return cKDTree(self.points_mm, balanced_tree=False, compact_nodes=False)

    @cached_property
    def _stretches_tree(self) -> STRtree:
        ends = np.stack((self.points_mm, self.points_mm[self._neighbours[1]]), axis=1)
        return STRtree(np.asarray(shapely.linestrings(ends)))

    @cached_property
    def _corners_tree(self) -> cKDTree:
        corners_mm = np.concatenate([line.corners_mm for line in self.lines])
        owner = np.repeat(np.arange(len(self.lines)), [len(one.corners_mm) for one in self.lines])
        return cKDTree(np.column_stack((corners_mm, _APART_MM * owner)))

    def near(self, points_mm: FloatArray) -> Near:
        """The line near each point, as the two stretches beside the nearest of its points say.

        Quick, and no distance is below the true one: what it finds too far is to be asked again.
        """
        _, nearest = self._points_tree.query(points_mm, distance_upper_bound=REACH_MM)
        closest: IntArray = np.asarray(nearest, dtype=np.int64)
        found = np.flatnonzero(closest < len(self.owner))
        at, points = closest[found], points_mm[found]
        before, after = (side[at] for side in self._neighbours)
        here = self.points_mm[at]
        distance, part = stretch_distances(points, here, self.points_mm[after])
        behind, back = stretch_distances(points, here, self.points_mm[before])
        along = self.along_mm[at] + np.where(
            behind < distance, -back * self.spacings_mm[before], part * self.spacings_mm[at]
        )
        count = len(points_mm)
        near = Near(
            line=np.full(count, len(self.lines), dtype=np.int64),
            distance_mm=np.full(count, np.inf),
            along_mm=np.zeros(count),
        )
        near.line[found] = self.owner[at]
        near.distance_mm[found] = np.minimum(distance, behind)
        near.along_mm[found] = np.remainder(along, self.lengths_mm[self.owner[at]])
        return near

    def nearest(self, points_mm: FloatArray) -> tuple[IntArray, FloatArray]:
        """The index (m,) of the line nearest to each point, and the distance (m,) in mm."""
        found, distance = self._stretches_tree.query_nearest(
            shapely.points(points_mm), all_matches=False, return_distance=True
        )
        return self.owner[found[1]], distance

    def at_corner(self, points_mm: FloatArray, line: IntArray, zone_mm: float) -> BoolArray:
        """(m,) bool: which points lie within a distance of a corner of their line (m,)."""
        if not self._corners_tree.n:
            return np.zeros(len(points_mm), dtype=bool)
        found = np.array([len(one.corners_mm) > 0 for one in self.lines])[line]
        places = np.column_stack((points_mm[found], _APART_MM * line[found]))
        distance, _ = self._corners_tree.query(places, distance_upper_bound=2.0 * zone_mm)
        found[found] = distance <= zone_mm
        return found


def all_lines(patterns: Sequence[Pattern]) -> Lines:
    """The lines of the pieces of a section."""
    lines = tuple(_lines_of(patterns))
    return Lines(
        lines=lines,
        points_mm=np.concatenate([line.points_mm for line in lines]),
        owner=np.repeat(np.arange(len(lines)), [len(line.points_mm) for line in lines]),
        along_mm=np.concatenate([line.ends_mm[:-1] for line in lines]),
        spacings_mm=np.concatenate([line.spacings_mm for line in lines]),
    )
