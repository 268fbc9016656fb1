"""A body prepared once, so that each of its panels is cut on the part of it that matters.

Checking the body, its edges, and the tree for finding triangles by place are the same for every
panel; what lies near an outline and inside it is a small part of the whole.
"""

from dataclasses import dataclass
from functools import cached_property
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from layflat.base import FloatArray, IntArray, MeshError, frozen
from layflat.surface.locate import Located, locate
from layflat.surface.mesh import Mesh
from layflat.surface.topology import EdgeTable, edge_table, manifold_fault

BoolArray: TypeAlias = NDArray[np.bool_]

_WIDE = 0.35
"""The part round a line reaches this share of the distance of its picked points to each side."""


@dataclass(frozen=True, eq=False)
class Rims:
    """The boundary of a mesh.

    Attributes:
        ends: (e, 2) int64, its edges, the lesser vertex first.
        of_vertex: (n,) int64, for each vertex of the mesh the rim that it lies on, or -1.
    """

    ends: IntArray
    of_vertex: IntArray

    def __post_init__(self) -> None:
        object.__setattr__(self, "ends", frozen(self.ends, np.int64).reshape(-1, 2))
        object.__setattr__(self, "of_vertex", frozen(self.of_vertex, np.int64))


@dataclass(frozen=True, eq=False)
class Prepared:
    """A body with what cutting any panel of it needs. Made by `prepare`.

    Attributes:
        mesh: the body.
        table: its edges.
        rims: its boundary.
    """

    mesh: Mesh
    table: EdgeTable
    rims: Rims

    @cached_property
    def middle_mm(self) -> FloatArray:
        """(m, 3) float64: the middle of each triangle."""
        middle: FloatArray = self.mesh.vertices_mm[self.mesh.faces].mean(axis=1)
        return middle

    @cached_property
    def reach_mm(self) -> FloatArray:
        """(m,) float64: how far each triangle reaches from its middle."""
        away = self.mesh.vertices_mm[self.mesh.faces] - self.middle_mm[:, None]
        reach: FloatArray = frozen(np.linalg.norm(away, axis=2).max(axis=1))
        return reach

    @cached_property
    def tree(self) -> cKDTree:
        """The middles of its triangles."""
        return cKDTree(self.middle_mm, balanced_tree=False, compact_nodes=False)

    def locate(self, points_mm: FloatArray) -> Located:
        """The nearest place of the body to each of the (k, 3) points, as `locate` finds it."""
        if not len(points_mm) or not np.isfinite(points_mm).all():
            return locate(self.mesh, points_mm)
        # The nearest place is no farther than the nearest middle, so its triangle's middle is
        # no farther than that and the triangle's reach.
        gap = np.asarray(self.tree.query(points_mm)[0], np.float64)
        part = self._within(points_mm, (gap + self.reach_mm.max()) * (1 + 1e-9))
        found = locate(Mesh(self.mesh.vertices_mm, self.mesh.faces[part]), points_mm)
        return Located(part[found.faces], found.barycentric, found.points_mm, found.distances_mm)

    def near(self, start_mm: FloatArray, end_mm: FloatArray, *, wide: float = 1.0) -> IntArray:
        """The faces near the (k, 3) straight segments between picked points, ascending.

        Args:
            start_mm: (k, 3) float64, where the segments start.
            end_mm: (k, 3) float64, where they end.
            wide: how many times the usual width is taken.
        """
        coarse = float(np.quantile(self.reach_mm, 0.999))
        samples: list[FloatArray] = []
        radii: list[FloatArray] = []
        for start, end in zip(start_mm, end_mm, strict=True):
            length = float(np.linalg.norm(end - start))
            radius = wide * (_WIDE * length + 4 * coarse)
            count = int(np.ceil(2 * length / radius)) + 1
            samples.append(start + np.linspace(0, 1, count)[:, None] * (end - start))
            radii.append(np.full(count, radius))
        return self._within(np.concatenate(samples), np.concatenate(radii))

    def _within(self, points_mm: FloatArray, radii_mm: FloatArray) -> IntArray:
        """The faces whose middle lies within a radius of one of the points, ascending."""
        near = np.zeros(len(self.mesh.faces), np.bool_)
        for hit in self.tree.query_ball_point(points_mm, radii_mm):
            near[hit] = True
        return np.flatnonzero(near)

    def spread(self, seeds: IntArray, closed: BoolArray) -> BoolArray:
        """The faces that hang together with the seeds, without passing through closed faces.

        Args:
            seeds: (k,) int64, faces to begin with.
            closed: (m,) bool, faces that are never entered.

        Returns:
            (m,) bool: the seeds and what was reached.
        """
        reached = np.zeros(len(closed), np.bool_)
        front = np.unique(seeds)
        mates = self.table.mate.reshape(-1, 3)
        while len(front):
            reached[front] = True
            beyond = mates[front].reshape(-1)
            beyond = beyond[beyond >= 0] // 3
            front = np.unique(beyond[~reached[beyond] & ~closed[beyond]])
        return reached


def prepare(mesh: Mesh) -> Prepared:
    """Check *mesh* and prepare it for cutting panels out.

    Args:
        mesh: manifold, oriented, in mm (see `mend`).

    Raises:
        MeshError: the mesh is empty or not manifold.
    """
    if not len(mesh.faces):
        raise MeshError("The mesh has no triangles.")
    table = edge_table(mesh.faces)
    if fault := manifold_fault(mesh.faces, table):
        raise MeshError(f"The mesh cannot be cut as it is: {fault}. Mend it first.")
    return Prepared(mesh, table, rims_of(mesh, table))


def rims_of(mesh: Mesh, table: EdgeTable | None = None) -> Rims:
    """The boundary of *mesh*."""
    table = edge_table(mesh.faces) if table is None else table
    ends, count = table.ends[table.count == 1], len(mesh.vertices_mm)
    graph = coo_array((np.ones(len(ends), np.int8), (ends[:, 0], ends[:, 1])), shape=(count, count))
    label = connected_components(graph, directed=False)[1].astype(np.int64)
    on_rim = np.zeros(count, np.bool_)
    on_rim[ends.reshape(-1)] = True
    return Rims(ends, np.where(on_rim, label, -1))
