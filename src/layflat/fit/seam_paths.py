"""Where a seam might go: cheap paths across and along a panel, spread over it.

The outer outline is taken as four sides, from the corners that reach farthest along the flat
shape's diagonals. Between two opposite sides each place has a share, 0 at the one and 1 at the
other, by its distances from both; a candidate keeps to shares near one of five. So candidates of a
bent strip follow its bend. A step costs what it costs a relief: see `layflat.fit.relief_paths`.
"""

from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_array
from scipy.sparse.csgraph import dijkstra
from scipy.spatial import KDTree

from layflat.base import FloatArray, IntArray
from layflat.film import Flat
from layflat.surface import Region, edge_table

SHARES = (0.2, 0.35, 0.5, 0.65, 0.8)
"""Where candidates lie between two sides."""

CLEAR_MM = 15.0
"""Candidates keep so far from openings: a narrower strip beside one is hard to lay, and lifts.
Common practice, no source."""

_SPREAD = 0.12
_Mask = np.ndarray[tuple[int], np.dtype[np.bool_]]


@dataclass(frozen=True, eq=False)
class SeamPath:
    """One path that a seam might take.

    Attributes:
        path: (k,) int64, vertices from side to side.
        cost_mm: its length, weighed by how well it is seen.
        length_mm: its length along the mesh's edges.
    """

    path: IntArray
    cost_mm: float
    length_mm: float


def seam_paths(region: Region, flat: Flat, sight: FloatArray, *, aversion: float) -> list[SeamPath]:
    """The cheapest path at each share, across and along.

    Args:
        region, flat: the panel.
        sight: (n,) float64, visibility less what creases hide of it.
        aversion: how much dearer a seam in full sight is than a hidden one.
    """
    mesh = region.mesh
    table = edge_table(mesh.faces)
    rim = np.zeros(len(mesh.vertices_mm), np.bool_)
    rim[table.ends[table.count == 1]] = True
    both = np.concatenate((table.ends, table.ends[:, ::-1]))
    length = np.linalg.norm(np.diff(mesh.vertices_mm[both], axis=1)[:, 0], axis=1)
    cost = length * (1.0 + (aversion - 1.0) * sight[both].mean(axis=1))
    sides = _sides(region, flat)
    clear = from_openings_mm(region, mesh.vertices_mm) >= CLEAR_MM
    found = []
    for first in (0, 1):
        start, low, end, high = (sides[(first + i) % 4] for i in range(4))
        away = [_distances(both, length, len(rim), side) for side in (low, high)]
        share = away[0] / np.maximum(away[0] + away[1], 1e-12)
        for middle in SHARES:
            near = clear & (np.abs(share - middle) <= _SPREAD)
            path = _cheapest(both, cost, near, rim, start[1:-1], end[1:-1])
            if path is not None:
                steps = np.linalg.norm(np.diff(mesh.vertices_mm[path[0]], axis=0), axis=1)
                found.append(SeamPath(path[0], path[1], float(steps.sum())))
    return found


def from_openings_mm(region: Region, points_mm: FloatArray) -> FloatArray:
    """(k,) float64: how far points are from the nearest vertex of an opening; far without one."""
    openings = [loop.vertices for loop in region.loops[1:]]
    if not openings:
        return np.full(len(points_mm), np.inf)
    tree = KDTree(region.mesh.vertices_mm[np.concatenate(openings)])
    return np.asarray(tree.query(points_mm)[0], np.float64)


def _sides(region: Region, flat: Flat) -> list[IntArray]:
    """The four sides of the outer outline, one after the other, corners in both."""
    ids = region.loops[0].vertices
    middle = flat.points_mm - flat.points_mm.mean(axis=0)
    axes = np.linalg.svd(middle, full_matrices=False)[2]
    along = middle[ids] @ axes.T
    along = along / np.maximum(np.ptp(along, axis=0), 1e-12)
    corners = sorted(
        {int(np.argmax(along @ turn)) for turn in ((1, 1), (-1, 1), (-1, -1), (1, -1))}
    )
    if len(corners) < 4:
        corners = [len(ids) * i // 4 for i in range(4)]
    whole = np.concatenate((ids, ids))
    ends = [*corners[1:], corners[0] + len(ids)]
    return [whole[a : b + 1] for a, b in zip(corners, ends, strict=True)]


def _distances(both: IntArray, length: FloatArray, count: int, side: IntArray) -> FloatArray:
    graph = csr_array((length, (both[:, 0], both[:, 1])), shape=(count, count))
    return np.asarray(dijkstra(graph, indices=side, min_only=True), np.float64)


def _cheapest(
    both: IntArray, cost: FloatArray, near: _Mask, rim: _Mask, start: IntArray, end: IntArray
) -> tuple[IntArray, float] | None:
    """The cheapest path between two sides through places that are near, and its cost."""
    begins, ends = np.zeros_like(rim), np.zeros_like(rim)
    begins[start], ends[end] = True, True
    begins, ends = begins & near, ends & near
    a, b = both[:, 0], both[:, 1]
    good = near[a] & near[b] & (~rim[a] | begins[a]) & (~rim[b] | ends[b]) & ~(rim[a] & rim[b])
    if not begins.any() or not ends.any():
        return None
    graph = csr_array((cost[good], (a[good], b[good])), shape=(len(rim),) * 2)
    total, before, _ = dijkstra(
        graph, indices=np.flatnonzero(begins), min_only=True, return_predecessors=True
    )
    goals = np.flatnonzero(ends)
    goal = int(goals[np.argmin(total[goals])])
    if not np.isfinite(total[goal]):
        return None
    path = [goal]
    while before[path[-1]] >= 0:
        path.append(int(before[path[-1]]))
    return np.array(path[::-1], np.int64), float(total[goal])


def smoothed(points_mm: FloatArray, *, step_mm: float) -> FloatArray:
    """(j, 3) float64: a path along edges of a mesh without its zigzag, a point every *step_mm*.

    Each point is the mean of the path round it, weighed by a bell half a step wide; the ends stay.
    """
    steps = np.linalg.norm(np.diff(points_mm, axis=0), axis=1)
    place = np.concatenate(([0.0], np.cumsum(steps)))
    count = max(int(place[-1] / step_mm), 1)
    fine = np.linspace(0.0, place[-1], 16 * count + 1)
    line = np.stack([np.interp(fine, place, points_mm[:, i]) for i in range(3)], axis=1)
    # Turned over at its ends, the path runs on, so that the mean there is the end itself.
    longer = np.concatenate((2 * line[0] - line[:0:-1], line, 2 * line[-1] - line[-2::-1]))
    wanted = np.arange(0, len(line), 16) + len(line) - 1
    away = np.arange(len(longer)) - wanted[:, None]
    weight = np.exp(-0.5 * (away / 8.0) ** 2)
    return np.asarray(weight @ longer / weight.sum(axis=1)[:, None])
