"""Values at the corners of flat triangles, as a picture's grid."""

import numpy as np

from layflat.base import FloatArray, IntArray

_CHUNK = 2_000_000
_EDGE = -1e-9


def rasterise(
    points_px: FloatArray, faces: IntArray, values: FloatArray, *, width: int, height: int
) -> FloatArray:
    """Linear interpolation over every triangle, sampled at pixel centres.

    Args:
        points_px: (n, 2) float64, x to the right and y down, in pixels.
        faces: (m, 3) int64.
        values: (n, c) float64, at the points.
        width: of the grid, in pixels.
        height: of the grid, in pixels.

    Returns:
        (height, width, c) float64, NaN where no triangle lies.
    """
    grid = np.full((height * width, values.shape[1]), np.nan)
    corners = points_px[faces]
    low = np.ceil(corners.min(axis=1) - 0.5).astype(np.int64).clip(0)
    high = np.floor(corners.max(axis=1) - 0.5).astype(np.int64) + 1
    high = np.minimum(high, [width, height])
    spans = np.maximum(high - low, 0)
    counts = spans.prod(axis=1)
    first = 0
    while first < len(faces):
        # Whole triangles up to a bounded number of pixels, so that memory stays bounded too.
        reach = np.searchsorted(np.cumsum(counts[first:]), _CHUNK, side="right")
        last = first + max(1, int(reach))
        _fill(
            grid,
            width,
            corners[first:last],
            values[faces[first:last]],
            low[first:last],
            spans[first:last],
            counts[first:last],
        )
        first = last
    return grid.reshape(height, width, values.shape[1])


def _fill(
    grid: FloatArray,
    width: int,
    corners: FloatArray,
    values: FloatArray,
    low: IntArray,
    spans: IntArray,
    counts: IntArray,
) -> None:
    """Write the pixels of some triangles into *grid* (one row per pixel)."""
    face = np.repeat(np.arange(len(counts)), counts)
    if len(face) == 0:
        return
    step = np.arange(len(face)) - np.repeat(np.cumsum(counts) - counts, counts)
    column = low[face, 0] + step % spans[face, 0]
    row = low[face, 1] + step // spans[face, 0]
    at = np.column_stack((column, row)) + 0.5
    a, b, c = (corners[:, i] for i in range(3))
    doubled = _cross(b - a, c - a)
    usable = doubled != 0.0
    doubled = np.where(usable, doubled, 1.0)
    u = _cross((b - a)[face], at - a[face]) / doubled[face]
    v = _cross(at - a[face], (c - a)[face]) / doubled[face]
    inside = (u >= _EDGE) & (v >= _EDGE) & (u + v <= 1.0 - _EDGE) & usable[face]
    face, u, v = face[inside], u[inside, None], v[inside, None]
    mixed = (1.0 - u - v) * values[face, 0] + v * values[face, 1] + u * values[face, 2]
    grid[row[inside] * width + column[inside]] = mixed


def _cross(a: FloatArray, b: FloatArray) -> FloatArray:
    product: FloatArray = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
    return product
