"""A mesh as a binary PLY file, which `read_mesh` reads again to the last bit."""

import numpy as np

from layflat.surface.mesh import Mesh


def ply_bytes(mesh: Mesh) -> bytes:
    """*mesh* as binary little-endian PLY in millimetres, coordinates as 64-bit floats."""
    header = (
        "ply\nformat binary_little_endian 1.0\n"
        f"element vertex {len(mesh.vertices_mm)}\n"
        "property double x\nproperty double y\nproperty double z\n"
        f"element face {len(mesh.faces)}\nproperty list uchar int vertex_indices\nend_header\n"
    )
    rows = np.empty(len(mesh.faces), np.dtype([("count", "u1"), ("ids", "<i4", 3)]))
    rows["count"], rows["ids"] = 3, mesh.faces
    return header.encode("ascii") + mesh.vertices_mm.astype("<f8").tobytes() + rows.tobytes()
