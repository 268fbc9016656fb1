"""The check that a mesh is a sheet that can be laid flat."""

import numpy as np

from layflat.base import IntArray, MeshError
from layflat.surface import Mesh, require_sheet


def sheet_loops(mesh: Mesh) -> list[IntArray]:
    """The boundary loops of *mesh*, each (k,) int64 with the material on its left.

    Raises:
        MeshError: it is not one sheet with an edge, like a disc that may have openings.
    """
    vertices, faces = mesh.vertices_mm, mesh.faces
    if not np.isfinite(vertices).all():
        raise MeshError("The surface has points that are not numbers; mend the mesh first.")
    if len(faces) and (faces.min() < 0 or faces.max() >= len(vertices)):
        raise MeshError("The surface has triangles whose corners do not exist.")
    loops = require_sheet(faces, what="The surface")
    unused = len(vertices) - int(np.count_nonzero(np.bincount(faces.ravel())))
    if unused:
        raise MeshError(
            f"The surface has {unused} points that no triangle uses; mend the mesh first."
        )
    return loops
