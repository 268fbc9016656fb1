"""The pattern's lines as the check of a cut program sees them: points, distances, corners."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import STRtree

from layflat.base import FloatArray, IntArray
from layflat.pattern import Curve, Pattern, corners, sample

_DEVIATION_MM = 0.002
_SPACING_MM = 0.5
_CORNER_TURN_DEG = 10.0


BoolArray: TypeAlias = NDArray[np.bool_]


def _stretches_tree(polylines: Sequence[FloatArray]) -> STRtree:
    """A tree of the straight stretches of some polylines."""
    ends = [np.stack((points[:-1], points[1:]), axis=1) for points in polylines]
    return STRtree(np.asarray(shapely.linestrings(np.concatenate(ends))))


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
        tree: the stretches between the points.
    """

    piece: int
    cut_out: int | None
    name: str
    points_mm: FloatArray
    spacings_mm: FloatArray
    corners_mm: FloatArray
    tree: STRtree

    @property
    def length_mm(self) -> float:
        """The line's length."""
        return float(self.spacings_mm.sum())

    def holds(self, point_mm: FloatArray) -> bool:
        """Whether the line runs round a point."""
        return bool(shapely.contains_xy(shapely.Polygon(self.points_mm), *point_mm))

    def distances(self, points_mm: FloatArray) -> FloatArray:
        """(m,) float64: distances of points from the line."""
        _, found = self.tree.query_nearest(
            shapely.points(points_mm), all_matches=False, return_distance=True
        )
        return found

    def distances_from(self, cuts: Sequence[FloatArray]) -> FloatArray:
        """(n,) float64: distances of the line's points from cuts, each a polyline."""
        long = [cut for cut in cuts if len(cut) > 1]
        if not long:
            return np.full(len(self.points_mm), np.inf)
        tree = _stretches_tree(long)
        _, found = tree.query_nearest(
            shapely.points(self.points_mm), all_matches=False, return_distance=True
        )
        return found

    def at_corner(self, points_mm: FloatArray, zone_mm: float) -> BoolArray:
        """(m,) bool: which points lie within a distance of a corner."""
        if not len(self.corners_mm):
            return np.zeros(len(points_mm), dtype=bool)
        near = STRtree(np.asarray(shapely.points(self.corners_mm))).query(
            shapely.points(points_mm), predicate="dwithin", distance=zone_mm
        )
        found = np.zeros(len(points_mm), dtype=bool)
        found[near[0]] = True
        return found

    def run_mm(self, cut_mm: FloatArray) -> float:
        """How far a cut gets along the line, turning back subtracted; each round counts."""
        found = self.tree.query_nearest(shapely.points(cut_mm), all_matches=False)[1]
        starts = self.points_mm[found]
        steps = np.roll(self.points_mm, -1, axis=0)[found] - starts
        spacing = self.spacings_mm[found]
        part = np.clip(np.sum((cut_mm - starts) * steps, axis=1) / spacing**2, 0.0, 1.0)
        before = np.concatenate(([0.0], np.cumsum(self.spacings_mm)[:-1]))
        moved = np.diff(before[found] + part * spacing)
        half = 0.5 * self.length_mm
        return abs(float(np.sum(np.remainder(moved + half, self.length_mm) - half)))


def _line(curve: Curve, *, piece: int, cut_out: int | None, name: str) -> Line:
    points = sample(curve, deviation_mm=_DEVIATION_MM)
    closed = shapely.LineString(np.vstack((points, points[:1]))).segmentize(_SPACING_MM)
    dense = np.asarray(shapely.remove_repeated_points(closed).coords, dtype=np.float64)
    return Line(
        piece=piece,
        cut_out=cut_out,
        name=name,
        points_mm=dense[:-1],
        spacings_mm=np.hypot(*np.diff(dense, axis=0).T),
        corners_mm=curve.points_mm[corners(curve, least_turn_deg=_CORNER_TURN_DEG)],
        tree=_stretches_tree([dense]),
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
class Lines:
    """All lines of a section, to ask for the nearest.

    Attributes:
        lines: in order.
        tree: the stretches of all of them.
        owner: (n,) int64, the index of the line that each stretch belongs to.
    """

    lines: tuple[Line, ...]
    tree: STRtree
    owner: IntArray

    def nearest(self, points_mm: FloatArray) -> tuple[IntArray, FloatArray]:
        """The index (m,) of the line nearest to each point, and the distance (m,) in mm."""
        found, distance = self.tree.query_nearest(
            shapely.points(points_mm), all_matches=False, return_distance=True
        )
        return self.owner[found[1]], distance


def all_lines(patterns: Sequence[Pattern]) -> Lines:
    """The lines of the pieces of a section."""
    lines = _lines_of(patterns)
    closed = [np.vstack((line.points_mm, line.points_mm[:1])) for line in lines]
    counts = [len(line.points_mm) for line in lines]
    return Lines(
        lines=tuple(lines),
        tree=_stretches_tree(closed),
        owner=np.repeat(np.arange(len(lines), dtype=np.int64), counts),
    )
