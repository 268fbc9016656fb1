"""Scenes as pictures of the plane, without a frame: straight from above, or by the true camera."""

from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from layflat.photo.records import Plane
from photo.rendered import Camera, Floats, Light, Scene, render

EVEN = Light(vignette=0.0)


@dataclass(frozen=True, eq=False)
class Flatbed:
    """A camera that sees the table at one scale: pixel (0, 0) is the upper left of a box."""

    box_mm: tuple[float, float, float, float]
    mm_per_px: float = 0.4
    focal_px: float = 2500.0
    place_mm: Floats = field(default_factory=lambda: np.array([0.0, 0.0, 1000.0]))

    @property
    def size(self) -> tuple[int, int]:
        x0, y0, x1, y1 = self.box_mm
        return round((x1 - x0) / self.mm_per_px) + 1, round((y1 - y0) / self.mm_per_px) + 1

    @property
    def centre_px(self) -> tuple[float, float]:
        return 0.5 * (self.size[0] - 1), 0.5 * (self.size[1] - 1)

    def project(self, points_mm: Floats) -> Floats:
        x0, _, _, y1 = self.box_mm
        return (points_mm[:, :2] - (x0, y1)) / (self.mm_per_px, -self.mm_per_px)

    def on_table(self, pixels: Floats) -> Floats:
        x0, _, _, y1 = self.box_mm
        return np.array([x0, y1]) + pixels * (self.mm_per_px, -self.mm_per_px)


def scanned(
    scene: Scene,
    box_mm: tuple[float, float, float, float],
    *,
    mm_per_px: float = 0.4,
    light: Light = EVEN,
    seed: int = 1,
    **sensor: float,
) -> Plane:
    """The plane of a scene seen straight from above."""
    bed = Flatbed(box_mm, mm_per_px)
    photo = render(scene, bed, light=light, seed=seed, **sensor)  # type: ignore[arg-type]
    return plane(linear(photo), box_mm, mm_per_px, blur_mm=sensor.get("blur_px", 0.7) * mm_per_px)


def warped(
    photo: NDArray[np.uint8],
    seen_by: Camera,
    box_mm: tuple[float, float, float, float],
    *,
    mm_per_px: float = 0.4,
) -> Plane:
    """The plane of a photograph by its true camera."""
    bed = Flatbed(box_mm, mm_per_px)
    width, height = bed.size
    x, y = np.meshgrid(np.arange(width), np.arange(height))
    mm = bed.on_table(np.column_stack((x.ravel(), y.ravel())).astype(np.float64))
    px = seen_by.project(mm).astype(np.float32).reshape(height, width, 2)
    grey = cv2.remap(linear(photo), px, None, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    inside = (px >= 1).all(axis=2) & (px <= np.array(seen_by.size) - 2).all(axis=2)
    return plane(grey, box_mm, mm_per_px, blur_mm=0.7 * mm_per_px, seen=inside)


def linear(photo: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Grey light of a photograph: the sRGB curve undone, the three colours by their weights."""
    codes = np.arange(256) / 255.0
    curve = np.where(codes <= 0.04045, codes / 12.92, ((codes + 0.055) / 1.055) ** 2.4)
    return cv2.transform(
        cv2.LUT(photo, curve.astype(np.float32)), np.array([[0.2126, 0.7152, 0.0722]], np.float32)
    )


def plane(
    grey: NDArray[np.float32],
    box_mm: tuple[float, float, float, float],
    mm_per_px: float,
    *,
    blur_mm: float,
    seen: NDArray[np.bool_] | None = None,
) -> Plane:
    """A plane without doubt about its positions but 0.02 mm."""
    x0, y0, x1, y1 = box_mm
    return Plane(
        grey=np.clip(grey, 0.0, 1.0),
        mm_per_px=mm_per_px,
        origin_mm=np.array([x0, y1]),
        seen=np.ones(grey.shape, dtype=np.bool_) if seen is None else seen,
        doubt_mm=np.full((2, 2), 0.02, dtype=np.float32),
        doubt_spacing_mm=max(x1 - x0, y1 - y0),
        inside_mm=np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)]),
        sharp_mm=blur_mm,
    )
