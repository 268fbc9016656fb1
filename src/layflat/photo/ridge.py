"""Points on pen lines and on edges, each with its direction: where chains begin.

Lines: C. Steger, *An unbiased detector of curvilinear structures*, IEEE PAMI 20 (1998) 113–125. At
every pixel the picture is taken for its second-order Taylor polynomial after smoothing; across the
line (the eigenvector n of the Hessian to its greatest eigenvalue) the slope vanishes at
t = -(∇ · n) / (nᵀ H n), and where t n lies within the pixel, the line passes there. His condition
on the scale, σ ≥ w / √3 for half a width w, keeps broad lines from splitting in two. Points found
here only start the search: `layflat.photo.profile` measures the line itself.

Edges: the same in the picture of the slope's size, where an edge is a ridge; its direction is
square to the slope.
"""

from dataclasses import dataclass

import numpy as np

from layflat.base import FloatArray
from layflat.photo.records import Grey
from layflat.photo.working import Working

_WITHIN = 0.6
"""How far from the middle of its pixel a point may lie, px: a little more than half, so that no
line is lost between two."""
_FLANK_MM = 3.2
_ONE_SIDED = 0.35


@dataclass(frozen=True, eq=False)
class Points:
    """Points on lines or edges.

    Attributes:
        at_mm: (n, 2) float64.
        along: (n, 2) float64, unit vectors along the line; an edge's lighter side is on the left.
        strength: (n,) float64: of a line the share of light that it takes away, of an edge the step
            of the light's logarithm.
    """

    at_mm: FloatArray
    along: FloatArray
    strength: FloatArray

    def pick(self, which: np.ndarray) -> "Points":
        """Some of the points, in the order of *which*."""
        return Points(self.at_mm[which], self.along[which], self.strength[which])


def line_points(picture: Working, *, sigma_mm: float, least: float) -> Points:
    """Points on lines of ink that take away at least the share *least* of the light."""
    sigma = sigma_mm / picture.cell_mm
    found = _ridge(picture.ink, picture, sigma, 0.45 * least)
    middle = picture.value(picture.ink, found.at_mm)
    across = np.column_stack((-found.along[:, 1], found.along[:, 0]))
    flanks = np.stack(
        [_tone(picture, found.at_mm, side * across, _FLANK_MM) for side in (-1.0, 1.0)]
    )
    here = picture.value(picture.tone, found.at_mm)
    sign = -1.0 if picture.light_ink else 1.0
    rises = sign * (flanks - here)
    # At a step one flank is as dark as the foot of it: no line.
    both = rises.min(axis=0) > _ONE_SIDED * rises.max(axis=0)
    keep = both & (middle > least)
    return Points(found.at_mm[keep], found.along[keep], middle[keep])


def edge_points(picture: Working, *, sigma_mm: float, least: float) -> Points:
    """Points on edges where the light's logarithm steps by at least *least* within a few mm."""
    import cv2

    sigma = sigma_mm / picture.cell_mm
    smooth = cv2.GaussianBlur(picture.tone, (0, 0), sigma)
    gx, gy = (
        np.asarray(cv2.Scharr(smooth, cv2.CV_32F, *axis, scale=1 / 32), dtype=np.float32)
        for axis in ((1, 0), (0, 1))
    )
    size: Grey = np.hypot(gx, gy)
    # A step of height a has the slope a / (√(2π) σ) after smoothing.
    found = _ridge(size, picture, max(1.0, 0.7 * sigma), 0.05 * least / sigma)
    slope = np.column_stack((picture.value(gx, found.at_mm), -picture.value(gy, found.at_mm)))
    length = np.hypot(slope[:, 0], slope[:, 1])
    up = slope / np.maximum(length, 1e-9)[:, None]
    light = _tone(picture, found.at_mm, up, _FLANK_MM)
    dark = _tone(picture, found.at_mm, -up, _FLANK_MM)
    near = _tone(picture, found.at_mm, up, 1.2 * sigma_mm) - _tone(
        picture, found.at_mm, -up, 1.2 * sigma_mm
    )
    step = light - dark
    # A line's side steps back beyond it; a shadow's soft edge goes on to rise.
    keep = (step > least) & (step > 0.6 * near) & (near > 0.5 * step)
    along = np.column_stack((up[:, 1], -up[:, 0]))
    return Points(found.at_mm[keep], along[keep], step[keep])


def _tone(picture: Working, at: FloatArray, way: FloatArray, reach: float) -> FloatArray:
    return picture.value(picture.tone, at + reach * way)


def _ridge(grey: Grey, picture: Working, sigma: float, least: float) -> Points:
    """Steger's points of bright ridges in a picture with one-pixel steps; strength is -σ² λ."""
    import cv2

    smooth = cv2.GaussianBlur(grey, (0, 0), sigma)
    one, two, mean = (np.array(k, np.float32) for k in ([-0.5, 0, 0.5], [1, -2, 1], [0, 1, 0]))
    gx, gy, gxx, gyy, gxy = (
        cv2.sepFilter2D(smooth, cv2.CV_32F, kx, ky)
        for kx, ky in ((one, mean), (mean, one), (two, mean), (mean, two), (one, one))
    )
    half = 0.5 * (gxx + gyy)
    spread = np.sqrt((0.5 * (gxx - gyy)) ** 2 + gxy**2)
    strength = -(half - spread) * np.float32(sigma**2)
    rows, columns = np.nonzero((strength > least) & picture.counts)
    a, b, c, slope_x, slope_y = (
        v[rows, columns].astype(np.float64) for v in (gxx, gxy, gyy, gx, gy)
    )
    angle = 0.5 * np.arctan2(2.0 * b, a - c) + 0.5 * np.pi  # To the least eigenvalue.
    nx, ny = np.cos(angle), np.sin(angle)
    bend = a * nx * nx + 2.0 * b * nx * ny + c * ny * ny
    t = -(slope_x * nx + slope_y * ny) / np.minimum(bend, -1e-12)
    dx, dy = t * nx, t * ny
    keep = (np.abs(dx) <= _WITHIN) & (np.abs(dy) <= _WITHIN)
    px = np.column_stack((columns + dx, rows + dy))[keep]
    along = np.column_stack((-ny, -nx))[keep]  # y turned up: (-ny, nx) mirrored in y.
    return Points(picture.to_mm(px), along, strength[rows, columns][keep].astype(np.float64))
