"""Places on a mesh: on one of its vertices, on an edge, or inside a triangle.

A *place* carries the simplex that it lies in, as the ascending ids of the simplex's vertices,
filled up with -1: ``(v, -1, -1)``, ``(u, v, -1)`` or ``(a, b, c)``. Two places lie in a common
triangle exactly if the union of their ids has at most three members that make a triangle, an
edge or a vertex of the mesh: what is next to what is decided by whole numbers, never by
comparing coordinates.
"""

from dataclasses import dataclass

import numpy as np

from layflat.base import FloatArray, IntArray, frozen
from layflat.surface.locate import Located
from layflat.surface.mesh import Mesh

SNAP_MM = 0.005
"""A place this close to a vertex or an edge is put on it (closer still where edges are short)."""

SNAP_SHARE = 0.05
"""The same as a share of the triangle's shortest side, for small triangles."""


@dataclass(frozen=True, eq=False)
class Places:
    """Points of a mesh with the simplices that they lie in.

    Attributes:
        points_mm: (k, 3) float64.
        simplex: (k, 3) int64, see the head of this module.
    """

    points_mm: FloatArray
    simplex: IntArray

    def __post_init__(self) -> None:
        object.__setattr__(self, "points_mm", frozen(self.points_mm).reshape(-1, 3))
        object.__setattr__(self, "simplex", frozen(self.simplex, np.int64).reshape(-1, 3))


def places(mesh: Mesh, located: Located) -> Places:
    """The places of located points, put on a vertex or an edge where they are next to it.

    A point moves by at most `SNAP_MM`, and by at most `SNAP_SHARE` of the shortest side of its
    triangle.
    """
    corners = mesh.faces[located.faces]
    triangle = mesh.vertices_mm[corners]
    sides = np.linalg.norm(np.roll(triangle, -1, axis=1) - triangle, axis=2)
    limit = np.minimum(SNAP_MM, SNAP_SHARE * sides.min(axis=1))
    weights = np.array(located.barycentric)
    gap = np.linalg.norm(triangle - located.points_mm[:, None], axis=2)
    at_vertex = gap.min(axis=1) <= limit
    nearest = np.eye(3)[gap.argmin(axis=1)]
    longest = np.maximum(np.roll(sides, -1, axis=1), 1e-300)
    areas = 0.5 * np.linalg.norm(
        np.cross(triangle[:, 1] - triangle[:, 0], triangle[:, 2] - triangle[:, 0]), axis=1
    )
    height = weights * (2 * areas[:, None] / longest)
    at_edge = height.min(axis=1) <= limit
    dropped = np.where(np.eye(3, dtype=np.bool_)[height.argmin(axis=1)], 0.0, weights)
    weights = np.where(at_edge[:, None], dropped, weights)
    weights = np.where(at_vertex[:, None], nearest, weights)
    weights /= weights.sum(axis=1, keepdims=True)
    return Places(np.einsum("ki,kij->kj", weights, triangle), simplices(corners, weights))


def simplices(corners: IntArray, weights: FloatArray) -> IntArray:
    """(k, 3) simplices of barycentric weights, of which exact zeros do not count."""
    none = np.iinfo(np.int64).max
    ids = np.sort(np.where(weights > 0, corners, none), axis=1)
    return np.where(ids == none, -1, ids)


def ids_of(simplex: IntArray) -> frozenset[int]:
    """The vertex ids of one simplex."""
    return frozenset(int(i) for i in simplex if i >= 0)
