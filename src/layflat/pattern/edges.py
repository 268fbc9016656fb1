"""A panel's boundary in the flat pattern, as smooth lines edge by edge."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from shapely import LineString, Polygon

from layflat.base import FloatArray, IntArray
from layflat.pattern.curve import sample_elements
from layflat.pattern.fit import fit_loop
from layflat.surface import Edge


@dataclass(frozen=True, eq=False)
class FlatEdge:
    """One edge of a panel in the flat.

    Attributes:
        edge: the panel's edge.
        points: (k, 2) float64, k >= 2, both corners among them, material on the left.
        before, after: interior angles at its start and at its end, in radians, 0 to 2 pi; pi for
            a loop that is one edge.
        closed: whether the edge is a whole loop.
    """

    edge: Edge
    points: FloatArray
    before: float
    after: float
    closed: bool

    @property
    def line(self) -> LineString:
        """The edge as a line."""
        return LineString(self.points)

    @property
    def length_mm(self) -> float:
        """Its length in the flat."""
        return float(np.hypot(*np.diff(self.points, axis=0).T).sum())


@dataclass(frozen=True, eq=False)
class FlatLoop:
    """One boundary loop in the flat.

    Attributes:
        polygon: what the loop encloses, whichever way it runs.
        edges: in order.
    """

    polygon: Polygon
    edges: tuple[FlatEdge, ...]


def flat_loop(
    points_mm: FloatArray,
    edge_of: IntArray,
    edges: tuple[Edge, ...],
    *,
    deviation_mm: float,
    sample_mm: float,
) -> FlatLoop:
    """The smooth line through one loop of a flat mesh, sampled, edge by edge.

    Args:
        points_mm: (k, 2) float64, the loop's vertices in the flat.
        edge_of: (k,) int64, for the step from each vertex, the index of its edge; each edge is
            one run, the first begins at the first vertex.
        edges: the loop's edges.
        deviation_mm: of the smooth line from the vertices.
        sample_mm: of the sampled line from the smooth one.

    Raises:
        InputError: the loop touches itself or encloses no area.
    """
    starts = edge_of != np.roll(edge_of, 1)
    apart = _apart(points_mm, starts, 2.0 * deviation_mm)
    points_mm, edge_of, starts = points_mm[apart], edge_of[apart], np.flatnonzero(starts[apart])
    if not len(starts):
        fitted = fit_loop(points_mm, deviation_mm=deviation_mm)
        line, _ = sample_elements(fitted.curve, deviation_mm=sample_mm)
        closed = np.vstack([line, line[:1]])
        whole = FlatEdge(edges[int(edge_of[0])], closed, math.pi, math.pi, closed=True)
        return FlatLoop(Polygon(line), (whole,))
    fitted = fit_loop(points_mm, corners=starts, deviation_mm=deviation_mm)
    line, element = sample_elements(fitted.curve, deviation_mm=sample_mm)
    joints = np.searchsorted(element, fitted.given)
    order = np.argsort(joints)
    joints = joints[order]
    names = edge_of[starts[order]]
    runs = [
        np.take(line, np.arange(a, b + 1 if b > a else b + len(line) + 1), axis=0, mode="wrap")
        for a, b in zip(joints, np.roll(joints, -1), strict=True)
    ]
    angles = [_interior(runs[i - 1], run) for i, run in enumerate(runs)]
    found = [
        FlatEdge(edges[int(name)], run, angles[i], angles[(i + 1) % len(runs)], closed=False)
        for i, (name, run) in enumerate(zip(names, runs, strict=True))
    ]
    return FlatLoop(Polygon(line), tuple(found))


def _apart(points_mm: FloatArray, corners: NDArray[np.bool_], least_mm: float) -> IntArray:
    """The vertices farther than *least_mm* from the one before that was kept; corners all.

    Where a line crosses a mesh near a vertex, its points lie as close as thousandths of a
    millimetre, and their noise looks like a jog.
    """
    kept: list[int] = []
    for i, point in enumerate(points_mm):
        if kept and math.dist(points_mm[kept[-1]], point) <= least_mm:
            if not corners[i]:
                continue
            if not corners[kept[-1]]:
                kept.pop()
        kept.append(i)
    return np.array(kept, dtype=np.int64)


def _interior(before: FloatArray, after: FloatArray) -> float:
    """The interior angle, 0 to 2 pi, where one edge ends and the next begins."""
    arriving, leaving = before[-1] - before[-2], after[1] - after[0]
    cross = float(arriving[0] * leaving[1] - arriving[1] * leaving[0])
    return math.pi - math.atan2(cross, float(arriving @ leaving))
