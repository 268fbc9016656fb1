"""What kind of sheet a mesh is."""

import igl
import numpy as np
import scipy.sparse as sp
from scipy.sparse.csgraph import connected_components

from layflat.base import IntArray, MeshError
from layflat.surface import Mesh


def sheet_loops(mesh: Mesh) -> tuple[IntArray, ...]:
    """The boundary loops of *mesh*, each (k,) int64 with the material on its left.

    Raises:
        MeshError: it is not one sheet with an edge, like a disc that may have openings.
    """
    vertices, faces = mesh.vertices_mm, mesh.faces
    if not len(faces):
        raise MeshError("The surface has no triangles.")
    if not np.isfinite(vertices).all():
        raise MeshError("The surface has points that are not numbers.")
    if faces.min() < 0 or faces.max() >= len(vertices):
        raise MeshError("The surface has triangles whose corners do not exist.")
    n = len(vertices)
    starts, ends = faces.ravel(), np.roll(faces, -1, axis=1).ravel()
    if np.any(starts == ends):
        raise MeshError("The surface has triangles that use a corner twice; mend it first.")
    if len(np.unique(starts)) != n:
        raise MeshError("The surface has points that no triangle uses; mend it first.")
    keys = starts * n + ends
    order = np.sort(keys)
    if np.any(order[1:] == order[:-1]):
        raise MeshError(
            "The surface is not a sheet: three triangles meet at one side, or neighbours face "
            "opposite ways. Mend it first."
        )
    joined = sp.coo_array((np.ones(len(starts)), (starts, ends)), shape=(n, n))
    pieces, _ = connected_components(joined, directed=False)
    if pieces > 1:
        raise MeshError(f"The surface is in {pieces} pieces; flatten each by itself.")
    is_rim = ~np.isin(keys, ends * n + starts)
    rim_starts, rim_ends = starts[is_rim], ends[is_rim]
    if not len(rim_starts):
        raise MeshError("The surface is closed; film needs an edge. Cut a panel out of it.")
    if len(np.unique(rim_starts)) != len(rim_starts) or not np.all(igl.is_vertex_manifold(faces)):
        raise MeshError("The surface touches itself at a single point; mend it first.")
    loops = _chained(rim_starts, rim_ends, n)
    side_count = (len(starts) + len(rim_starts)) // 2
    handles = 2 - len(loops) - (n - side_count + len(faces))
    if handles:
        raise MeshError(
            "The surface has a handle (a bridge or a tunnel) and cannot lie flat; cut it open."
        )
    return loops


def _chained(starts: IntArray, ends: IntArray, n: int) -> tuple[IntArray, ...]:
    """The loops that the sides from *starts* to *ends* form."""
    follower = np.full(n, -1, dtype=np.int64)
    follower[starts] = ends
    loops = []
    for first in np.sort(starts):
        if follower[first] < 0:
            continue
        loop, here = [], int(first)
        while follower[here] >= 0:
            loop.append(here)
            following = int(follower[here])
            follower[here] = -1
            here = following
        loops.append(np.array(loop, dtype=np.int64))
    return tuple(loops)
