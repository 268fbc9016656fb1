"""Points carried between the surface and its flat pattern."""

import igl
import numpy as np

from layflat.base import FloatArray, IntArray
from layflat.film.flat import Flat


def to_flat(flat: Flat, points_mm: FloatArray) -> FloatArray:
    """Where points on or near the surface lie in the flat pattern.

    Args:
        flat: the flattened region.
        points_mm: (k, 3) float64; each is taken to the nearest point of the surface first.

    Returns:
        (k, 2) float64.
    """
    return _carried(points_mm, flat.mesh.vertices_mm, flat.points_mm, flat.mesh.faces)


def to_surface(flat: Flat, points_mm: FloatArray) -> FloatArray:
    """Where points of the flat pattern come to lie on the surface.

    Args:
        flat: the flattened region.
        points_mm: (k, 2) float64; each is taken to the nearest point of the pattern first. Where
            the pattern overlaps itself, one of the places is taken.

    Returns:
        (k, 3) float64.
    """
    points = np.asarray(points_mm, dtype=np.float64).reshape(-1, 2)
    return _carried(
        _in_space(points), _in_space(flat.points_mm), flat.mesh.vertices_mm, flat.mesh.faces
    )


def _carried(
    points: FloatArray, domain: FloatArray, target: FloatArray, faces: IntArray
) -> FloatArray:
    """The places on *target* that correspond to those nearest *points* on *domain*."""
    points = np.ascontiguousarray(points, dtype=np.float64).reshape(-1, 3)
    if not len(points):
        return np.zeros((0, target.shape[1]))
    _, triangles, nearest = igl.point_mesh_squared_distance(points, domain, faces)
    corners = faces[triangles]
    a, b, c = (domain[corners[:, i]] for i in range(3))
    # Weights from the areas opposite each corner, in the plane of the triangle.
    normal = np.cross(b - a, c - a)
    size = np.einsum("ij,ij->i", normal, normal)
    at_b = np.einsum("ij,ij->i", np.cross(nearest - a, c - a), normal) / size
    at_c = np.einsum("ij,ij->i", np.cross(b - a, nearest - a), normal) / size
    weights = np.column_stack((1.0 - at_b - at_c, at_b, at_c))
    return np.asarray(np.einsum("ij,ijk->ik", weights, target[corners]))


def _in_space(points_mm: FloatArray) -> FloatArray:
    return np.column_stack((points_mm, np.zeros(len(points_mm))))
