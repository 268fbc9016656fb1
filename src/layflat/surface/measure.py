"""Measures of a mesh and of a region's boundary: areas, lengths, angles, curvature.

Angle sums follow Descartes and Gauss–Bonnet: over a whole mesh the angle defects add up to
two pi times its Euler characteristic, whatever the shape.
"""

import numpy as np

from layflat.base import FloatArray, IntArray
from layflat.surface.mesh import Mesh
from layflat.surface.region import Region
from layflat.surface.topology import edge_table


def corner_angles(mesh: Mesh) -> FloatArray:
    """(m, 3) float64: the angle of each triangle at each of its corners, in radians."""
    points = mesh.vertices_mm[mesh.faces]
    sides = np.roll(points, -1, axis=1) - points
    back = -np.roll(sides, 1, axis=1)
    cross = np.linalg.norm(np.cross(sides, back), axis=2)
    angles: FloatArray = np.arctan2(cross, np.einsum("ijk,ijk->ij", sides, back))
    return angles


def angle_defects(mesh: Mesh) -> FloatArray:
    """(n,) float64: by how much the angles round each vertex fall short of a flat sheet's.

    In the interior two pi minus their sum, the integrated Gaussian curvature (Descartes); on
    the boundary pi minus their sum, the turning of the boundary, positive at convex corners. A
    vertex without triangles has 0.
    """
    table = edge_table(mesh.faces)
    total = np.full(len(mesh.vertices_mm), 2 * np.pi)
    total[table.ends[table.count == 1].reshape(-1)] = np.pi
    spent = np.bincount(
        mesh.faces.reshape(-1), corner_angles(mesh).reshape(-1), minlength=len(total)
    )
    used = np.bincount(mesh.faces.reshape(-1), minlength=len(total)) > 0
    return np.where(used, total - spent, 0.0)


def loop_length_mm(mesh: Mesh, vertices: IntArray) -> float:
    """The length of the closed line through the given vertices."""
    return ring_length_mm(mesh.vertices_mm[vertices])


def ring_length_mm(points: FloatArray) -> float:
    """The length of the closed line through (k, 3) points, the first not repeated."""
    return float(np.linalg.norm(np.roll(points, -1, axis=0) - points, axis=1).sum())


def edge_lengths_mm(region: Region) -> tuple[FloatArray, ...]:
    """For each loop of the region, the length of each of its edges in order."""
    result: list[FloatArray] = []
    for loop in region.loops:
        points = region.mesh.vertices_mm[loop.vertices]
        steps = np.linalg.norm(np.roll(points, -1, axis=0) - points, axis=1)
        result.append(
            np.bincount(loop.edge_of, steps, minlength=len(loop.edges)).astype(np.float64)
        )
    return tuple(result)


def boundary_turning(region: Region) -> tuple[FloatArray, ...]:
    """For each loop, the turning of the boundary at each of its vertices within the surface.

    In radians, positive where it turns left (the outer loop's convex corners). A corner of a
    flat square turns by pi / 2.
    """
    defects = angle_defects(region.mesh)
    return tuple(defects[loop.vertices] for loop in region.loops)


def triangle_quality(mesh: Mesh) -> FloatArray:
    """(m,) float64: 4 sqrt(3) area / sum of squared sides; 1 is equilateral, 0 degenerate."""
    points = mesh.vertices_mm[mesh.faces]
    sides = np.roll(points, -1, axis=1) - points
    total = np.einsum("ijk,ijk->i", sides, sides)
    safe = np.where(total > 0, total, 1.0)
    return np.where(total > 0, 4 * np.sqrt(3.0) * mesh.face_areas_mm2 / safe, 0.0)
