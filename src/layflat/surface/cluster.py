"""A very fine mesh made coarser at once, by drawing vertices together.

All vertices that hang together within one cell of a grid become one (Rossignac and Borrel,
"Multi-resolution 3D approximations for rendering complex scenes", 1993). It goes where the planes
of the triangles at them meet best, and the planes that stand on the rim, so that creases and rims
stay where they are (Lindstrom, "Out-of-core simplification of large polygonal models", SIGGRAPH
2000). Both from memory. Time grows with the triangles there are, not with those that go; collapsing
edges one by one is better and far slower, and a second step after this one.
"""

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from layflat.base import FloatArray, IntArray, MeshError
from layflat.surface.mesh import Mesh
from layflat.surface.topology import compact, edge_table, half_edges

_TRIES = 3
_ENOUGH = 0.7
"""A grid that leaves less than this share of the wanted triangles is tried again, finer."""

_HELD = 1e-3
"""How much a new vertex is held to the middle of those it stands for. Our own choice."""

_MOST = 2**21
"""Three numbers below this fit into one of 63 bits."""


def clustered(mesh: Mesh, *, triangles: int) -> Mesh:
    """*mesh* with about *triangles* triangles; mend it after.

    The result may touch itself where the mesh is narrower than a cell, at few places.

    Args:
        mesh: manifold and oriented (see `mend`).
        triangles: how many are wanted, above 0; a mesh with no more than that stays as it is.

    Raises:
        MeshError: less than one triangle is wanted, or more than four million.
    """
    if not 0 < triangles <= 2 * _MOST:
        raise MeshError("A coarser mesh has at least one triangle and at most four million.")
    if len(mesh.faces) <= triangles:
        return mesh
    # A plane at random passes through one and a half cells a square; a vertex has two triangles.
    cell = float(np.sqrt(3.0 * max(mesh.area_mm2, 1e-12) / triangles))
    for _ in range(_TRIES):
        group, count = _groups(mesh, cell)
        faces = _faces(group[mesh.faces])
        if len(faces) >= _ENOUGH * triangles:
            break
        cell *= float(np.sqrt(max(len(faces), 1) / triangles))
    points = _points(mesh, group, count, faces, cell)
    kept, used = compact(faces)
    return Mesh(points[used], kept)


def _groups(mesh: Mesh, cell: float) -> tuple[IntArray, int]:
    """(n,) the group of each vertex, and how many there are: what hangs together in a cell."""
    places = np.floor((mesh.vertices_mm - mesh.vertices_mm.min(axis=0)) / cell).astype(np.int64)
    _, wide, high = places.max(axis=0) + 1
    box = (places[:, 0] * wide + places[:, 1]) * high + places[:, 2]
    start, end = mesh.faces.T.reshape(-1), np.roll(mesh.faces, -1, axis=1).T.reshape(-1)
    inside = box[start] == box[end]
    start, end = start[inside], end[inside]
    ones, size = np.ones(len(start), np.int8), len(box)
    graph = coo_array((ones, (start, end)), shape=(size, size))
    count, group = connected_components(graph, directed=False)
    return group.astype(np.int64), int(count)


def _faces(corners: IntArray) -> IntArray:
    """(k, 3) the triangles between three groups, each once.

    Two that face opposite ways between the same groups are a fold that was pressed flat: both go.
    """
    a, b, c = corners.T
    corners = corners[(a != b) & (b != c) & (c != a)]
    if not len(corners):
        return corners
    if int(corners.max()) >= _MOST:
        raise MeshError("The mesh falls into too many pieces to be made coarser; mend it first.")
    low, middle, high = np.sort(corners, axis=1).T
    key = (low * _MOST + middle) * _MOST + high
    # Three of the six orders of three corners run the same way round as the ascending one.
    a, b, c = corners.T
    way = np.where((a < b) ^ (b < c) ^ (c < a), -1, 1)
    each, which = np.unique(key, return_inverse=True)
    total = np.bincount(which, way, len(each))
    each, total = each[total != 0], total[total != 0]
    low, middle, high = each // _MOST**2, each // _MOST % _MOST, each % _MOST
    turned = total < 0
    return np.stack([low, np.where(turned, high, middle), np.where(turned, middle, high)], axis=1)


def _points(mesh: Mesh, group: IntArray, count: int, faces: IntArray, cell: float) -> FloatArray:
    """(count, 3) where each group's vertex goes."""
    size = np.bincount(group, minlength=count)
    middle = np.stack(
        [np.bincount(group, mesh.vertices_mm[:, i], count) / size for i in range(3)], axis=1
    )
    planes = _Planes(group, middle)
    corners = mesh.vertices_mm[mesh.faces]
    across: FloatArray = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    doubled = np.linalg.norm(across, axis=1)
    across /= np.maximum(doubled, 1e-300)[:, None]
    for i in range(3):
        planes.add(mesh.faces[:, i], across, corners[:, 0], 0.5 * doubled)
    rim, at = _rim(mesh.faces, group, faces)
    start, end = mesh.vertices_mm[rim[:, 0]], mesh.vertices_mm[rim[:, 1]]
    upright: FloatArray = np.cross(end - start, across[at])
    length = np.linalg.norm(upright, axis=1)
    upright /= np.maximum(length, 1e-300)[:, None]
    for i in range(2):
        planes.add(rim[:, i], upright, start, length**2)
    return middle + planes.offsets(cell)


class _Planes:
    """Sums of the squared distances to planes, one for each group, about its middle."""

    def __init__(self, group: IntArray, middle: FloatArray) -> None:
        self._group, self._middle = group, middle
        self._square = np.zeros((len(middle), 3, 3))
        self._right = np.zeros((len(middle), 3))

    def add(
        self, vertices: IntArray, normals: FloatArray, through: FloatArray, weight: FloatArray
    ) -> None:
        """Give the group of each vertex a plane by its normal and a point."""
        to, count = self._group[vertices], len(self._middle)
        height = np.einsum("ij,ij->i", normals, through - self._middle[to])
        for i in range(3):
            weighted = weight * normals[:, i]
            self._right[:, i] += np.bincount(to, weighted * height, count)
            for j in range(i, 3):
                self._square[:, i, j] += np.bincount(to, weighted * normals[:, j], count)

    def offsets(self, most: float) -> FloatArray:
        """(k, 3) from the middle to the best place, held to the middle; none if too far."""
        square = self._square + np.triu(self._square, 1).transpose(0, 2, 1)
        held = np.maximum(_HELD * np.trace(square, axis1=1, axis2=2), 1e-12)
        square += held[:, None, None] * np.eye(3)
        offset = np.asarray(np.linalg.solve(square, self._right[:, :, None])[:, :, 0], np.float64)
        offset[np.linalg.norm(offset, axis=1) > most] = 0.0
        return offset


def _rim(faces: IntArray, group: IntArray, coarse: IntArray) -> tuple[IntArray, IntArray]:
    """(k, 2) the directed edges on the rim of *faces*, and (k,) the face of each.

    Only near the rim of the coarser triangles is it looked for: it can lie nowhere else.
    """
    table = edge_table(coarse)
    near = np.zeros(int(group.max()) + 1, np.bool_)
    near[table.ends[table.count == 1]] = True
    on = near[group]
    beside = np.flatnonzero(on[faces].any(axis=1))
    table = edge_table(faces[beside])
    sides = half_edges(faces[beside])
    single = np.flatnonzero((table.count[table.edge_of] == 1) & on[sides].any(axis=1))
    return sides[single], beside[single // 3]
