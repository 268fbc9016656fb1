"""Where a surface has something for a line to follow: creases, gaps and open edges.

Each edge of the mesh has a strength from 0 to 1, from how sharply the surface turns across it.
On a crease rounded with a small radius no single edge turns far, so the turn is taken over a
window of fixed width rather than from triangle to triangle.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.sparse import coo_array, csr_array

from layflat.base import FloatArray, IntArray, frozen
from layflat.surface.prepare import Prepared
from layflat.surface.topology import face_components

WINDOW_MM = 12.0
"""The turn of the surface is taken over about this width."""

WEAK_DEG, STRONG_DEG = 12.0, 40.0
"""A turn up to the first is no feature, from the second on it is one in full. Over the window these
are radii of 57 and 17 mm."""

FEATURE = 0.3
"""From this strength on an edge counts as lying on a feature."""

CHEAP = 0.35
"""A millimetre along a feature costs this much of one elsewhere. Our own choice."""


@dataclass(frozen=True, eq=False)
class Features:
    """A body with the strengths of its edges.

    Attributes:
        body: prepared.
        strength: (e,) float64, 0 to 1, for each edge of the body's table.
        length_mm: (e,) float64.
    """

    body: Prepared
    strength: FloatArray
    length_mm: FloatArray

    def __post_init__(self) -> None:
        object.__setattr__(self, "strength", frozen(self.strength))
        object.__setattr__(self, "length_mm", frozen(self.length_mm))

    @cached_property
    def cost(self) -> FloatArray:
        """(e,) float64: what going along each edge costs, in mm of plain surface."""
        cost: FloatArray = self.length_mm * (1.0 - (1.0 - CHEAP) * self.strength)
        return cost

    @cached_property
    def graph(self) -> "csr_array":
        """(n, n): the cost between neighbouring vertices, both ways."""
        ends, count = self.body.table.ends, len(self.body.mesh.vertices_mm)
        low, high = ends.T
        both = (np.concatenate([low, high]), np.concatenate([high, low]))
        return coo_array((np.tile(self.cost, 2), both), shape=(count, count)).tocsr()

    @cached_property
    def piece(self) -> IntArray:
        """(e,) int64: a number for each edge, the same on all that hangs together by edges."""
        table = self.body.table
        face = np.empty(len(table.ends), np.int64)
        face[table.edge_of] = np.arange(len(table.edge_of)) // 3
        number: IntArray = face_components(table)[face]
        return number

    @cached_property
    def on_feature(self) -> IntArray:
        """(k,) int64: the edges that lie on a feature."""
        return np.flatnonzero(self.strength >= FEATURE)


def features(body: Prepared) -> Features:
    """The features of *body*."""
    mesh, table = body.mesh, body.table
    points = mesh.vertices_mm
    length = np.linalg.norm(points[table.ends[:, 0]] - points[table.ends[:, 1]], axis=1)
    corners = points[mesh.faces]
    facing = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    sides = np.flatnonzero(table.mate >= 0)
    sides = sides[sides < table.mate[sides]]
    first, second, edge = sides // 3, table.mate[sides] // 3, table.edge_of[sides]
    normals = _smoothed(facing, first, second, rounds=_rounds(length))
    cosine = np.clip(np.einsum("ij,ij->i", normals[first], normals[second]), -1.0, 1.0)
    # Twice the area over the edge is the height of a triangle; a third of it is how far the middle
    # of the triangle lies from the edge.
    doubled = np.linalg.norm(facing, axis=1)
    apart = (doubled[first] + doubled[second]) / (3.0 * np.maximum(length[edge], 1e-9))
    turn = np.degrees(np.arccos(cosine)) * np.maximum(1.0, WINDOW_MM / np.maximum(apart, 1e-9))
    strength = np.zeros(len(table.ends))
    strength[edge] = np.clip((turn - WEAK_DEG) / (STRONG_DEG - WEAK_DEG), 0.0, 1.0)
    strength[table.count == 1] = 1.0
    return Features(body, strength, length)


def _rounds(length: FloatArray) -> int:
    """How often normals are smoothed: the finer the mesh, the more its noise counts."""
    typical = float(np.median(length)) if len(length) else WINDOW_MM
    return int(np.clip(round(WINDOW_MM / (4.0 * typical)), 0, 3))


def _smoothed(facing: FloatArray, first: IntArray, second: IntArray, *, rounds: int) -> FloatArray:
    """(m, 3) unit normals, each the mean over its triangle's neighbours, over again."""
    normals = facing / np.maximum(np.linalg.norm(facing, axis=1, keepdims=True), 1e-300)
    if rounds:
        area = np.linalg.norm(facing, axis=1)
        count = len(facing)
        rows, columns = np.concatenate([first, second]), np.concatenate([second, first])
        share = coo_array((area[columns], (rows, columns)), shape=(count, count)).tocsr()
        for _ in range(rounds):
            normals = area[:, None] * normals + share @ normals
            normals /= np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-300)
    smooth: FloatArray = normals
    return smooth
