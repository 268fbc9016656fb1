"""How a pattern is carried by a field: straight lines stay straight, cut-outs keep their shape.

Every point of the outline moves by a weighted sum of the field at a few points (`Taps`): on a
straight run by the field at its ends, so that it stays straight; elsewhere by the field itself and,
just behind a run that passes smoothly into a curve, by a little more, so that it still does. A
cut-out moves as a whole, by the mean of the field along its rim. Notes are read through the same
sums, so that a note in the middle of a straight line moves the line.
"""

from dataclasses import dataclass, replace

import numpy as np

from layflat.base import FloatArray, IntArray
from layflat.pattern import Curve, Mark, Pattern, points_along
from layflat.revise.outline import Outline, Straight
from layflat.revise.plate import Field, Taps

FADE_MM = 40.0
"""Behind a straight run a curve is back on the field's own way within this, or half its length."""

_RIM_POINTS = 24
_STEP_MM = 0.5


@dataclass(frozen=True, eq=False)
class Moves:
    """Displacements as matrices on the field: D[row] = sum of matrix · u(point).

    Attributes:
        points_mm: (m, 2) float64.
        matrices: (m, 2, 2) float64.
        row: (m,) int64, not falling.
    """

    points_mm: FloatArray
    matrices: FloatArray
    row: IntArray

    def of(self, field: Field, rows: int) -> FloatArray:
        """(rows, 2) float64: the displacements."""
        each = np.einsum("mij,mj->mi", self.matrices, field.at(self.points_mm))
        found = np.zeros((rows, 2))
        np.add.at(found, self.row, each)
        return found

    def along(self, directions: FloatArray) -> Taps:
        """The displacement of every row in its direction, (rows, 2) float64."""
        weights = np.einsum("mij,mi->mj", self.matrices, directions[self.row])
        return Taps(self.points_mm, weights, self.row)


def moves(outline: Outline, element: IntArray, part: FloatArray) -> Moves:
    """How places on an outline move.

    Args:
        outline: the outline.
        element, part: (n,) which elements, and how far along each, from 0 to 1.
    """
    points = points_along(outline.curve, element, part)
    rows = [np.arange(len(points))]
    places, matrices = [points], [np.tile(np.eye(2), (len(points), 1, 1))]
    for run in outline.straights:
        within = np.remainder(element - run.first, outline.joints) < run.count
        start, end = _ends(outline, run)
        at = np.flatnonzero(within)
        share = (points[at] - start) @ (end - start) / float((end - start) @ (end - start))
        matrices[0][at] = 0.0
        for corner, weight in ((start, 1.0 - share), (end, share)):
            rows.append(at)
            places.append(np.tile(corner, (len(at), 1)))
            matrices.append(weight[:, None, None] * np.eye(2))
        for last, smooth in enumerate(run.smooth):
            if smooth:
                _fade(outline, run, bool(last), (element, part), (rows, places, matrices))
    row = np.concatenate(rows)
    order = np.argsort(row, kind="stable")
    return Moves(np.vstack(places)[order], np.concatenate(matrices)[order], row[order])


def _ends(outline: Outline, run: Straight) -> tuple[FloatArray, FloatArray]:
    joints = outline.curve.points_mm
    return joints[run.first], joints[(run.first + run.count) % outline.joints]


def _fade(
    outline: Outline,
    run: Straight,
    last: bool,
    at: tuple[IntArray, FloatArray],
    parts: tuple[list[IntArray], list[FloatArray], list[FloatArray]],
) -> None:
    """Let the curve beside a run's smooth end leave it in the run's own new direction."""
    element, part = at
    rows, places, matrices = parts
    start, end = _ends(outline, run)
    joint = (run.first + run.count) % outline.joints if last else run.first
    origin = outline.starts_mm[joint]
    sign = 1.0 if last else -1.0
    stops = np.concatenate(
        [
            outline.starts_mm[outline.corners],
            *(
                outline.starts_mm[[other.first, (other.first + other.count) % outline.joints]]
                for other in outline.straights
            ),
        ]
    )
    ahead = np.remainder(sign * (stops - origin), outline.length_mm)
    room = min(FADE_MM, 0.5 * float(ahead[ahead > 1e-6].min(initial=outline.length_mm)))
    steps = np.diff(np.append(outline.starts_mm, outline.length_mm))
    stations = outline.starts_mm[element] + part * steps[element]
    away = np.remainder(sign * (stations - origin), outline.length_mm)
    near = np.flatnonzero((away > 0.0) & (away < room))
    if not len(near):
        return
    share = away[near] / room
    slope = sign * room * share * (1.0 - share) ** 2
    tangent = outline.tangents(element[near], part[near])
    normal = np.column_stack((tangent[:, 1], -tangent[:, 0]))
    along = (end - start) / np.hypot(*(end - start))
    across = np.array([along[1], -along[0]])
    turn = slope[:, None, None] * normal[:, :, None] * across[None, None, :]
    here = end if last else start
    for place, weight in (
        (end, 1.0 / np.hypot(*(end - start))),
        (start, -1.0 / np.hypot(*(end - start))),
        (here + _STEP_MM * along, -0.5 / _STEP_MM),
        (here - _STEP_MM * along, 0.5 / _STEP_MM),
    ):
        rows.append(near)
        places.append(np.tile(place, (len(near), 1)))
        matrices.append(weight * turn)


def rim_moves(hole: Curve, row: int = 0) -> Moves:
    """How a cut-out moves as a whole: the mean over points along its rim."""
    line = _rim(hole)
    mean = np.tile(np.eye(2) / len(line), (len(line), 1, 1))
    return Moves(line, mean, np.full(len(line), row))


def _rim(hole: Curve) -> FloatArray:
    rim = Outline(hole, None)
    return rim.points(np.linspace(0.0, rim.length_mm, _RIM_POINTS, endpoint=False))


@dataclass(frozen=True, eq=False)
class Carried:
    """A pattern that was carried by a field.

    Attributes:
        pattern: as it is now.
        stray_mm: how far its arcs lie at most from the way of the points that they stand for.
        shifts_mm: (c, 2) float64, how each cut-out moved.
    """

    pattern: Pattern
    stray_mm: float
    shifts_mm: FloatArray


def carried(pattern: Pattern, outline: Outline, field: Field) -> Carried:
    """The pattern carried by the field: joints, arcs through their middles, cut-outs, marks."""
    count = outline.joints
    every = np.arange(count)
    offsets = np.array([0.0, 0.25, 0.5, 0.75])
    element, part = np.repeat(every, 4), np.tile(offsets, count)
    new = points_along(outline.curve, element, part)
    new = (new + moves(outline, element, part).of(field, len(element))).reshape(count, 4, 2)
    joints, middles = new[:, 0], new[:, 2]
    bulges = _bulges(joints, middles)
    for run in outline.straights:
        bulges[(run.first + np.arange(run.count)) % count] = 0.0
    curve = Curve(joints, bulges)
    stray = max(float(np.abs(_off(curve, every, new[:, i])).max(initial=0.0)) for i in (1, 3))
    shifts = np.array([rim_moves(hole).of(field, 1)[0] for hole in pattern.cut_outs]).reshape(-1, 2)
    holes = tuple(
        Curve(hole.points_mm + shift, hole.bulges)
        for hole, shift in zip(pattern.cut_outs, shifts, strict=True)
    )
    return Carried(
        replace(
            pattern,
            outline=curve,
            cut_outs=holes,
            marks=tuple(_carried_mark(mark, outline, field) for mark in pattern.marks),
            deviation_mm=pattern.deviation_mm + stray,
            outline_corners=outline.corners,
        ),
        stray,
        shifts,
    )


def _bulges(joints: FloatArray, middles: FloatArray) -> FloatArray:
    """The arcs through three points each: half the turn between their two chords, halved again."""
    first, second = middles - joints, np.roll(joints, -1, axis=0) - middles
    cross = first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0]
    turn = np.arctan2(cross, np.einsum("ij,ij->i", first, second))
    found: FloatArray = np.tan(0.5 * turn)
    return found


def _off(curve: Curve, element: IntArray, points: FloatArray) -> FloatArray:
    """(n,) how far points lie from their elements' arcs."""
    start = curve.points_mm[element]
    chord = np.roll(curve.points_mm, -1, axis=0)[element] - start
    length = np.hypot(*chord.T)
    along = np.einsum("ij,ij->i", points - start, chord) / length**2
    parts = np.clip(along, 0.0, 1.0)
    for _ in range(3):
        here = points_along(curve, element, parts)
        parts = np.clip(parts + np.einsum("ij,ij->i", points - here, chord) / length**2, 0.0, 1.0)
    return np.asarray(np.hypot(*(points - points_along(curve, element, parts)).T))


def _carried_mark(mark: Mark, outline: Outline, field: Field) -> Mark:
    """A mark goes with the place of the outline that it stands beside, in its own shape."""
    station, _ = outline.nearest(mark.points_mm[:1])
    element, part = outline.place(station)
    shift = moves(outline, element, part).of(field, 1)[0]
    return replace(mark, points_mm=mark.points_mm + shift)
