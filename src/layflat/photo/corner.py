"""Sharp corners: where the two sides of a line would meet if they went on.

A detector rounds corners off, so that near one the line is not measured but taken from its sides:
a quadratic through either, and their meeting point. Whether the corner is sharp or a tight bend,
the light on the way out of it says: beyond a sharp one the ink ends half a pen's width past the
meeting point, and short of that beyond a bend.
"""

from dataclasses import dataclass, replace

import numpy as np

from layflat.base import FloatArray, IntArray
from layflat.photo.follow import STEP_MM, Line
from layflat.photo.profile import Model
from layflat.photo.records import Plane

_BLUNT_MM = 2.5
_SIDE_MM = 11.0
_LEAST_TURN = np.radians(26.0)
_APART_MM = 7.0
_TENT = np.array([1.0, 2.0, 3.0, 4.0, 3.0, 2.0, 1.0]) / 16.0
_LEAST_SIDE = 4
_MOST_ASTRAY_MM = 5.0
_SHARP_MM = 0.12
_DRAWN_IN = 0.78
_MOST_TURN = np.radians(150.0)
_TIGHT_MM = 2.6
"""Bends as tight as this are drawn from their sides; wider ones are measured."""


@dataclass(frozen=True, eq=False)
class _Corner:
    """Where two sides meet: unit vectors away from there along each, and the radius of the bend."""

    index: int
    at: FloatArray
    doubt: float
    back: FloatArray
    onward: FloatArray
    radius_mm: float = 0.0

    @property
    def turn(self) -> float:
        """How far the line turns, radians."""
        return float(np.arccos(np.clip(-(self.back @ self.onward), -1.0, 1.0)))

    @property
    def inward(self) -> FloatArray:
        """The unit vector between the two sides."""
        both: FloatArray = self.back + self.onward
        return both / max(float(np.hypot(*both)), 1e-9)

    def bend(self) -> FloatArray:
        """(k, 2) places round the bend; the meeting point alone if the corner is sharp."""
        if self.radius_mm == 0.0:
            return self.at[None]
        count = max(3, int(np.ceil(self.turn / np.radians(15.0))) + 1)
        middle = self.at + self.radius_mm / np.cos(0.5 * self.turn) * self.inward
        angle = np.linspace(-0.5, 0.5, count) * self.turn
        side = self.onward - (self.onward @ self.inward) * self.inward
        side /= max(float(np.hypot(*side)), 1e-9)
        places: FloatArray = middle + self.radius_mm * (
            np.sin(angle)[:, None] * side - np.cos(angle)[:, None] * self.inward
        )
        return places


def with_corners(plane: Plane, line: Line, model: Model) -> Line:
    """The line with its sharp corners put where its sides meet, and marked."""
    places = _turning(line)
    found = []
    for index in places.tolist():
        corner = _corner(line, index, places)
        if corner is None or corner.turn < _LEAST_TURN:
            continue
        blunted = _blunted_mm(plane, line, corner, model)
        if blunted < _SHARP_MM:
            found.append(corner)
            continue
        radius = blunted / (1.0 / np.cos(0.5 * corner.turn) - 1.0)
        if radius < _TIGHT_MM:
            found.append(replace(corner, radius_mm=float(radius)))
    if not found:
        return line
    return _placed(line, found)


def _turning(line: Line) -> IntArray:
    """Places where the line turns most within a few mm."""
    near, far = round(2.0 / STEP_MM), round(5.0 / STEP_MM)
    at = line.at_mm
    count = len(at)
    if count < 4 * far:
        return np.empty(0, dtype=np.int64)
    index = np.arange(count)

    def place(steps: int) -> FloatArray:
        which = index + steps
        which = which % count if line.closed else np.clip(which, 0, count - 1)
        return at[which]

    behind, ahead = place(-near) - place(-far), place(far) - place(near)
    cross = behind[:, 0] * ahead[:, 1] - behind[:, 1] * ahead[:, 0]
    turn = np.arctan2(cross, np.sum(behind * ahead, axis=1))
    # Within the blunt part of a corner the turn is the same: its middle is the corner.
    padded = np.concatenate((turn[-3:], turn, turn[:3])) if line.closed else np.pad(turn, 3)
    turn = np.abs(np.convolve(padded, _TENT, "valid"))
    found: list[int] = []
    apart = round(_APART_MM / STEP_MM)
    for which in np.argsort(-turn, kind="stable").tolist():
        if turn[which] < _LEAST_TURN:
            break
        away = [min(abs(which - f), count - abs(which - f)) for f in found]
        if not away or min(away) >= apart:
            found.append(which)
    return np.array(sorted(found), dtype=np.int64)


def _corner(line: Line, index: int, places: IntArray) -> _Corner | None:
    """Where the sides about a place meet; None where they do not, near it."""
    sides = [_side(line, index, places, way) for way in (-1, 1)]
    if sides[0] is None or sides[1] is None:
        return None
    (one, doubt_one), (two, doubt_two) = sides[0], sides[1]
    s, t = 0.0, 0.0
    for _ in range(8):
        p, q = _value(one, s), _value(two, t)
        matrix = np.column_stack((_slope(one, s), -_slope(two, t)))
        if abs(np.linalg.det(matrix)) < 0.25:
            return None
        ds, dt = np.linalg.solve(matrix, q - p)
        s, t = s + ds, t + dt
        if max(abs(s), abs(t)) > _MOST_ASTRAY_MM:
            return None
    away = [side / max(float(np.hypot(*side)), 1e-9) for side in (_slope(one, s), _slope(two, t))]
    return _Corner(
        index=index,
        at=_value(one, s),
        doubt=float(np.hypot(doubt_one, doubt_two)),
        back=away[0],
        onward=away[1],
    )


def _side(line: Line, index: int, places: IntArray, way: int) -> tuple[FloatArray, float] | None:
    """A quadratic (3, 2) of the distance from the place, through one side, and its doubt."""
    count = len(line.at_mm)
    others = [(way * (int(p) - index)) % count for p in places.tolist() if p != index]
    most = min([_SIDE_MM / STEP_MM, *[other - _BLUNT_MM / STEP_MM for other in others]])
    steps = np.arange(round(_BLUNT_MM / STEP_MM), int(most) + 1)
    which = index + way * steps
    inside = np.ones(len(which), dtype=np.bool_) if line.closed else (which >= 0) & (which < count)
    which, steps = which[inside] % count, steps[inside]
    good = line.measured[which]
    which, steps = which[good], steps[good]
    if len(which) < _LEAST_SIDE:
        return None
    degree = 2 if len(which) >= 7 else 1
    away = steps * STEP_MM
    table = np.vander(away, degree + 1, increasing=True).astype(np.float64)
    weight = 1.0 / np.maximum(line.doubt_mm[which], 0.01)
    fitted, *_ = np.linalg.lstsq(table * weight[:, None], line.at_mm[which] * weight[:, None])
    rest = line.at_mm[which] - table @ fitted
    doubt = float(np.sqrt(np.mean(rest**2))) + 0.03
    full = np.zeros((3, 2))
    full[: degree + 1] = fitted
    return full, doubt


def _value(side: FloatArray, away: float) -> FloatArray:
    value: FloatArray = side[0] + away * (side[1] + away * side[2])
    return value


def _slope(side: FloatArray, away: float) -> FloatArray:
    slope: FloatArray = side[1] + 2.0 * away * side[2]
    return slope


def _blunted_mm(plane: Plane, line: Line, corner: _Corner, model: Model) -> float:
    """How far short of the sides' meeting point the line turns, seen in the light on the way out.

    The lens's blur draws the half of the light in from a sharp corner, and that is made up for: by
    s² / 2R at the round end of a line of half a width R, by 0.78 s tan(t / 2) where an edge turns
    by t. (For a square corner Φ(d / √2 s)² is a half at d = 0.77 s; for others the integral of the
    normal distribution over the wedge was solved for a half: 0.797 at 20° to 0.742 at 120°.)
    """
    out = np.arange(-6.0, 6.0, 0.05)
    light = plane.light_at((corner.at - out[:, None] * corner.inward)[None])[0]
    beyond = float(np.median(light[(out > 3.0) & (out < 5.0)]))
    spread = float(np.hypot(plane.sharp_mm, 0.29 * plane.mm_per_px))
    if model == "line":
        half = 0.5 * line.width_mm
        level = beyond * (1.0 - 0.5 * float(np.median(line.contrast)))
        expected = half - 0.5 * spread**2 / max(half, spread)
        ink = (light < level) == (level < beyond)
    else:
        within = float(np.median(light[out < -4.0]))
        level = 0.5 * (within + beyond)
        expected = -_DRAWN_IN * spread * np.tan(0.5 * min(corner.turn, _MOST_TURN))
        ink = (light < level) == (level < beyond)
    reach = out < expected + 0.5
    if not (ink & reach).any():
        return float(np.inf)
    last = int(np.flatnonzero(ink & reach)[-1])
    if last + 1 >= len(out) or not reach[last + 1]:
        return 0.0
    share = (level - light[last]) / (light[last + 1] - light[last])
    return max(0.0, expected - float(out[last] + 0.05 * share))


def _placed(line: Line, found: list[_Corner]) -> Line:
    """The line without the places near each corner, with the corner or the bend in their stead."""
    count = len(line.at_mm)
    index = np.arange(count)
    keep = np.ones(count, dtype=np.bool_)
    blunt = round(_BLUNT_MM / STEP_MM)
    for corner in found:
        away = np.abs(index - corner.index)
        away = np.minimum(away, count - away) if line.closed else away
        reach = max(_BLUNT_MM, corner.radius_mm * np.tan(0.5 * corner.turn) + 0.3)
        near = np.hypot(*(line.at_mm - corner.at).T) < reach
        keep &= (away >= blunt) & ~(near & (away < 3 * blunt))
    bends = {corner.index: corner for corner in found}
    which: list[int] = []
    sharp: list[int] = []
    for place in index.tolist():
        bend = bends.get(place)
        if bend is None:
            which += [place] if keep[place] else []
            continue
        if bend.radius_mm == 0.0:
            sharp.append(len(which))
        which += [place] * len(bend.bend())
    order = np.array(which, dtype=np.int64)
    moved = line.picked(order)
    at, doubt, measured = moved.at_mm.copy(), moved.doubt_mm.copy(), moved.measured.copy()
    fixed = np.zeros(len(order), dtype=np.bool_)
    for corner in found:
        here = order == corner.index
        at[here], doubt[here], measured[here] = corner.bend(), corner.doubt, True
        fixed |= here
    return replace(
        moved,
        at_mm=at,
        doubt_mm=doubt,
        measured=measured,
        corners=np.array(sharp, dtype=np.int64),
        fixed=fixed,
    )
