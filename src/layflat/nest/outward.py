"""Outlines with few points that hold the piece and its half of the gap, never less.

A layout engine takes the longer the more points it is given. Points are taken away here in
the safe direction alone: the outline may grow by a stated slack and never shrinks, so that a
layout of grown outlines that do not overlap keeps the gap between the pieces themselves.
"""

from functools import lru_cache

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Polygon

from layflat.base import FloatArray

MITRE_LIMIT = 1.25
FEW_POINTS = 40
_FINE_PART = 0.05
_DENSE = 100
_TRIES = 32
_KEPT = 1000
NOTHING_MM = 1e-6
"""Distances up to this count as none: geometry libraries lose their footing below."""


def grow(polygon: Polygon, *, distance_mm: float, slack_mm: float) -> Polygon:
    """The outline moved out by a distance, then rid of points outwards; kept for the next time.

    Args:
        polygon: the piece; its holes are dropped.
        distance_mm: 0 or more; every point nearer than this to the piece is inside the result.
        slack_mm: 0 or more; how much farther out the result may reach on smooth stretches. A
            sharp corner may reach 1.6 times the distance: it is cut square off at `MITRE_LIMIT`
            times the distance, measured along its bisector.

    Returns:
        A valid polygon without holes. With a distance and a slack of 0 it is the outline as it
        came.
    """
    return _grown(shapely.to_wkb(Polygon(polygon.exterior)), distance_mm, slack_mm)


@lru_cache(maxsize=_KEPT)
def _grown(shape: bytes, distance_mm: float, slack_mm: float) -> Polygon:
    outline = Polygon(shapely.get_exterior_ring(shapely.from_wkb(shape)))
    if distance_mm > NOTHING_MM:
        mitred = outline.buffer(distance_mm, join_style="mitre", mitre_limit=MITRE_LIMIT)
        needed = outline.buffer(distance_mm * (1.0 - 1e-6), quad_segs=16)
        # Mitred joins of nearly folded outlines are the library's weak spot: round ones
        # (circumscribed, so that the chords of the joins lie outside) stand in for them.
        if not (mitred.is_valid and mitred.covers(needed)):
            mitred = outline.buffer(distance_mm / np.cos(np.pi / 16), quad_segs=4)
        outline = largest(mitred)
    if slack_mm <= NOTHING_MM:
        return outline
    if len(outline.exterior.coords) > _DENSE:
        fine = _FINE_PART * slack_mm
        outline = largest(outline.buffer(fine).simplify(fine))
    allowed = outline.buffer(slack_mm, quad_segs=16)
    shapely.prepare(allowed)
    thinned = Polygon(_thin(ring_points(outline), slack_mm, allowed))
    is_safe = thinned.is_valid and thinned.buffer(1e-6).covers(outline)
    return thinned if is_safe else outline


def ring_points(polygon: Polygon) -> FloatArray:
    """(n, 2) float64: the outline's points counter-clockwise, none repeated."""
    return shapely.get_coordinates(shapely.orient_polygons(polygon).exterior)[:-1].copy()


def largest(shape: shapely.Geometry) -> Polygon:
    """The outline of a shape's largest polygon, without holes."""
    polygons = [part for part in shapely.get_parts(shape) if isinstance(part, Polygon)]
    return Polygon(max(polygons, key=lambda part: part.area).exterior)


def _thin(ring: FloatArray, most: float, allowed: Polygon) -> FloatArray:
    """Take points away, the one that adds the least area first.

    A reflex point is dropped, or an edge between two convex points is replaced by the point in
    which its neighbours meet: both add a triangle to the shape and nothing else. Steps that
    move the outline by less than a small part of *most* are always taken, greater ones until
    few points are left.

    Args:
        ring: (n, 2) float64, counter-clockwise, none repeated.
        most: how far the outline may move.
        allowed: what the outline must stay within; it may be prepared.
    """
    while len(ring) > 4:
        area, depth, apex, reflex = _steps(ring)
        limit = most if len(ring) > FEW_POINTS else _FINE_PART * most
        cost = np.where(depth <= limit, area, np.inf)
        for i in np.argsort(cost)[:_TRIES]:
            if not np.isfinite(cost[i]):
                return ring
            after = (i + 1) % len(ring)
            before = (i - 1) % len(ring)
            if reflex[i]:
                triangle, own = ring[[before, i, after]], [before, i, after]
                path = ring[[before, after]]
            else:
                triangle = path = np.array([ring[i], apex[i], ring[after]])
                own = [before, i, after, (i + 2) % len(ring)]
            if _holds_other(ring, triangle, own) or not allowed.covers(LineString(path)):
                continue
            if not reflex[i]:
                ring = ring.copy()
                ring[after] = apex[i]
            ring = np.delete(ring, i, axis=0)
            break
        else:
            return ring
    return ring


def _steps(ring: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, NDArray[np.bool_]]:
    """For each point the step that would remove it: area added, depth, new point, is reflex.

    A convex point i stands for the edge from i to i + 1; where that edge cannot go, the depth
    is infinite.
    """
    before, after = np.roll(ring, 1, axis=0), np.roll(ring, -1, axis=0)
    second = np.roll(ring, -2, axis=0)
    into, edge, out = ring - before, after - ring, second - after
    turn = _cross(into, edge)
    reflex = turn <= 0
    with np.errstate(divide="ignore", invalid="ignore"):
        chord = after - before
        reflex_depth = np.abs(turn) / np.hypot(chord[:, 0], chord[:, 1])
        # The lines through the edges before and after meet at ring + s * into, s > 0.
        s = _cross(edge, out) / _cross(into, out)
        apex = ring + s[:, None] * into
        convex_area = 0.5 * np.abs(_cross(edge, apex - ring))
        convex_depth = 2.0 * convex_area / np.hypot(edge[:, 0], edge[:, 1])
    fits = ~reflex & (_cross(edge, out) > 0) & (_cross(into, out) > 0)
    area = np.where(reflex, 0.5 * np.abs(turn), convex_area)
    depth = np.where(reflex, reflex_depth, np.where(fits, convex_depth, np.inf))
    return area, np.nan_to_num(depth, nan=np.inf, posinf=np.inf), apex, reflex


def _cross(a: FloatArray, b: FloatArray) -> FloatArray:
    product: FloatArray = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
    return product


def _holds_other(ring: FloatArray, triangle: FloatArray, own: list[int]) -> bool:
    """Whether another point of the ring lies in the triangle that a step would add."""
    low, high = triangle.min(axis=0), triangle.max(axis=0)
    near = np.all((ring >= low) & (ring <= high), axis=1)
    near[own] = False
    if not near.any():
        return False
    return bool(Polygon(triangle).buffer(1e-9).intersects(shapely.MultiPoint(ring[near])))
