"""Points carried between the surface and its flat pattern."""

import numpy as np

from layflat.base import FloatArray
from layflat.film.flat import Flat
from layflat.surface import Mesh, locate


def to_flat(flat: Flat, points_mm: FloatArray) -> FloatArray:
    """Where points on or near the surface lie in the flat pattern.

    Args:
        flat: the flattened region.
        points_mm: (k, 3) float64; each is taken to the nearest point of the surface first.

    Returns:
        (k, 2) float64.
    """
    return _carried(flat.mesh, points_mm, flat.points_mm)


def to_surface(flat: Flat, points_mm: FloatArray) -> FloatArray:
    """Where points of the flat pattern come to lie on the surface.

    Args:
        flat: the flattened region.
        points_mm: (k, 2) float64; each is taken to the nearest point of the pattern first. Where
            the pattern overlaps itself, one of the places is taken.

    Returns:
        (k, 3) float64.
    """
    pattern = Mesh(_in_space(flat.points_mm), flat.mesh.faces)
    points = np.asarray(points_mm, dtype=np.float64).reshape(-1, 2)
    return _carried(pattern, _in_space(points), flat.mesh.vertices_mm)


def _carried(mesh: Mesh, points_mm: FloatArray, target: FloatArray) -> FloatArray:
    """The values of the (n, d) *target* at the places of *mesh* nearest to the points."""
    located = locate(mesh, points_mm)
    corners = target[mesh.faces[located.faces]]
    return np.asarray(np.einsum("ij,ijk->ik", located.barycentric, corners))


def _in_space(points_mm: FloatArray) -> FloatArray:
    return np.column_stack((points_mm, np.zeros(len(points_mm))))
