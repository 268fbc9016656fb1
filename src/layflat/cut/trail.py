"""Which cut follows which line, and where along it and how far beside it the tip then is.

Distances are first found quickly, from what lies near, and are never below the true ones. What
might then be refused is measured again, against all of a line or of the cuts that follow it.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely

from layflat.base import FloatArray, IntArray
from layflat.cut.line import BoolArray, Lines, Near, stretch_distances
from layflat.cut.tip import TipPath

_ON_LINE_MM = (0.025, 0.05, 0.15)
"""A lead-in ends where the tip first comes so near: the first of these that it does."""

_NO_LEAD_MM = 0.05
"""A cut that starts so near its line has no lead-in, such as one behind a bridge."""

_NEAR_MM = 0.3
_FOLLOWS = 0.2
_LEAD_MM = 20.0
DOUBTFUL_MM = 0.025
"""A distance found quickly is measured again from here on: half of what is refused."""


@dataclass(frozen=True, eq=False)
class Trail:
    """The tip's way along the lines, lead-ins left out, in the order of cutting.

    Attributes:
        points_mm: (m, 2) float64.
        cut: (m,) int64, the index of each point's cut; rising.
        line: (m,) int64, the index of the line that it follows.
        near_mm: (m,) float64, from that line, at most.
        along_mm: (m,) float64, how far along it.
        follows: (c,) int64, the line that each cut follows, or -1.
    """

    points_mm: FloatArray
    cut: IntArray
    line: IntArray
    near_mm: FloatArray
    along_mm: FloatArray
    follows: IntArray

    @cached_property
    def _goes_on(self) -> BoolArray:
        """(m,) bool: whether the next point is of the same cut."""
        goes_on: BoolArray = np.append(self.cut[1:] == self.cut[:-1], False)
        return goes_on

    @cached_property
    def spacings_mm(self) -> FloatArray:
        """(m,) float64: how far each point lies from the one before it in its cut."""
        ways = np.diff(self.points_mm, axis=0, prepend=self.points_mm[:1])
        steps = np.hypot(ways[:, 0], ways[:, 1])
        steps[1:][~self._goes_on[:-1]] = 0.0
        return steps

    def firsts(self, lines: Lines) -> IntArray:
        """(k,) int64: the first cut that follows each line, or -1."""
        found = np.full(len(lines.lines), -1, dtype=np.int64)
        cuts = np.flatnonzero(self.follows >= 0)[::-1]
        found[self.follows[cuts]] = cuts
        return found

    def cuts_on(self, line: int) -> list[FloatArray]:
        """The ways, (n, 2) float64 each, of the cuts that follow a line."""
        return [self.points_mm[self.cut == i] for i in np.flatnonzero(self.follows == line)]

    def _moves_mm(self, lines: Lines) -> FloatArray:
        """(m - 1,) float64: how far along its line each step gets; 0 from one cut to the next."""
        length = lines.lengths_mm[self.line[:-1]]
        moved = np.remainder(np.diff(self.along_mm) + 0.5 * length, length) - 0.5 * length
        moved[~self._goes_on[:-1]] = 0.0
        return np.asarray(moved)

    def covered_mm(self, line: int, lines: Lines) -> FloatArray:
        """(k, 2) float64: where along a line each step of its cuts begins and ends, rising."""
        own = np.flatnonzero((self.line[:-1] == line) & self._goes_on[:-1])
        begin, moved = self.along_mm[own], self._moves_mm(lines)[own]
        return np.column_stack((begin + np.minimum(moved, 0.0), begin + np.maximum(moved, 0.0)))

    def runs_mm(self, lines: Lines) -> FloatArray:
        """(c,) float64: how far each cut gets along its line, turning back subtracted.

        Below 0 for a cut that runs against its line.
        """
        runs: FloatArray = np.bincount(
            self.cut[:-1], weights=self._moves_mm(lines), minlength=len(self.follows)
        ).astype(np.float64)
        return runs

    def away_mm(self, lines: Lines) -> FloatArray:
        """(m,) float64: distances of the points from their lines."""
        away = self.near_mm.copy()
        doubtful = np.flatnonzero(away > DOUBTFUL_MM)
        for i in np.unique(self.line[doubtful]):
            own = doubtful[self.line[doubtful] == i]
            away[own] = lines.lines[i].distances(self.points_mm[own])
        return away

    def reached_mm(self, lines: Lines) -> FloatArray:
        """(n,) float64: distances of the lines' points from the cuts that follow their lines."""
        begin = np.cumsum(lines.lengths_mm) - lines.lengths_mm
        along = begin[self.line] + self.along_mm
        rank = np.argsort(along, kind="stable")
        at = np.searchsorted(along[rank], begin[lines.owner] + lines.along_mm)
        # From the tip's last place before a point of the line on, and to its first one after it.
        last = rank[np.maximum(at - 1, 0)]
        first = rank[np.minimum(at, len(rank) - 1)]
        against = self.runs_mm(lines)[self.cut] < 0.0
        reached = np.minimum(
            self._from_stretch(last - against[last], lines),
            self._from_stretch(first - ~against[first], lines),
        )
        doubtful = np.flatnonzero(reached > DOUBTFUL_MM)
        for i in np.unique(lines.owner[doubtful]):
            own = doubtful[lines.owner[doubtful] == i]
            if cuts := [cut for cut in self.cuts_on(int(i)) if len(cut) > 1]:
                ways = shapely.MultiLineString(cuts)
                shapely.prepare(ways)
                reached[own] = shapely.distance(ways, shapely.points(lines.points_mm[own]))
        return reached

    def _from_stretch(self, start: IntArray, lines: Lines) -> FloatArray:
        """(n,) float64: distances of the lines' points from a stretch of the trail each.

        Infinite where the stretch is of a cut that follows another line, or of none.
        """
        end = (start + 1) % len(self.cut)
        distance, _ = stretch_distances(lines.points_mm, self.points_mm[start], self.points_mm[end])
        distance[~self._goes_on[start] | (self.line[start] != lines.owner)] = np.inf
        return distance


def trail_of(path: TipPath, near: Near, lines: Lines) -> Trail:
    """The parts of a tip's path that follow lines.

    Args:
        path: of the tip over a section's program.
        near: what lies near each of its points, cut after cut.
        lines: of the section's pieces.
    """
    follows = np.full(len(path.cuts), -1, dtype=np.int64)
    kept: list[tuple[FloatArray, FloatArray, FloatArray]] = []
    end = 0
    for number, tips in enumerate(path.cuts):
        begin, end = end, end + len(tips)
        here = near.part(slice(begin, end))
        owner = here.line[here.distance_mm <= _NEAR_MM]
        # A short cut between its start and a bridge is all lead-in, but for its end.
        if len(owner) >= _FOLLOWS * len(tips) or here.distance_mm[-1] <= _NO_LEAD_MM:
            line = follows[number] = int(np.argmax(np.bincount(owner)))
            distance, along = _from_line(tips, here, line, lines)
            start = _on_line(tips, distance)
            kept.append((tips[start:], distance[start:], along[start:]))
    cuts = np.flatnonzero(follows >= 0)
    cut = np.repeat(cuts, [len(points) for points, _, _ in kept])
    points, distances, alongs = zip(*kept, strict=True) if kept else ([np.zeros((0, 2))], [], [])
    return Trail(
        points_mm=np.concatenate(points),
        cut=cut,
        line=follows[cut],
        near_mm=np.concatenate(distances),
        along_mm=np.concatenate(alongs),
        follows=follows,
    )


def _from_line(
    tips_mm: FloatArray, near: Near, line: int, lines: Lines
) -> tuple[FloatArray, FloatArray]:
    """Distances of a cut's points from the line that it follows, and where along it they are.

    Infinite distances are those of points that are near no line at all.
    """
    distance, along = near.distance_mm.copy(), near.along_mm.copy()
    others = np.flatnonzero((near.line != line) & np.isfinite(distance))
    if len(others):
        distance[others] = lines.lines[line].distances(tips_mm[others])
        along[others] = lines.lines[line].along_mm(tips_mm[others])
    return distance, along


def _on_line(tips_mm: FloatArray, distances_mm: FloatArray) -> int:
    """The index at which a cut's lead-in ends: where it first lies on its line."""
    if distances_mm[0] <= _NO_LEAD_MM:
        return 0
    along = np.cumsum(np.hypot(*np.diff(tips_mm, axis=0, prepend=tips_mm[:1]).T))
    first = distances_mm[: 1 + int(np.searchsorted(along, _LEAD_MM))]
    for limit in _ON_LINE_MM:
        found = np.flatnonzero(first <= limit)
        if len(found):
            return int(found[0])
    return int(np.argmin(first))
