"""What film undergoes when it is folded round an edge, and how deep that lets it be.

A strip of depth w beyond an edge of geodesic curvature k (1/mm, positive where the panel is
convex) is longer or shorter at its outer line than at the edge: an element of the edge becomes
(1 + k w) of it in the flat. Folded by the angle f about an edge of normal curvature b (negative
where the edge bows away from the outside, as on a dome), that line lies on metal whose element is
1 + w (k cos f + b sin f): the parallel-curve formula, with the curvature of the edge split into its
part in the surface and its part across it. What the film must take up is the ratio of the two,
less 1. On a flat panel b = 0, and it is the strain of a flange of the sheet-metal handbooks: a
stretch flange round a hollow edge, a shrink flange round an outer one.
"""

import math
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from layflat.base import FloatArray, frozen

SQUARE = 0.5 * math.pi
"""The angle that is assumed where nothing says how far the metal turns."""


class Reason(StrEnum):
    """Why a flap is not deeper at a place."""

    NONE = "none"
    """It is as deep as was asked."""
    STRETCH = "stretch"
    """Deeper, its outer line would be stretched beyond the film's limit."""
    CROWDING = "crowding"
    """Deeper, it would be crowded beyond the film's limit, and would finger."""
    FLANGE = "flange depth"
    """The metal beyond the edge goes no farther."""
    ROOM = "room"
    """It would meet film across a slot."""


@dataclass(frozen=True)
class Limits:
    """What a flap of film bears when it is folded round an edge.

    Attributes:
        stretch: the greatest strain of its outer line, as a fraction.
        crowding: the greatest compressive strain of it, as a fraction below 1.
        remark: what is to be said of the limits, e.g. that one was assumed; or "".
    """

    stretch: float
    crowding: float
    remark: str = ""


UNSEEN = "no flange in the scan"
"""The note of a fold beyond whose whole edge nothing was seen: it was assumed square."""


@dataclass(frozen=True, eq=False)
class Fold:
    """The metal that a flap is folded round, vertex by vertex along one edge of a panel.

    Attributes:
        turn_per_mm: (n,) float64, the edge's geodesic curvature at its vertices, both ends among
            them; positive where the panel is convex.
        bow_per_mm: (n,) float64, its normal curvature; negative where it bows away from the
            outside.
        angle_rad: (n,) float64, how far the metal turns from the panel.
        metal_mm: (n,) float64, how far it goes on beyond the edge; infinite where nobody knows.
        note: a sentence on what was seen or assumed, `UNSEEN`, or "".
    """

    turn_per_mm: FloatArray
    bow_per_mm: FloatArray
    angle_rad: FloatArray
    metal_mm: FloatArray
    note: str = ""

    def __post_init__(self) -> None:
        for name in ("turn_per_mm", "bow_per_mm", "angle_rad", "metal_mm"):
            object.__setattr__(self, name, frozen(getattr(self, name)).reshape(-1))

    def at(self, share: FloatArray, vertices: FloatArray) -> "Fold":
        """The same between its vertices, at other places along the edge.

        Args:
            share: (k,) float64, the places, in the measure of *vertices*.
            vertices: (n,) float64, where the vertices lie along the edge, not falling.
        """
        known = np.where(np.isfinite(self.metal_mm), self.metal_mm, _UNKNOWN_MM)
        metal = np.interp(share, vertices, known)
        return Fold(
            turn_per_mm=np.interp(share, vertices, self.turn_per_mm),
            bow_per_mm=np.interp(share, vertices, self.bow_per_mm),
            angle_rad=np.interp(share, vertices, self.angle_rad),
            metal_mm=np.where(metal >= 0.5 * _UNKNOWN_MM, np.inf, metal),
            note=self.note,
        )


_UNKNOWN_MM = 1e6


def square_fold(turn_per_mm: FloatArray) -> Fold:
    """A fold by a right angle round a plane edge, on metal that goes on."""
    count = len(turn_per_mm)
    return Fold(turn_per_mm, np.zeros(count), np.full(count, SQUARE), np.full(count, np.inf))


def demand(fold: Fold) -> FloatArray:
    """(n,) float64: the growth of a folded flap's line per mm of depth, in 1/mm.

    It is what the folded line is longer than the flat one, per length of the edge: negative where
    the film is crowded.
    """
    across: FloatArray = fold.bow_per_mm * np.sin(fold.angle_rad)
    return fold.turn_per_mm * (np.cos(fold.angle_rad) - 1.0) + across


def fold_strain(fold: Fold, depth_mm: FloatArray | float) -> FloatArray:
    """(n,) float64: the strain of a flap's outer line once it is folded; negative is crowding.

    Infinite where the flat flap would have to be deeper than a hollow edge's radius.
    """
    depth = np.broadcast_to(np.asarray(depth_mm, np.float64), fold.turn_per_mm.shape)
    flat = 1.0 + fold.turn_per_mm * depth
    strain: FloatArray = np.full(len(flat), np.inf)
    np.divide(depth * demand(fold), flat, out=strain, where=flat > 0.0)
    return strain


def depth_by_stretch(fold: Fold, limit: float) -> FloatArray:
    """(n,) float64: the depth at which a flap's outer line is stretched by *limit*."""
    return _depth(demand(fold) - limit * fold.turn_per_mm, limit)


def depth_by_crowding(fold: Fold, limit: float) -> FloatArray:
    """(n,) float64: the depth at which a flap's outer line is compressed by *limit*."""
    return _depth(-demand(fold) - limit * fold.turn_per_mm, limit)


def _depth(rate: FloatArray, limit: float) -> FloatArray:
    """Where a strain that grows at such a rate reaches its limit; infinite where it never does."""
    return np.where(rate > _LEAST_RATE, limit / np.maximum(rate, _LEAST_RATE), np.inf)


_LEAST_RATE = 1e-12


def bend(
    points: FloatArray, along: FloatArray, window_mm: float, *, closed: bool = False
) -> FloatArray:
    """(k,) float64: the curvature of a line in the plane at places along it, positive to the left.

    The turn from the chord behind to the chord ahead, each *window_mm* long, over that length:
    exact on a circle, and deaf to what lies closer together. Near the ends of an open line it is
    that of the nearest place with chords of full length; a short line has shorter chords.

    Args:
        points: (n, 2) float64; a closed line repeats its first point at the end.
        along: (k,) float64, the places, in mm from the first point.
        window_mm: the length of the chords.
        closed: whether the line is closed.
    """
    station = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))))
    whole = station[-1]
    if closed:
        window_mm = min(window_mm, whole / 6.0)
        station = np.concatenate((station[:-1] - whole, station[:-1], station + whole))
        points = np.concatenate((points[:-1], points[:-1], points))
    else:
        window_mm = min(window_mm, 0.5 * whole)
        along = np.clip(along, window_mm, whole - window_mm)

    def at(where: FloatArray) -> FloatArray:
        x, y = (np.interp(where, station, points[:, i]) for i in range(2))
        return np.column_stack((x, y))

    here = at(along)
    behind, ahead = here - at(along - window_mm), at(along + window_mm) - here
    cross = behind[:, 0] * ahead[:, 1] - behind[:, 1] * ahead[:, 0]
    turned: FloatArray = np.arctan2(cross, np.sum(behind * ahead, axis=1))
    return turned / window_mm
