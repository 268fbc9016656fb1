"""Few lines and arcs through many points: the smooth line that a polyline samples.

The boundary of a flat mesh is a polyline whose *vertices* lie on the panel's edge, but for a
little noise; its chords cut the curves (a chord of 10 mm on a radius of 500 mm by 0.025 mm).
A fit to the chords would reproduce facets. So the fit is a smooth line past the vertices:

1. The loop is cut into stretches at its corners, which are kept exactly.
2. Every vertex offers joints: points near it with a tangent, from local quadratics over shorter
   and longer windows (`layflat.pattern.joints`).
3. From each joint the farthest is sought that a biarc (`layflat.pattern.spans`) reaches while it
   passes every vertex between within the deviation (`layflat.pattern.stretch`): tangents run on
   smoothly at every joint that is no corner.

The deviation is measured from the vertices of the polyline to the curve. The other way, a point
of the curve lies from the polyline at most as far as the deviation and the sagitta of the chord
beside it.
"""

import math
from dataclasses import dataclass

import numpy as np
from shapely import Polygon, is_valid_reason

from layflat.base import CheckError, FloatArray, InputError, IntArray
from layflat.pattern.curve import sample
from layflat.pattern.piece import Curve
from layflat.pattern.stretch import fit_stretch

_SAME_POINT_MM = 1e-7
_LEAST_CORNER_DEG = 35.0
_CORNER_REACH_MM = 0.2


@dataclass(frozen=True, eq=False)
class Fitted:
    """A fitted curve with what is known of its joints.

    Attributes:
        curve: the closed curve.
        corners: (c,) int64, the joints that are corners, those that were given and those found.
        given: (g,) int64, for every given corner, in the order given, its joint.
    """

    curve: Curve
    corners: IntArray
    given: IntArray


def fit_curve(
    points_mm: FloatArray, *, corners: IntArray | tuple[int, ...] = (), deviation_mm: float = 0.05
) -> Curve:
    """Few lines and arcs through a dense closed polyline.

    Args:
        points_mm: (n, 2) float64, n >= 3, closed without repeating the first point.
        corners: indices of points where the line turns sharply; kept exactly. Sharp turns that
            are not named are found and kept as well.
        deviation_mm: the greatest distance of a point of the polyline from the curve; above 0.

    Returns:
        A curve that runs the same way, starts at the first corner (without corners: at the first
        point), is smooth between corners and touches itself nowhere.

    Raises:
        InputError: the points are too few, not finite, touch themselves or enclose no area.
    """
    return fit_loop(points_mm, corners=corners, deviation_mm=deviation_mm).curve


def fit_loop(
    points_mm: FloatArray,
    *,
    corners: IntArray | tuple[int, ...] = (),
    deviation_mm: float = 0.05,
    least_corner_deg: float = _LEAST_CORNER_DEG,
    tight_bends: bool = True,
) -> Fitted:
    """As `fit_curve`, with the corners told.

    Args:
        points_mm, corners, deviation_mm: see `fit_curve`.
        least_corner_deg: a turn at one point by more than this, in degrees, is a corner.
        tight_bends: whether the points may also turn as sharply as that round a tight bend that
            they sample coarsely; then a turn is a corner only if its neighbours turn much less.

    Raises:
        InputError: see `fit_curve`.
        CheckError: no curve without self-contact was found; should not happen.
    """
    points, given = _checked(points_mm, corners, deviation_mm)
    found = _sharp_turns(points, least_deg=least_corner_deg, tight_bends=tight_bends)
    kept = np.union1d(found, given).astype(np.int64)
    for tolerance in (deviation_mm, 0.25 * deviation_mm, 0.05 * deviation_mm, 0.0):
        fitted = _fit(points, kept, given, tolerance)
        line = sample(fitted.curve, deviation_mm=0.1 * deviation_mm)
        if len(line) > 2 and Polygon(line).is_valid:
            return fitted
    raise CheckError("A fitted outline touched itself at every deviation tried.")


def _checked(
    points_mm: FloatArray, corners: IntArray | tuple[int, ...], deviation_mm: float
) -> tuple[FloatArray, IntArray]:
    """The points without repeats, and the given corners among them."""
    points = np.asarray(points_mm, dtype=np.float64).reshape(-1, 2)
    given = np.asarray(corners, dtype=np.int64).reshape(-1)
    if not deviation_mm > 0:
        raise InputError(f"The deviation is {deviation_mm:g} mm; it must be above 0.")
    if not np.isfinite(points).all():
        raise InputError("The line to fit holds a point that is not finite.")
    if len(given) and not (given.min() >= 0 and given.max() < len(points)):
        raise InputError("A corner is not one of the points of the line.")
    gaps = np.hypot(*(points - np.roll(points, 1, axis=0)).T)
    keep = gaps > _SAME_POINT_MM
    place = np.cumsum(keep) - 1
    given = place[given] % max(1, int(keep.sum()))
    points = points[keep]
    if len(points) < 3:
        raise InputError(f"The line to fit has {len(points)} different points; it needs 3.")
    polygon = Polygon(points)
    if not polygon.is_valid:
        raise InputError(f"The line to fit touches itself: {is_valid_reason(polygon)} (mm).")
    return points, given


def _sharp_turns(points: FloatArray, *, least_deg: float, tight_bends: bool) -> IntArray:
    """The points where the line turns sharply, and not as a part of a tight bend."""
    before = points - np.roll(points, 1, axis=0)
    after = np.roll(before, -1, axis=0)
    turns = _turns(before, after)
    least = math.radians(least_deg)
    # A jog of noise turns back at once; a corner is one from farther away too.
    sharp = (np.abs(turns) > least) & (np.abs(_turns(*_chords(points, _CORNER_REACH_MM))) > least)
    if tight_bends:
        wide = _turns(points - np.roll(points, 2, axis=0), np.roll(points, -2, axis=0) - points)
        sharp &= np.abs(wide) < 1.4 * np.abs(turns)
    found: IntArray = np.flatnonzero(sharp).astype(np.int64)
    return found


def _chords(points: FloatArray, reach_mm: float) -> tuple[FloatArray, FloatArray]:
    """(n, 2) chords that end, and that begin, at each point of a closed line."""
    line = np.vstack((points, points, points, points[:1]))
    station = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))))
    here = station[len(points) : 2 * len(points)]
    behind, ahead = (
        np.column_stack([np.interp(at, station, line[:, axis]) for axis in range(2)])
        for at in (here - reach_mm, here + reach_mm)
    )
    return points - behind, ahead - points


def _turns(one: FloatArray, two: FloatArray) -> FloatArray:
    cross = one[:, 0] * two[:, 1] - one[:, 1] * two[:, 0]
    angles: FloatArray = np.arctan2(cross, np.sum(one * two, axis=1))
    return angles


def _fit(points: FloatArray, corners: IntArray, given: IntArray, tolerance: float) -> Fitted:
    """The loop stretch by stretch; a tolerance of 0 keeps every point."""
    count = len(points)
    if not len(corners):
        whole = np.vstack((points, points[:1]))
        joints, bulges = fit_stretch(whole, tolerance=tolerance, closed=True)
        none = np.empty(0, dtype=np.int64)
        return Fitted(Curve(joints[:-1], bulges), none, none)
    all_joints, all_bulges, at = [], [], {}
    total = 0
    for corner, following in zip(corners, np.roll(corners, -1), strict=True):
        span = (following - corner) % count or count
        part = points[(corner + np.arange(span + 1)) % count]
        joints, bulges = fit_stretch(part, tolerance=tolerance, closed=False)
        at[int(corner)] = total
        all_joints.append(joints[:-1])
        all_bulges.append(bulges)
        total += len(bulges)
    curve = Curve(np.vstack(all_joints), np.concatenate(all_bulges))
    return Fitted(
        curve,
        np.array(sorted(at.values()), dtype=np.int64),
        np.array([at[int(corner)] for corner in given], dtype=np.int64),
    )
