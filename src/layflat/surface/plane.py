"""A plane in space: heights over it, places mirrored in it, and the plane that fits points best."""

from dataclasses import dataclass

import numpy as np

from layflat.base import FloatArray, MeshError, frozen


@dataclass(frozen=True, eq=False)
class Plane:
    """The points p with normal · p = offset_mm.

    Attributes:
        normal: (3,) float64, of length 1.
        offset_mm: its distance from the origin along the normal.
    """

    normal: FloatArray
    offset_mm: float

    def __post_init__(self) -> None:
        normal = np.asarray(self.normal, np.float64).reshape(3)
        length = float(np.linalg.norm(normal))
        if not np.isfinite(length) or length < 1e-12:
            raise MeshError("A plane has no direction: the points that give it lie in one line.")
        object.__setattr__(self, "normal", frozen(normal / length))
        object.__setattr__(self, "offset_mm", float(self.offset_mm) / length)

    def heights_mm(self, points_mm: FloatArray) -> FloatArray:
        """(k,) float64: how far (k, 3) points lie over the plane, on the side of its normal."""
        heights: FloatArray = points_mm @ self.normal - self.offset_mm
        return heights

    def mirrored(self, points_mm: FloatArray) -> FloatArray:
        """(k, 3) float64: the places on the other side."""
        other: FloatArray = points_mm - 2.0 * self.heights_mm(points_mm)[:, None] * self.normal
        return other

    def turned(self) -> "Plane":
        """The same plane seen from its other side."""
        return Plane(-self.normal, -self.offset_mm)


def plane_through(points_mm: FloatArray) -> Plane:
    """The plane with the least squares of distances to (k, 3) points, k >= 3.

    Raises:
        MeshError: the points are not finite, or lie in one line.
    """
    points = np.asarray(points_mm, np.float64).reshape(-1, 3)
    if len(points) < 3 or not np.isfinite(points).all():
        raise MeshError("A plane needs three points that are finite numbers.")
    middle = points.mean(axis=0)
    values, axes = np.linalg.svd(points - middle, full_matrices=False)[1:]
    if values[1] <= 1e-6 * max(values[0], 1e-12):
        raise MeshError("The three points lie in one line; pick them well apart.")
    return Plane(axes[2], float(axes[2] @ middle))
