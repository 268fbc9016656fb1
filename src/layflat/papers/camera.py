"""Where the eye stands: points to pixels, and pixels to rays."""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from layflat.base import FloatArray

_Number = TypeVar("_Number", bound=np.floating[Any])


@dataclass(frozen=True, kw_only=True)
class View:
    """Where the eye is.

    Attributes:
        name: what people call it.
        azimuth_deg: where it stands, counter-clockwise seen from above; 0 is before the nose
            (+x), 90 is to the left (+y).
        elevation_deg: how high it stands, -90 to 90.
        distance: from the middle of what is seen, in half diagonals of its box; 0 means
            parallel rays.
    """

    name: str
    azimuth_deg: float
    elevation_deg: float
    distance: float = 5.0


VIEWS: Mapping[str, View] = MappingProxyType(
    {
        view.name: view
        for view in (
            View(name="front-left", azimuth_deg=36, elevation_deg=14),
            View(name="front-right", azimuth_deg=-36, elevation_deg=14),
            View(name="rear-left", azimuth_deg=146, elevation_deg=16),
            View(name="rear-right", azimuth_deg=-146, elevation_deg=16),
            View(name="front", azimuth_deg=0, elevation_deg=6),
            View(name="rear", azimuth_deg=180, elevation_deg=6),
            View(name="left", azimuth_deg=90, elevation_deg=0, distance=0),
            View(name="right", azimuth_deg=-90, elevation_deg=0, distance=0),
            View(name="top", azimuth_deg=180, elevation_deg=90, distance=0),
        )
    }
)
"""The views that papers use, by name."""


def along(vectors: NDArray[_Number], direction: NDArray[_Number]) -> NDArray[_Number]:
    """How far vectors (k, 3) reach along a direction (3,).

    A matrix product would wake the threads of the algebra library for work this small.
    """
    reach: NDArray[_Number] = np.einsum("ij,j->i", vectors, direction)
    return reach


class Camera:
    """Maps points to pixels (x right, y down) and pixels to rays; depth grows away from the eye."""

    def __init__(
        self, points: FloatArray, *, view: View, size_px: tuple[int, int], margin: float
    ) -> None:
        """A camera whose picture is filled by *points*, (k, 3)."""
        low, high = points.min(axis=0), points.max(axis=0)
        self.target = 0.5 * (low + high)
        radius = max(0.5 * float(np.linalg.norm(high - low)), 1e-9)
        azimuth, elevation = np.radians([view.azimuth_deg, view.elevation_deg])
        near = np.array(
            [
                np.cos(elevation) * np.cos(azimuth),
                np.cos(elevation) * np.sin(azimuth),
                np.sin(elevation),
            ]
        )
        right = np.array([-np.sin(azimuth), np.cos(azimuth), 0.0])
        self.axes: FloatArray = np.stack([right, np.cross(near, right), near])
        self.distance = view.distance * radius
        self.size_px = size_px
        self.scale, self.centre = 1.0, np.zeros(2)
        flat = self._plane(points)[0]
        span = np.maximum(np.ptp(flat, axis=0), 1e-9)
        free = (1 - 2 * margin) * np.array(size_px)
        self.scale = float((free / span).min())
        self.centre = 0.5 * (flat.min(axis=0) + flat.max(axis=0))

    def _plane(self, points: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Coordinates in the picture plane through the target, in mm, and depths."""
        moved = points - self.target
        local = np.column_stack([along(moved, axis) for axis in self.axes])
        if self.distance:
            factor = self.distance / np.maximum(self.distance - local[:, 2], 1e-3 * self.distance)
            return local[:, :2] * factor[:, None], self.distance - local[:, 2]
        return local[:, :2], -local[:, 2]

    def project(self, points: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Pixels (k, 2) and depths (k,) of points (k, 3)."""
        flat, depth = self._plane(points)
        pixels = (flat - self.centre) * self.scale * np.array([1, -1])
        return pixels + 0.5 * np.array(self.size_px), depth

    def window(self, points: FloatArray) -> tuple[slice, slice]:
        """The rows and columns of the picture that *points* span."""
        pixels, _ = self.project(points)
        low = np.clip(np.floor(pixels.min(axis=0)) - 2, 0, self.size_px).astype(int)
        high = np.clip(np.ceil(pixels.max(axis=0)) + 2, 0, self.size_px).astype(int)
        return slice(int(low[1]), int(high[1])), slice(int(low[0]), int(high[0]))

    def all_of_it(self) -> tuple[slice, slice]:
        """The rows and columns of the whole picture."""
        return slice(0, self.size_px[1]), slice(0, self.size_px[0])

    def rays(self, columns: FloatArray, rows: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Origins about the target, and unit directions, of the rays of a grid, row by row.

        Args:
            columns: (w,) places along the picture, in pixels.
            rows: (h,) places down the picture, in pixels.

        Returns:
            two arrays (h * w, 3); all origins are equally far from the picture plane.
        """
        across = (columns - 0.5 * self.size_px[0]) / self.scale + self.centre[0]
        upward = self.centre[1] - (rows - 0.5 * self.size_px[1]) / self.scale
        plane = across[None, :, None] * self.axes[0] + upward[:, None, None] * self.axes[1]
        plane = plane.reshape(-1, 3)
        if self.distance:
            eye = self.distance * self.axes[2]
            direction = plane - eye
            length = np.sqrt(np.einsum("ij,ij->i", direction, direction))
            return np.broadcast_to(eye, plane.shape), direction / length[:, None]
        far = 1e4 / min(self.scale, 1.0) + np.abs(plane).max(initial=0.0)
        return plane + far * self.axes[2], np.broadcast_to(-self.axes[2], plane.shape)
