"""One photograph by itself: its light on the table, and from where it looks."""

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from layflat.base import FloatArray
from layflat.photo.ground import Ground, doubt_of
from layflat.photo.profile import Lit
from layflat.photo.records import Grey, Mask, cubic_light


class View(Lit, Protocol):
    """What is asked of one photograph when several are compared."""

    def leans_at(self, points_mm: FloatArray) -> FloatArray:
        """(n, 2) how far what lies 1 mm above points (n, 2) of the table appears moved, in mm."""

    def doubt_at(self, points_mm: FloatArray) -> FloatArray:
        """(n,) mm: standard deviation of where this photograph alone puts points (n, 2)."""


@dataclass(frozen=True, eq=False, kw_only=True)
class PhotoView:
    """A photograph with the solution that says where it was taken from.

    Attributes:
        ground: the solution.
        picture: its number there.
        light: (H, W) float32.
        mm_per_px: what a pixel covers, about.
        sharp_mm: how far light spreads.
        noise: of the light.
    """

    ground: Ground
    picture: int
    light: Grey
    mm_per_px: float
    sharp_mm: float
    noise: float

    def light_at(self, points_mm: FloatArray) -> FloatArray:
        """(n, m) float64 light at points (n, m, 2) in mm."""
        pixels = self._pixels(points_mm)
        return cubic_light(self.light, np.nan_to_num(pixels, nan=-1e4))

    def sees(self, points_mm: FloatArray) -> Mask:
        """(n, m) bool: whether points (n, m, 2) in mm lie in the photograph."""
        height, width = self.light.shape
        with np.errstate(invalid="ignore"):
            pixels = self._pixels(points_mm)
            inside = (pixels >= 2.0) & (pixels <= (width - 3.0, height - 3.0))
        return np.asarray(inside.all(axis=2), dtype=np.bool_)

    def leans_at(self, points_mm: FloatArray) -> FloatArray:
        """(n, 2) float64: away from the point below the camera, by its distance over the height.

        Similar triangles: what lies h above a place is seen at h / (H - h) of the way from the
        camera's foot, H being the camera's height; h is small beside it.
        """
        foot, high_mm = self.ground.camera(self.picture)
        leans: FloatArray = (points_mm - foot) / high_mm
        return leans

    def doubt_at(self, points_mm: FloatArray) -> FloatArray:
        """(n,) float64 mm: standard deviation of where this photograph puts points (n, 2)."""
        weights = np.zeros((len(self.ground.solved.sightings), len(points_mm)))
        weights[self.picture] = 1.0
        return doubt_of(self.ground, points_mm, weights)

    def _pixels(self, points_mm: FloatArray) -> FloatArray:
        pixels = self.ground.to_picture(self.picture, points_mm.reshape(-1, 2))
        return pixels.reshape(points_mm.shape)


def views_of(
    ground: Ground, lights: list[Grey], *, spread_px: list[float], noise: list[float]
) -> tuple[PhotoView, ...]:
    """The photographs of a solution, each by itself, in its order."""
    low, high = ground.hull_mm.min(axis=0), ground.hull_mm.max(axis=0)
    x, y = np.meshgrid(*(np.linspace(low[i], high[i], 9)[1:-1] for i in (0, 1)))
    places = np.column_stack((x.ravel(), y.ravel()))
    found = []
    for picture, light in enumerate(lights):
        detail = ground.detail(picture, places)
        if not np.any(detail > 0):
            continue
        mm_per_px = 1.0 / float(np.median(detail[detail > 0]))
        found.append(
            PhotoView(
                ground=ground,
                picture=picture,
                light=light,
                mm_per_px=mm_per_px,
                sharp_mm=spread_px[picture] * mm_per_px,
                noise=noise[picture],
            )
        )
    return tuple(found)
