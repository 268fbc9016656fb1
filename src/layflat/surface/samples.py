"""Places spread evenly over a surface, for searches that need not look at every triangle."""

from dataclasses import dataclass

import numpy as np

from layflat.base import FloatArray, MeshError, frozen
from layflat.surface.mesh import Mesh


@dataclass(frozen=True, eq=False)
class Samples:
    """Places on a surface.

    Attributes:
        points_mm: (k, 3) float64.
        normals: (k, 3) float64, of the triangles that they lie in, of length 1.
    """

    points_mm: FloatArray
    normals: FloatArray

    def __post_init__(self) -> None:
        object.__setattr__(self, "points_mm", frozen(self.points_mm).reshape(-1, 3))
        object.__setattr__(self, "normals", frozen(self.normals).reshape(-1, 3))

    def __len__(self) -> int:
        return len(self.points_mm)

    def kept(self, which: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> "Samples":
        """Those that (k,) bool says."""
        return Samples(self.points_mm[which], self.normals[which])


def sample(mesh: Mesh, count: int, *, seed: int = 0) -> Samples:
    """*count* random places, as many on each square millimetre; the same call gives the same.

    Raises:
        MeshError: the mesh has no area.
    """
    area = mesh.face_areas_mm2
    total = np.cumsum(area)
    if not len(total) or total[-1] <= 0:
        raise MeshError("The scan has no surface.")
    rng = np.random.default_rng(seed)
    # One place in each of equal shares of the area lies more evenly than free draws.
    at = (np.arange(count) + rng.random(count)) / count * total[-1]
    faces = np.minimum(np.searchsorted(total, at, side="right"), len(area) - 1)
    faces = faces[area[faces] > 0]
    a, b, c = (mesh.vertices_mm[mesh.faces[faces, i]] for i in range(3))
    u, v = rng.random((2, len(faces), 1))
    over = u + v > 1
    u, v = np.where(over, 1 - u, u), np.where(over, 1 - v, v)
    normal = np.cross(b - a, c - a)
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    return Samples(a + u * (b - a) + v * (c - a), normal)
