"""Scanner noise smoothed away within a tolerance, the boundary kept.

Taubin's two-pass filter ("A signal processing approach to fair surface design", SIGGRAPH 1995):
each round takes a step towards the mean of the neighbours and a slightly longer one back, so
that fine noise goes while the shape does not shrink. Vertices move along their normals only,
and never by more than the tolerance.
"""

from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_array

from layflat.base import FloatArray, MeshError
from layflat.surface.mesh import Mesh
from layflat.surface.topology import edge_table

_ROUNDS = 10
_FORTH = 0.5
_BACK = -0.505


@dataclass(frozen=True, eq=False)
class Denoised:
    """A smoothed mesh, and how far its vertices were moved.

    Attributes:
        mesh: the same triangles.
        greatest_mm: the greatest displacement, at most the tolerance.
        rms_mm: the root mean square displacement over all vertices.
        sentence: for people.
    """

    mesh: Mesh
    greatest_mm: float
    rms_mm: float
    sentence: str


def denoise(mesh: Mesh, *, tolerance_mm: float) -> Denoised:
    """Smooth *mesh* without moving any vertex by more than *tolerance_mm*.

    Args:
        mesh: manifold and oriented.
        tolerance_mm: above 0; about three times the scanner's noise is sensible. Edges of the
            body sharper than the mesh is fine are rounded by up to it.

    Raises:
        MeshError: the tolerance is not a number above 0.
    """
    if not (np.isfinite(tolerance_mm) and tolerance_mm > 0):
        raise MeshError("The tolerance of smoothing must be above 0 mm.")
    table = edge_table(mesh.faces)
    count = len(mesh.vertices_mm)
    ends = np.concatenate([table.ends, table.ends[:, ::-1]])
    degree = np.maximum(np.bincount(ends[:, 0], minlength=count), 1)
    means = coo_array((1.0 / degree[ends[:, 0]], (ends[:, 0], ends[:, 1])), (count, count)).tocsr()
    free = np.zeros(count, np.bool_)
    free[mesh.faces] = True
    free[table.ends[table.count == 1]] = False
    normal = _vertex_normals(mesh)
    moved = np.zeros(count)
    for _ in range(_ROUNDS):
        for factor in (_FORTH, _BACK):
            points = mesh.vertices_mm + moved[:, None] * normal
            towards = means @ points - points
            moved += np.where(free, factor * np.einsum("ij,ij->i", towards, normal), 0.0)
    moved = np.clip(moved, -tolerance_mm, tolerance_mm)
    greatest, rms = float(np.abs(moved).max(initial=0.0)), float(np.sqrt(np.mean(moved**2)))
    return Denoised(
        Mesh(mesh.vertices_mm + moved[:, None] * normal, mesh.faces),
        greatest,
        rms,
        f"The surface was smoothed: vertices moved by {rms:.3f} mm (root mean square), "
        f"{greatest:.3f} mm at most.",
    )


def _vertex_normals(mesh: Mesh) -> FloatArray:
    """(n, 3) unit normals, weighted by area; zero at vertices without triangles."""
    corners = mesh.vertices_mm[mesh.faces]
    across = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    which = mesh.faces.T.reshape(-1)
    total = np.stack(
        [
            np.bincount(which, np.tile(across[:, i], 3), minlength=len(mesh.vertices_mm))
            for i in range(3)
        ],
        axis=1,
    )
    size = np.linalg.norm(total, axis=1, keepdims=True)
    normals: FloatArray = total / np.where(size > 0, size, 1.0)
    return normals
