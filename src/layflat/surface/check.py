"""What a mesh is like, for a person who wants to know whether it will do."""

from dataclasses import dataclass

import numpy as np

from layflat.base import MeshError
from layflat.surface.measure import ring_length_mm, triangle_quality
from layflat.surface.mesh import Mesh
from layflat.surface.topology import boundary_loops, edge_table, face_components, manifold_fault

_POOR = 0.05
"""A triangle of less quality than this is a splinter."""


@dataclass(frozen=True, kw_only=True)
class MeshReport:
    """Counts and measures of a mesh.

    Attributes:
        vertices, triangles, shells: counts.
        size_mm: length, width and height of the box round it.
        area_mm2: its area.
        fault: what keeps it from being manifold and oriented, or "".
        rims_mm: the lengths of its boundary loops, longest first; empty while there is a fault.
        median_side_mm: the median length of its edges.
        splinters: how many triangles are very thin (quality below 0.05, 1 is equilateral).
    """

    vertices: int
    triangles: int
    shells: int
    size_mm: tuple[float, float, float]
    area_mm2: float
    fault: str
    rims_mm: tuple[float, ...]
    median_side_mm: float
    splinters: int


def check_mesh(mesh: Mesh) -> MeshReport:
    """Measure *mesh*, which may have any faults but must have a triangle.

    Raises:
        MeshError: it has none.
    """
    if not len(mesh.faces):
        raise MeshError("The mesh has no triangles, so there is nothing to measure.")
    table = edge_table(mesh.faces)
    fault = manifold_fault(mesh.faces, table) or ""
    points = mesh.vertices_mm[np.unique(mesh.faces)]
    size = points.max(axis=0) - points.min(axis=0)
    ends = mesh.vertices_mm[table.ends]
    rims: list[float] = []
    if not fault:
        for loop in boundary_loops(mesh.faces, table):
            rim = mesh.vertices_mm[loop]
            rims.append(ring_length_mm(rim))
    return MeshReport(
        vertices=len(points),
        triangles=len(mesh.faces),
        shells=int(face_components(table).max()) + 1,
        size_mm=(float(size[0]), float(size[1]), float(size[2])),
        area_mm2=mesh.area_mm2,
        fault=fault,
        rims_mm=tuple(sorted(rims, reverse=True)),
        median_side_mm=float(np.median(np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1))),
        splinters=int((triangle_quality(mesh) < _POOR).sum()),
    )
