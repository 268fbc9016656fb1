"""Lines drawn on a view and laid onto the skin, the way a body is drawn on three-view sheets."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from layflat.base import FloatArray
from layflat.demo.curves import spline_points
from layflat.demo.fields import Field, meet

_FAR = 3000.0


@dataclass(frozen=True)
class Sheet:
    """A view: drawing coordinates (u, v) of points, and the rays that lay a drawing on a skin.

    Attributes:
        name: what it is called.
        u, v: the space axis of each drawing coordinate, 0 to 2.
        side: +1 if it is seen from the positive end of the third axis, -1 from the other.
    """

    name: str
    u: int
    v: int
    side: float

    def flat(self, points: FloatArray) -> FloatArray:
        """Drawing coordinates (n, 2) of points (n, 3)."""
        return points[:, [self.u, self.v]]

    def lay(self, skin: Field, drawn: FloatArray) -> FloatArray:
        """The points (n, 3) of the skin that are seen at *drawn* (n, 2).

        Raises:
            ValueError: the skin is not seen there.
        """
        depth = 3 - self.u - self.v
        start = np.zeros((len(drawn), 3))
        start[:, [self.u, self.v]] = drawn
        start[:, depth] = self.side * _FAR
        direction = np.zeros(3)
        direction[depth] = -self.side
        points = meet(skin, start, direction, reach=2 * _FAR)
        unseen = drawn[np.isnan(points).any(axis=1)]
        if len(unseen):
            raise ValueError(f"the skin is not seen on the {self.name} sheet at {unseen[0]}")
        return points


LEFT = Sheet("left", 0, 2, 1.0)
TOP = Sheet("top", 0, 1, 1.0)
FRONT = Sheet("front", 1, 2, 1.0)
REAR = Sheet("rear", 1, 2, -1.0)


def rounded(corners: Sequence[tuple[float, float]], radius: float) -> FloatArray:
    """A closed polygon (n, 2), the first point not repeated, with its corners rounded."""
    shape = shapely.Polygon(corners)
    for distance in (-radius, 2 * radius, -radius):
        shape = shapely.Polygon(_offset(shape, distance))
    return _offset(shape, 0.0)


def oval(centre: tuple[float, float], half: tuple[float, float], *, count: int = 24) -> FloatArray:
    """A closed ellipse (count, 2) with the half axes *half*."""
    turn = 2 * np.pi * np.arange(count) / count
    circle = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    ring: FloatArray = np.array(centre) + np.array(half) * circle
    return ring


def grown(ring: FloatArray, distance: float) -> FloatArray:
    """The ring moved outward by *distance*, inward if it is negative."""
    return _offset(shapely.Polygon(ring), distance)


def _offset(shape: shapely.Polygon, distance: float) -> FloatArray:
    moved = shape.buffer(distance, quad_segs=12).normalize()
    ring: FloatArray = shapely.get_coordinates(shapely.get_exterior_ring(moved))[:-1]
    return ring


def distance_to(ring: FloatArray, places: FloatArray) -> FloatArray:
    """Signed distances (n,) of places (n, 2) from a closed ring: negative inside."""
    shape = shapely.Polygon(ring)
    shapely.prepare(shape)
    dots = shapely.points(places)
    far = shapely.distance(shape.exterior, dots)
    value: FloatArray = np.where(shapely.contains_properly(shape, dots), -far, far)
    return value


def evened(points: FloatArray, spacing: float, *, closed: bool = False) -> FloatArray:
    """Points of a polyline at even distances of about *spacing*, its ends kept.

    A closed one comes back without its first point repeated.
    """
    if closed:
        points = np.vstack([points, points[:1]])
    length = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
    count = max(2 if not closed else 6, round(length[-1] / spacing) + 1)
    at = np.linspace(0.0, length[-1], count)
    even: FloatArray = np.stack(
        [np.interp(at, length, points[:, i]) for i in range(points.shape[1])], axis=1
    )
    return even[:-1] if closed else even


def drawn_line(skin: Field, sheet: Sheet, *polygon: Sequence[float] | FloatArray) -> FloatArray:
    """A spline drawn on a sheet and laid on the skin (k, 3); points in space are its ends.

    Each control point is either (u, v) or a point in space, which is projected on the sheet and,
    at an end, kept exactly.
    """
    spots = [np.asarray(spot, dtype=np.float64) for spot in polygon]
    flat = [sheet.flat(spot[None])[0] if len(spot) == 3 else spot for spot in spots]
    curve = evened(spline_points(np.array(flat), samples=400), 12.0)
    line = sheet.lay(skin, curve)
    for end, spot in ((0, spots[0]), (-1, spots[-1])):
        if len(spot) == 3:
            line[end] = spot
    return line
