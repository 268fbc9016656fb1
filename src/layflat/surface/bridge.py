"""Gaps in the chain of places along a line closed, so that each step stays in one triangle.

Next to a splinter, a point where a line crosses an edge can be put on the vertex or the edge
beyond the splinter, and the crossing itself is lost. The triangles between the two places tell
which edges the line crosses; the points on them lie within the width of the splinter.
"""

from heapq import heappop, heappush
from itertools import pairwise

import numpy as np

from layflat.base import FloatArray, IntArray
from layflat.surface.topology import half_edges

_CLEAR_MM = 1e-3
_CLEAR_SHARE = 0.25
"""A crossing that is added keeps this far from the ends of its edge, or this share of it."""

_MOST = 12
"""A gap of more crossings than this is no matter of splinters."""


class Simplices:
    """The triangles of a part of a mesh, to tell which places are next to each other.

    Args:
        faces: (m, 3) int64.
        used: the vertices of the simplices that the places lie in.
    """

    def __init__(self, faces: IntArray, used: frozenset[int]) -> None:
        self._faces = faces
        mark = np.zeros(int(faces.max()) + 1, np.bool_)
        mark[list(used)] = True
        beside = faces[mark[faces].any(axis=1)]
        self._triangles = set(map(tuple, np.sort(beside, axis=1).tolist()))
        self._edges = set(map(tuple, np.sort(half_edges(beside), axis=1).tolist()))

    def joins(self, ids: frozenset[int]) -> bool:
        """Whether the vertices, one of them used, are a vertex, an edge or a triangle."""
        key = tuple(sorted(ids))
        return len(key) == 1 or key in (self._edges if len(key) == 2 else self._triangles)

    def bridge(
        self, vertices_mm: FloatArray, start: frozenset[int], end: frozenset[int], at: FloatArray
    ) -> list[tuple[frozenset[int], FloatArray]] | None:
        """The edges crossed between two places that share no triangle, with a point on each.

        Of all ways from triangle to triangle the one whose edges lie nearest to the straight
        segment is taken.

        Args:
            vertices_mm: (n, 3) float64.
            start: the ids of the simplex of the one place.
            end: those of the other.
            at: (2, 3) float64, the two places.

        Returns:
            The edges in order, or None if there is no short way.
        """
        best: dict[frozenset[int], float] = {start: 0.0}
        queue: list[tuple[float, int, list[frozenset[int]]]] = [(0.0, 0, [start])]
        count = 0
        while queue:
            cost, _, way = heappop(queue)
            if self.joins(way[-1] | end):
                return [(edge, _crossing(vertices_mm, edge, at)[0]) for edge in way[1:]]
            if len(way) > _MOST:
                continue
            for edge in self._edges_beside(way[-1]):
                apart = cost + _crossing(vertices_mm, edge, at)[1] + _CLEAR_MM
                if apart < best.get(edge, np.inf):
                    best[edge] = apart
                    count += 1
                    heappush(queue, (apart, count, [*way, edge]))
        return None

    def _edges_beside(self, ids: frozenset[int]) -> list[frozenset[int]]:
        """The inner edges of the triangles that have these vertices, without the simplex itself."""
        holds = np.isin(self._faces, list(ids)).sum(axis=1) == len(ids)
        found = []
        for triangle in self._faces[holds].tolist():
            for u, v in pairwise([*triangle, triangle[0]]):
                edge = frozenset((u, v))
                shared = np.isin(self._faces, (u, v)).sum(axis=1) == 2
                if edge != ids and np.count_nonzero(shared) == 2:
                    found.append(edge)
        return found


def _crossing(
    vertices_mm: FloatArray, edge: frozenset[int], at: FloatArray
) -> tuple[FloatArray, float]:
    """The place of an edge nearest to a segment, clear of the edge's ends, and how far it is."""
    a, b = vertices_mm[sorted(edge)]
    along, step = b - a, at[1] - at[0]
    length = float(np.linalg.norm(along))
    gram = np.array([[along @ along, -along @ step], [-along @ step, step @ step]])
    wanted = np.array([along @ (at[0] - a), -step @ (at[0] - a)])
    t, s = np.linalg.lstsq(gram, wanted, rcond=None)[0]
    s = min(max(float(s), 0.0), 1.0)
    t = float(along @ (at[0] + s * step - a)) / length**2
    clear = min(_CLEAR_SHARE, _CLEAR_MM / length)
    point = a + min(max(t, clear), 1 - clear) * along
    return point, float(np.linalg.norm(point - (at[0] + s * step)))
