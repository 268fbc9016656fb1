"""Whether a panel is its own mirror image, left to right, and the mirrored place of a point."""

from dataclasses import dataclass

import numpy as np

from layflat.base import FloatArray
from layflat.surface import Region, locate

SAME_MM = 1.0
"""A panel whose mirror image lies within this of it, but for a hundredth, is symmetric."""


@dataclass(frozen=True, eq=False)
class Mirror:
    """A plane that a panel is symmetric about.

    Attributes:
        across: (3,) float64, its unit normal.
        offset_mm: the plane is where ``across · x`` is this.
    """

    across: FloatArray
    offset_mm: float

    def image(self, points_mm: FloatArray) -> FloatArray:
        """(k, 3): the mirror image."""
        off = points_mm @ self.across - self.offset_mm
        return np.asarray(points_mm - 2.0 * off[:, None] * self.across)

    def onto(self, points_mm: FloatArray) -> FloatArray:
        """(k, 3): the points moved onto the plane."""
        off = points_mm @ self.across - self.offset_mm
        return np.asarray(points_mm - off[:, None] * self.across)

    def off_mm(self, points_mm: FloatArray) -> tuple[float, float]:
        """How far a path is from the plane at least, 0 if it crosses it, and at most."""
        off = points_mm @ self.across - self.offset_mm
        crosses = float(off.min()) < 0.0 < float(off.max())
        return 0.0 if crosses else float(np.abs(off).min()), float(np.abs(off).max())


def find_mirror(
    region: Region, *, up: tuple[float, float, float], forward: tuple[float, float, float]
) -> Mirror | None:
    """The plane along *up* and *forward* that *region* is symmetric about, if it is."""
    across = np.cross(np.asarray(up, np.float64), np.asarray(forward, np.float64))
    across /= np.linalg.norm(across)
    points = region.mesh.vertices_mm
    along = points @ across
    mirror = Mirror(across, 0.5 * float(along.min() + along.max()))
    rim = np.concatenate([points[loop.vertices] for loop in region.loops])
    some = np.concatenate((rim, points[:: max(len(points) // 2000, 1)]))
    off = locate(region.mesh, mirror.image(some)).distances_mm
    return mirror if float(np.quantile(off, 0.99)) <= SAME_MM else None
