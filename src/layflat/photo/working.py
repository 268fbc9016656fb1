"""The picture made ready for the search: fewer pixels, light evened out, what counts marked.

Words: *ink* is what is darker (or, on dark film, lighter) than the sheet beside it. Uneven light
and soft shadows scale ink and sheet alike, so that the share of light that the ink takes away
hardly knows them.
"""

import math
from dataclasses import dataclass

import numpy as np

from layflat.base import FloatArray
from layflat.photo.records import Grey, Mask, Plane

_CELL_MM = 0.85
"""Largest side of a pixel in the search: the thinnest pen line still has one to itself."""
_BROADEST_MM = 7.0
"""Ink narrower than this stands out from its surroundings."""
_LEAST_LIGHT = 0.004
_RIM_MM = 1.5
"""What lies nearer to the border of what is seen does not count."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Working:
    """Fewer pixels of a plane; row i and column j lie at ``origin_mm + cell_mm * (j, -i)``.

    Attributes:
        ink: (h, w) float32: how much of the light around it a pixel lacks, 0 to 1.
        tone: (h, w) float32: the natural logarithm of the light, for steps.
        sheet: (h, w) float32: the same of the light beside the ink.
        counts: (h, w) bool: inside the frame and seen, not at the rim.
        cell_mm: side of a pixel.
        origin_mm: (2,) the middle of pixel [0, 0].
        light_ink: whether the ink is lighter than the sheet.
    """

    ink: Grey
    tone: Grey
    sheet: Grey
    counts: Mask
    cell_mm: float
    origin_mm: FloatArray
    light_ink: bool

    def to_mm(self, pixels: FloatArray) -> FloatArray:
        """(n, 2) mm of pixels (n, 2) as (column, row)."""
        mm: FloatArray = self.origin_mm + self.cell_mm * (pixels * np.array([1.0, -1.0]))
        return mm

    def to_px(self, points_mm: FloatArray) -> FloatArray:
        """(n, 2) pixels as (column, row) of points in mm."""
        px: FloatArray = (points_mm - self.origin_mm) / (self.cell_mm * np.array([1.0, -1.0]))
        return px

    def value(self, grey: Grey, points_mm: FloatArray) -> FloatArray:
        """(n,) values of one of the pictures at points, between pixels; at the rim the last."""
        import cv2

        if not len(points_mm):
            return np.zeros(0)
        px = self.to_px(points_mm).astype(np.float32)
        border = cv2.BORDER_REPLICATE
        parts = [
            cv2.remap(grey, part[:, 0], part[:, 1], cv2.INTER_LINEAR, borderMode=border)
            for part in np.array_split(px, max(1, math.ceil(len(px) / 30_000)))
        ]
        values: FloatArray = np.concatenate(parts).reshape(-1).astype(np.float64)
        return values

    def near_rim(self, points_mm: FloatArray, *, within_mm: float) -> Mask:
        """(n,) whether what does not count lies within a distance of points."""
        import cv2

        reach = max(1, round(within_mm / self.cell_mm))
        kernel = np.ones((2 * reach + 1, 2 * reach + 1), dtype=np.uint8)
        inner = cv2.erode(
            self.counts.astype(np.uint8), kernel, borderType=cv2.BORDER_CONSTANT, borderValue=0
        )
        px = np.rint(self.to_px(points_mm)).astype(np.int64)
        height, width = self.counts.shape
        within = ((px >= 0) & (px < (width, height))).all(axis=1)
        found = np.ones(len(px), dtype=np.bool_)
        found[within] = inner[px[within, 1], px[within, 0]] == 0
        return found


def working(plane: Plane, *, light_ink: bool = False) -> Working:
    """The plane made ready for the search, for dark ink or for light ink on a dark sheet."""
    import cv2

    factor = max(1, math.floor(_CELL_MM / plane.mm_per_px))
    height, width = (side // factor for side in plane.grey.shape)
    whole = plane.grey[: height * factor, : width * factor]
    grey = cv2.resize(whole, (width, height), interpolation=cv2.INTER_AREA)
    grey = np.maximum(grey, np.float32(_LEAST_LIGHT))
    cell = factor * plane.mm_per_px
    middle = 0.5 * (factor - 1) * plane.mm_per_px
    origin = plane.origin_mm + np.array([middle, -middle])
    counts = _counts(plane, factor, (height, width), origin, cell)
    reach = 2 * max(1, round(0.5 * _BROADEST_MM / cell)) + 1
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (reach, reach))
    if light_ink:
        around = cv2.blur(cv2.morphologyEx(grey, cv2.MORPH_OPEN, kernel), (reach, reach))
        ink = 1.0 - around / np.maximum(grey, around)
    else:
        around = cv2.blur(cv2.morphologyEx(grey, cv2.MORPH_CLOSE, kernel), (reach, reach))
        ink = 1.0 - grey / np.maximum(grey, around)
    return Working(
        ink=ink.astype(np.float32),
        tone=np.log(grey),
        sheet=np.log(np.asarray(around, dtype=np.float32)),
        counts=counts,
        cell_mm=cell,
        origin_mm=origin,
        light_ink=light_ink,
    )


def _counts(
    plane: Plane, factor: int, shape: tuple[int, int], origin: FloatArray, cell: float
) -> Mask:
    import cv2

    height, width = shape
    seen = plane.seen[: height * factor, : width * factor].astype(np.uint8)
    seen = seen.reshape(height, factor, width, factor).min(axis=(1, 3))
    corners = (plane.inside_mm - origin) / (cell * np.array([1.0, -1.0]))
    inside = np.zeros(shape, dtype=np.uint8)
    cv2.fillPoly(inside, [np.rint(corners * 16).astype(np.int32)], 1, shift=4)
    reach = 2 * max(1, round(_RIM_MM / cell)) + 1
    counts: Mask = (
        cv2.erode(
            seen & inside,
            np.ones((reach, reach), dtype=np.uint8),
            borderType=cv2.BORDER_CONSTANT,
            borderValue=0,
        )
        > 0
    )
    return counts
