"""Triangles of a surface in frames of their own, and the derivative of a map from them.

The flat plane is taken as the complex numbers. In a triangle's own frame (first corner at 0,
second corner on the positive real axis) a map that is linear on the triangle reads
``f(z) = f0 + a z + b conj(z)``; *a* turns and scales (the conformal part), *b* distorts. Its
singular values are ``|a| + |b|`` and ``|a| - |b|``. No angle, no branch and no division is
needed to get them, also where both are equal.
"""

from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from layflat.base import FloatArray, MeshError
from layflat.surface import Mesh

ComplexArray = NDArray[np.complex128]
FaceArray = NDArray[np.int32]

_LEAST_HEIGHT = 1e-10
"""Least height of a triangle over its longest side; below it, rounding decides its shape."""


@dataclass(frozen=True, eq=False)
class Frames:
    """The triangles of a surface, each in a frame of its own.

    Attributes:
        corners: three (m,) int32 arrays, the vertex ids of each triangle's corners.
        slopes: two (m,) complex arrays: `a` is ``slopes[0] (p1 - p0) + slopes[1] (p2 - p0)``
            for corners mapped to p0, p1, p2; `b` is the same with conjugated slopes. In 1/mm.
        areas: (m,) float64, in mm².
        vertex_count: number of vertices n.
    """

    corners: tuple[FaceArray, FaceArray, FaceArray]
    slopes: tuple[ComplexArray, ComplexArray]
    areas: FloatArray
    vertex_count: int

    def sides(self, points: ComplexArray) -> tuple[ComplexArray, ComplexArray]:
        """Two sides ``p1 - p0`` and ``p2 - p0`` of each triangle mapped to (n,) *points*."""
        first, second, third = (points[corner] for corner in self.corners)
        second -= first
        third -= first
        return second, third

    def derivative(
        self, sides: tuple[ComplexArray, ComplexArray]
    ) -> tuple[ComplexArray, ComplexArray]:
        """The conformal and the distorting part (a, b) of the map, (m,) each."""
        (p, q), (c, d) = sides, self.slopes
        return c * p + d * q, c.conj() * p + d.conj() * q

    def gather(self, along_a: ComplexArray, along_b: ComplexArray) -> ComplexArray:
        """The transpose of `derivative`: (n,) sums over triangles, for gradients."""
        (c, d) = self.slopes
        second = along_a * c.conj() + along_b * c
        third = along_a * d.conj() + along_b * d
        ids = np.concatenate(self.corners)
        total = np.empty(self.vertex_count, dtype=np.complex128)
        for part in ("real", "imag"):
            p, q = getattr(second, part), getattr(third, part)
            weights = np.concatenate((-(p + q), p, q))
            setattr(total, part, np.bincount(ids, weights, minlength=self.vertex_count))
        return total

    def laplacian(self) -> sp.csc_array:
        """(n, n) stiffness matrix of the Dirichlet energy (cotangent weights), in csc form."""
        c1, c2 = self.slopes
        slopes = (-(c1 + c2), c1, c2)
        rows, columns, values = [], [], []
        for i in range(3):
            for j in range(3):
                rows.append(self.corners[i])
                columns.append(self.corners[j])
                product = slopes[i].real * slopes[j].real + slopes[i].imag * slopes[j].imag
                values.append(4.0 * self.areas * product)
        n = self.vertex_count
        entries = (np.concatenate(values), (np.concatenate(rows), np.concatenate(columns)))
        return sp.coo_array(entries, shape=(n, n)).tocsc()


def frames_of(vertices_mm: FloatArray, faces: NDArray[np.integer]) -> Frames:
    """The frames of the triangles *faces* (m, 3) over *vertices_mm* (n, 3).

    Raises:
        MeshError: a triangle has no area.
    """
    ids = np.ascontiguousarray(faces.T, dtype=np.int32)
    corners = (ids[0], ids[1], ids[2])
    origin = vertices_mm[corners[0]]
    first = vertices_mm[corners[1]] - origin
    second = vertices_mm[corners[2]] - origin
    doubled = np.linalg.norm(np.cross(first, second), axis=1)
    length = np.linalg.norm(first, axis=1)
    longest = np.maximum(length, np.linalg.norm(second, axis=1))
    np.maximum(longest, np.linalg.norm(second - first, axis=1), out=longest)
    # The comparison is written so that a NaN fails it too.
    flawed = ~(doubled > _LEAST_HEIGHT * longest**2)
    if flawed.any():
        raise _no_area(vertices_mm, faces, flawed)
    along = np.einsum("ij,ij->i", first, second) / length
    side = along + 1j * (doubled / length)
    slopes = (0.5j * side.conj() / doubled, -0.5j * length / doubled)
    return Frames(corners, slopes, 0.5 * doubled, len(vertices_mm))


def frames_of_mesh(mesh: Mesh) -> Frames:
    """The frames of the triangles of *mesh*.

    Raises:
        MeshError: a triangle has no area.
    """
    return frames_of(mesh.vertices_mm, mesh.faces)


def _no_area(
    vertices_mm: FloatArray, faces: NDArray[np.integer], flawed: NDArray[np.bool_]
) -> MeshError:
    x, y, z = vertices_mm[faces[int(np.argmax(flawed))]].mean(axis=0)
    count = int(flawed.sum())
    triangles = "One triangle has" if count == 1 else f"{count} triangles have"
    return MeshError(
        f"{triangles} no area, the first near x {x:.1f}, y {y:.1f}, z {z:.1f} mm: "
        "mend the mesh first (merge its double vertices, drop its needles)."
    )


def cross(p: ComplexArray, q: ComplexArray) -> FloatArray:
    """The cross product of plane vectors: twice the signed area between them."""
    return np.asarray(p.real * q.imag - p.imag * q.real)
