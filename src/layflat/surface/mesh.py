"""A triangle mesh in millimetres."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from layflat.base import FloatArray, IntArray, frozen


@dataclass(frozen=True, eq=False)
class Mesh:
    """Triangles in space; faces run counter-clockwise seen from outside.

    Attributes:
        vertices_mm: (n, 3) float64, finite.
        faces: (m, 3) int64, indices into `vertices_mm`.
    """

    vertices_mm: FloatArray
    faces: IntArray

    def __post_init__(self) -> None:
        object.__setattr__(self, "vertices_mm", frozen(self.vertices_mm).reshape(-1, 3))
        object.__setattr__(self, "faces", frozen(self.faces, np.int64).reshape(-1, 3))

    @cached_property
    def face_areas_mm2(self) -> FloatArray:
        """(m,) float64: the area of each triangle."""
        a, b, c = (self.vertices_mm[self.faces[:, i]] for i in range(3))
        areas: FloatArray = frozen(0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1))
        return areas

    @property
    def area_mm2(self) -> float:
        """The area of the whole mesh."""
        return float(self.face_areas_mm2.sum())
