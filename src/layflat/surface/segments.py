"""How near segments in space come to each other.

By the closest points of two segments in Ericson, "Real-Time Collision Detection" (2005), 5.1.9.
"""

import numpy as np

from layflat.base import FloatArray


def between_segments(
    start: FloatArray, end: FloatArray, other_start: FloatArray, other_end: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Where k segments and k others, (k, 3) each, come nearest to each other.

    Returns:
        (k,) shares along the first and along the second, 0 to 1, and (k,) the distances. Of two
        that run along each other one of the places is given.
    """
    d, e, r = end - start, other_end - other_start, start - other_start
    a, b, f = (np.einsum("ij,ij->i", u, v) for u, v in ((d, d), (e, e), (e, r)))
    c, g = np.einsum("ij,ij->i", d, r), np.einsum("ij,ij->i", d, e)
    tiny = 1e-24
    across = a * b - g * g
    slanted = across > 1e-12 * a * b
    s = np.where(slanted, (g * f - c * b) / np.where(slanted, across, 1.0), 0.0)
    s = np.clip(s, 0.0, 1.0)
    t = np.clip((g * s + f) / np.maximum(b, tiny), 0.0, 1.0)
    s = np.clip((g * t - c) / np.maximum(a, tiny), 0.0, 1.0)
    t = np.clip((g * s + f) / np.maximum(b, tiny), 0.0, 1.0)
    gap = np.linalg.norm(start + s[:, None] * d - other_start - t[:, None] * e, axis=1)
    return s, t, gap


def to_line(points: FloatArray, line: FloatArray) -> FloatArray:
    """(n,) float64: how far (n, 3) points lie from the line through (k, 3) points."""
    start, along = line[:-1], np.diff(line, axis=0)
    size = np.maximum(np.einsum("ij,ij->i", along, along), 1e-24)
    offset = points[:, None] - start
    share = np.clip(np.einsum("nkj,kj->nk", offset, along) / size, 0.0, 1.0)
    gaps = np.linalg.norm(offset - share[:, :, None] * along, axis=2)
    nearest: FloatArray = gaps.min(axis=1)
    return nearest
