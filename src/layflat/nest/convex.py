"""Outlines as convex polygons that cover them exactly and overlap nowhere."""

import numpy as np
import shapely
from shapely import Polygon

from layflat.base import FloatArray

_STRAIGHT = 1e-9
"""A corner that turns back by no more, as the sine of its angle, counts as straight."""


def convex_parts(outline: FloatArray) -> list[FloatArray]:
    """The convex polygons, each (k, 2) float64 and counter-clockwise.

    Triangles are joined across their common sides as long as what comes out is convex: at most four
    times as many as there must be (S. Hertel, K. Mehlhorn, Fast triangulation of simple polygons,
    FCT 1983, LNCS 158, 207-218; from memory).

    Args:
        outline: (n, 2) float64, simple, counter-clockwise, no point twice.

    Returns:
        The parts; the convex hull alone where the outline cannot be parted.
    """
    whole = Polygon(outline)
    try:
        triangles = shapely.constrained_delaunay_triangles(whole)
    except shapely.GEOSException:
        return [_hull(whole)]
    corners = shapely.get_coordinates(shapely.orient_polygons(triangles)).reshape(-1, 4, 2)[:, :3]
    points, index = np.unique(corners.reshape(-1, 2), axis=0, return_inverse=True)
    rings = [list(map(int, ring)) for ring in np.asarray(index, dtype=np.int64).reshape(-1, 3)]
    return [points[ring] for ring in _joined(rings, points)]


def _hull(polygon: Polygon) -> FloatArray:
    hull = shapely.orient_polygons(polygon.convex_hull)
    points: FloatArray = shapely.get_coordinates(hull)[:-1]
    return points


def _joined(rings: list[list[int]], points: FloatArray) -> list[list[int]]:
    """Rings of point numbers, joined across sides while they stay convex, longest sides first."""
    owner = {
        (ring[k - 1], ring[k]): number
        for number, ring in enumerate(rings)
        for k in range(len(ring))
    }
    inner = np.array([side for side in owner if side[0] < side[1] and side[::-1] in owner])
    if not len(inner):
        return rings
    lengths = np.linalg.norm(points[inner[:, 0]] - points[inner[:, 1]], axis=1)
    held: dict[int, list[int]] = dict(enumerate(rings))
    for a, b in inner[np.argsort(-lengths)].tolist():
        one, other = owner[a, b], owner[b, a]
        ring = _merged(held[one], held[other], a, b)
        if one == other or not _is_convex(points[ring]):
            continue
        held[one] = ring
        del held[other]
        for k in range(len(ring)):
            owner[ring[k - 1], ring[k]] = one
    return list(held.values())


def _merged(first: list[int], second: list[int], a: int, b: int) -> list[int]:
    """Two rings as one, without the side from a to b that the second runs from b to a."""
    at, there = first.index(b), second.index(a)
    return [*first[at:], *first[:at], *(second[there:] + second[:there])[1:-1]]


def _is_convex(ring: FloatArray) -> bool:
    into, out = ring - np.roll(ring, 1, axis=0), np.roll(ring, -1, axis=0) - ring
    sine = into[:, 0] * out[:, 1] - into[:, 1] * out[:, 0]
    scale = np.linalg.norm(into, axis=1) * np.linalg.norm(out, axis=1)
    return bool((sine >= -_STRAIGHT * scale).all())
