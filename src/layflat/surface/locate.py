"""The nearest places of a surface to points in space."""

from dataclasses import dataclass

import igl
import numpy as np

from layflat.base import FloatArray, IntArray, MeshError, frozen
from layflat.surface.mesh import Mesh


@dataclass(frozen=True, eq=False)
class Located:
    """Where points lie on a mesh.

    Attributes:
        faces: (k,) int64, the face of the nearest place.
        barycentric: (k, 3) float64, its weights at the face's corners: each >= 0, sum 1.
        points_mm: (k, 3) float64, the nearest place itself.
        distances_mm: (k,) float64, how far away it is.
    """

    faces: IntArray
    barycentric: FloatArray
    points_mm: FloatArray
    distances_mm: FloatArray

    def __post_init__(self) -> None:
        object.__setattr__(self, "faces", frozen(self.faces, np.int64))
        for name in ("barycentric", "points_mm", "distances_mm"):
            object.__setattr__(self, name, frozen(getattr(self, name)))


class Locator:
    """Finds the nearest places of one mesh again and again; its tree of boxes is built once."""

    def __init__(self, mesh: Mesh) -> None:
        """Build the tree.

        Args:
            mesh: where places are looked for.

        Raises:
            MeshError: the mesh has no triangles.
        """
        if not len(mesh.faces):
            raise MeshError("The surface has no triangles, so nothing can be located on it.")
        self.mesh = mesh
        self._tree = igl.AABB()
        self._tree.init(mesh.vertices_mm, mesh.faces)

    def __call__(self, points_mm: FloatArray) -> Located:
        """The nearest place to each of the (k, 3) points.

        Raises:
            MeshError: a point is not finite.
        """
        points = np.ascontiguousarray(np.asarray(points_mm, np.float64).reshape(-1, 3))
        if not np.isfinite(points).all():
            raise MeshError("A point to be located on the surface is not a finite number.")
        if not len(points):
            none = np.zeros((0, 3))
            return Located(np.zeros(0, np.int64), none, none, np.zeros(0))
        vertices, faces = self.mesh.vertices_mm, self.mesh.faces
        squared, found, nearest = self._tree.squared_distance(vertices, faces, points)
        found = np.atleast_1d(found).astype(np.int64)
        nearest = np.asarray(nearest).reshape(-1, 3)
        weights = barycentric(vertices[faces[found]], nearest)
        return Located(found, weights, nearest, np.sqrt(np.atleast_1d(squared)))


def locate(mesh: Mesh, points_mm: FloatArray) -> Located:
    """The nearest place of *mesh* to each of the (k, 3) points, by libigl's tree of boxes.

    Raises:
        MeshError: the mesh has no triangles, or a point is not finite.
    """
    return Locator(mesh)(points_mm)


def barycentric(corners: FloatArray, points: FloatArray) -> FloatArray:
    """(k, 3) weights of (k, 3) points in (k, 3, 3) triangles, cut to the triangle.

    A degenerate triangle gives its weight to the corner that is nearest.
    """
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    normal = np.cross(b - a, c - a)
    size = np.einsum("ij,ij->i", normal, normal)
    flat = size <= 0
    safe = np.where(flat, 1.0, size)
    weights = np.stack(
        [
            np.einsum("ij,ij->i", np.cross(c - b, points - b), normal) / safe,
            np.einsum("ij,ij->i", np.cross(a - c, points - c), normal) / safe,
            np.einsum("ij,ij->i", np.cross(b - a, points - a), normal) / safe,
        ],
        axis=1,
    )
    if flat.any():
        gap = np.linalg.norm(corners[flat] - points[flat, None], axis=2)
        weights[flat] = np.eye(3)[gap.argmin(axis=1)]
    weights = np.clip(weights, 0.0, None)
    normed: FloatArray = weights / weights.sum(axis=1, keepdims=True)
    return normed
