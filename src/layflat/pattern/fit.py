"""Few lines and arcs through many points: the smooth line that a polyline samples.

The boundary of a flat mesh is a polyline whose *vertices* lie on the panel's edge, but for a
little noise; its chords cut the curves (a chord of 10 mm on a radius of 500 mm by 0.025 mm).
A fit to the chords would reproduce facets. So the fit is a smooth line past the vertices:

1. The loop is cut into stretches at its corners, which are kept exactly.
2. A joint at a vertex is that vertex and the tangent there, both from a local quadratic through
   its neighbours, the longest window that explains them within a quarter of the deviation.
3. From each joint the farthest joint is sought that a biarc (`layflat.pattern.arcs`) reaches
   while it passes every vertex between within the deviation: tangents run on smoothly at every
   joint that is no corner.

The deviation is measured from the vertices of the polyline to the curve. The other way, a point
of the curve lies from the polyline at most as far as the deviation and the sagitta of the chord
beside it.
"""

import math
from dataclasses import dataclass, field

import numpy as np
from shapely import Polygon, is_valid_reason

from layflat.base import CheckError, FloatArray, InputError, IntArray
from layflat.pattern.arcs import arc_length_mm, biarc, distances_to_element, turn_between
from layflat.pattern.curve import sample
from layflat.pattern.piece import Curve

_SAME_POINT_MM = 1e-7
_LEAST_CORNER_DEG = 35.0
_MOST_TURN = math.radians(160.0)
_SHARE = 0.9
"""Part of the deviation that a span may use; the rest is for merged arcs and rounding."""


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
        if Polygon(sample(fitted.curve, deviation_mm=0.1 * deviation_mm)).is_valid:
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
    sharp = np.abs(turns) > math.radians(least_deg)
    if tight_bends:
        wide = _turns(points - np.roll(points, 2, axis=0), np.roll(points, -2, axis=0) - points)
        sharp &= np.abs(wide) < 1.4 * np.abs(turns)
    found: IntArray = np.flatnonzero(sharp).astype(np.int64)
    return found


def _turns(one: FloatArray, two: FloatArray) -> FloatArray:
    cross = one[:, 0] * two[:, 1] - one[:, 1] * two[:, 0]
    angles: FloatArray = np.arctan2(cross, np.sum(one * two, axis=1))
    return angles


def _fit(points: FloatArray, corners: IntArray, given: IntArray, tolerance: float) -> Fitted:
    """The loop stretch by stretch; a tolerance of 0 keeps every point."""
    count = len(points)
    if not len(corners):
        stretch = _Stretch(np.vstack((points, points[:1])), tolerance, closed=True)
        joints, bulges = stretch.fit()
        none = np.empty(0, dtype=np.int64)
        return Fitted(Curve(joints[:-1], bulges), none, none)
    all_joints, all_bulges, at = [], [], {}
    total = 0
    for corner, following in zip(corners, np.roll(corners, -1), strict=True):
        span = (following - corner) % count or count
        stretch = _Stretch(points[(corner + np.arange(span + 1)) % count], tolerance, closed=False)
        joints, bulges = stretch.fit()
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


@dataclass(eq=False)
class _Stretch:
    """One stretch between corners, or a whole closed line without corners.

    Attributes:
        points: (m + 1, 2) float64; a closed line repeats its first point at the end.
        tolerance: greatest distance of a point from the fit, mm.
        closed: whether it is a closed line without corners.
    """

    points: FloatArray
    tolerance: float
    closed: bool
    _known: dict[int, tuple[FloatArray, FloatArray]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        steps = np.hypot(*np.diff(self.points, axis=0).T)
        self._along = np.concatenate(([0.0], np.cumsum(steps)))
        self._line = self.points
        self._shift = 0
        if self.closed:
            self._shift = len(self.points) - 1
            body = self.points[:-1]
            self._line = np.vstack((body, body, self.points))
            whole = self._along[-1]
            self._station = np.concatenate(
                (self._along[:-1] - whole, self._along[:-1], self._along + whole)
            )
        else:
            self._station = self._along

    def fit(self) -> tuple[FloatArray, FloatArray]:
        """Joints (k + 1, 2), both ends among them, and the (k,) bulges between."""
        last = len(self.points) - 1
        if self.tolerance == 0.0:
            return self.points, np.zeros(last)
        if not self.closed and self._is_straight():
            return self.points[[0, last]], np.zeros(1)
        joints, bulges = [self._joint(0)[0]], []
        here = 0
        while here < last:
            there, span = self._farthest(here, last)
            for point, bulge in span:
                joints.append(point)
                bulges.append(bulge)
            here = there
        return np.array(joints), np.array(bulges)

    def _is_straight(self) -> bool:
        ends = self.points[0], self.points[-1]
        away = distances_to_element(self.points, *ends, 0.0)
        return bool(away.max() <= 0.5 * self.tolerance)

    def _farthest(self, here: int, last: int) -> tuple[int, list[tuple[FloatArray, float]]]:
        """The farthest joint that a biarc from *here* reaches, and its elements."""
        good, found = here + 1, self._span(here, here + 1)
        step, bad = 1, last + 1
        while good + step <= last:
            trial = self._span(here, good + step)
            if trial is None:
                bad = good + step
                break
            good, found, step = good + step, trial, 2 * step
        else:
            # The last stride would have overshot the end: what lies between is still open.
            bad = last + 1
        low = good
        while bad - low > 1:
            middle = (low + bad) // 2
            trial = self._span(here, middle)
            if trial is None:
                bad = middle
            else:
                low, good, found = middle, middle, trial
        if found is None:
            found = [(self._joint(good)[0], 0.0)]
        return good, found

    def _span(self, one: int, two: int) -> list[tuple[FloatArray, float]] | None:
        """The elements from joint *one* to joint *two*, or None if they leave the tolerance."""
        start, leaving = self._joint(one)
        end, arriving = self._joint(two)
        if math.dist(start, end) < _SAME_POINT_MM:
            return None
        pair = biarc(start, leaving, end, arriving)
        if pair is None:
            return None
        elements = self._merged(start, leaving, end, arriving) or [
            (pair.middle, pair.bulges[0]),
            (end, pair.bulges[1]),
        ]
        if sum(4.0 * math.atan(abs(bulge)) for _, bulge in elements) > _MOST_TURN:
            return None
        limit = _SHARE * self.tolerance
        between = self.points[one : two + 1]
        away = np.full(len(between), np.inf)
        length, at = 0.0, start
        for point, bulge in elements:
            np.minimum(away, distances_to_element(between, at, point, bulge), out=away)
            length += arc_length_mm(at, point, bulge)
            at = point
        walked = float(self._along[two] - self._along[one])
        if away.max() > limit or length > 1.1 * walked + 2.0 * limit:
            return None
        return elements

    def _merged(
        self, start: FloatArray, leaving: FloatArray, end: FloatArray, arriving: FloatArray
    ) -> list[tuple[FloatArray, float]] | None:
        """One line or arc in place of the two, where nobody could tell them apart."""
        chord = end - start
        first, second = turn_between(leaving, chord), turn_between(chord, arriving)
        length = math.hypot(*chord)
        mean = 0.5 * (first + second)
        if abs(first - second) * length > 0.2 * self.tolerance or abs(first - second) > 2e-3:
            return None
        straight = abs(mean) * length < 0.1 * self.tolerance
        return [(end, 0.0 if straight else math.tan(0.5 * mean))]

    def _joint(self, index: int) -> tuple[FloatArray, FloatArray]:
        """The smoothed point at a vertex and the unit tangent there."""
        if index not in self._known:
            same = 0 if self.closed and index == len(self.points) - 1 else index
            if same not in self._known:
                self._known[same] = self._local(same)
            self._known[index] = self._known[same]
        return self._known[index]

    def _local(self, index: int) -> tuple[FloatArray, FloatArray]:
        """A joint from the longest window whose quadratic explains its points."""
        centre = index + self._shift
        line, station = self._line, self._station
        at_end = not self.closed and index in (0, len(self.points) - 1)
        for reach in (6, 4, 3, 2, 1):
            low, high = max(0, centre - reach), min(len(line) - 1, centre + reach)
            if high - low < 2:
                low, high = max(0, high - 2), min(len(line) - 1, low + 2)
            s = station[low : high + 1] - station[centre]
            scale = float(np.abs(s).max())
            powers = np.column_stack((s / scale, (s / scale) ** 2))
            away = line[low : high + 1] - line[centre]
            if not at_end:
                powers = np.column_stack((np.ones(len(s)), powers))
            fit = np.linalg.lstsq(powers, away, rcond=None)[0]
            residual = np.hypot(*(away - powers @ fit).T).max()
            if residual <= 0.25 * self.tolerance or reach == 1:
                break
        tangent = fit[-2]
        size = math.hypot(*tangent)
        if size == 0.0:
            tangent, size = line[high] - line[low], math.dist(line[high], line[low]) or 1.0
        moved = np.zeros(2) if at_end else fit[0]
        if math.hypot(*moved) > 0.5 * self.tolerance:
            moved = np.zeros(2)
        return line[centre] + moved, tangent / size
