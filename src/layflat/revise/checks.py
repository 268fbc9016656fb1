"""What a revised pattern must be: unfolded, whole, without wiggles; else which notes fight."""

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from shapely import Polygon, is_valid_reason, prepare

from layflat.base import FloatArray, InputError
from layflat.pattern import Curve, Pattern, sample
from layflat.revise.outline import Outline
from layflat.revise.plate import Field
from layflat.revise.readings import Reading
from layflat.revise.weigh import USUAL_CAR_MM

LEAST_JACOBIAN = 0.2
"""Film that is to shrink below this share of its area is as good as folded."""

_GRID = 60
_ROUND = 8
_TURN_RAD = math.radians(0.05)
_NARROWED_MM = 0.2
_NARROW_MM = 15.0
_DEVIATION_MM = 0.02
_NEAR_MM = 25.0
_FAR_OFF = 3.0
_SAME_WAY = 0.5


def least_jacobian(field: Field, outline: Outline, readings: Sequence[Reading]) -> float:
    """The least that the field leaves of any small area of the piece.

    It is looked for along the outline, over the piece, and round every note.

    Raises:
        InputError: the film would fold; says where and which notes fight.
    """
    joints = outline.curve.points_mm
    low, high = joints.min(axis=0), joints.max(axis=0)
    x, y = (np.linspace(a, b, _GRID) for a, b in zip(low, high, strict=True))
    grid = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    turn = 2.0 * np.pi * np.arange(_ROUND) / _ROUND
    ring = np.column_stack((np.cos(turn), np.sin(turn)))
    rings = [field.centres_mm + radius * offset for radius in (2.0, 8.0, 20.0) for offset in ring]
    along = outline.points(np.arange(0.0, outline.length_mm, 5.0))
    points = np.vstack((grid, joints, along, *rings))
    found = field.jacobian(points)
    worst = int(np.argmin(found))
    if found[worst] < LEAST_JACOBIAN:
        raise InputError(
            f"The film would fold at x {points[worst, 0]:.0f}, y {points[worst, 1]:.0f} mm: "
            f"{fighters(readings, points[worst])} Read them again, or leave one out."
        )
    return float(found[worst])


def fighters(readings: Sequence[Reading], point_mm: FloatArray) -> str:
    """The notes that fight near a place, in a sentence."""
    near = sorted(readings, key=lambda reading: float(np.hypot(*(reading.point_mm - point_mm))))
    if len(near) < 2:
        return f"“{near[0].note.name}” asks too much there." if near else "The notes fight there."
    return f"the notes “{near[0].note.name}” and “{near[1].note.name}” fight there."


def contradictions(readings: Sequence[Reading]) -> tuple[str, ...]:
    """Sentences on notes at about one place that differ by more than doubts and laying explain."""
    single = [reading for reading in readings if reading.direction.any()]
    said = []
    for i, one in enumerate(single):
        for other in single[i + 1 :]:
            if one.note.revision != other.note.revision:
                continue
            if float(np.hypot(*(one.point_mm - other.point_mm))) > _NEAR_MM:
                continue
            if float(one.direction @ other.direction) < _SAME_WAY:
                continue
            spread = math.hypot(one.note.doubt_mm, other.note.doubt_mm)
            cars = one.note.car != other.note.car
            if cars:
                spread = math.hypot(spread, math.sqrt(2.0) * USUAL_CAR_MM)
            first, second = (float(each.values.mean()) for each in (one, other))
            if abs(first - second) > _FAR_OFF * spread:
                whose = (
                    f"cars {one.note.car} and {other.note.car}" if cars else f"car {one.note.car}"
                )
                said.append(
                    f"“{one.note.name}” ({_asks(first)}) and “{other.note.name}” "
                    f"({_asks(second)}) of {whose} contradict each other {one.words}."
                )
    return tuple(said)


def _asks(value: float) -> str:
    if value == 0.0:
        return "fits"
    return f"{'short' if value > 0 else 'over'} by {abs(value):.1f} mm"


def inflections(curve: Curve) -> int:
    """How often a closed curve changes from bending left to bending right or back.

    Bends of less than 0.05° in all are noise of arcs, and not counted.
    """
    bent = 4.0 * np.arctan(curve.bulges)
    chords = np.roll(curve.points_mm, -1, axis=0) - curve.points_mm
    heading = np.arctan2(chords[:, 1], chords[:, 0])
    kink = np.roll(heading - 0.5 * bent, -1) - (heading + 0.5 * bent)
    kink = np.remainder(kink + np.pi, 2.0 * np.pi) - np.pi
    signs: list[float] = []
    run = 0.0
    for turn in np.column_stack((bent, kink)).ravel().tolist():
        run = run + turn if run * turn >= 0.0 else turn
        if abs(run) > _TURN_RAD and (not signs or signs[-1] * run < 0.0):
            signs.append(math.copysign(1.0, run))
    changes = sum(one != two for one, two in pairwise(signs))
    return changes + (1 if signs and signs[0] != signs[-1] else 0)


def require_whole(before: Pattern, after: Pattern, readings: Sequence[Reading]) -> tuple[str, ...]:
    """What to say of the film's narrow places.

    Raises:
        InputError: an outline crosses itself, or a cut-out reaches another or the outline.
    """
    shape = Polygon(sample(after.outline, deviation_mm=_DEVIATION_MM))
    if not shape.is_valid:
        raise InputError(
            f"The revised outline would cross itself ({is_valid_reason(shape)}, mm): "
            f"{fighters(readings, _place(shape))} Read them again, or leave one out."
        )
    old, new = _bridges(before), _bridges(after)
    said = []
    prepare(shape)
    for i, hole in enumerate(after.cut_outs):
        rim = Polygon(sample(hole, deviation_mm=_DEVIATION_MM))
        if not shape.contains_properly(rim) or (new[i] <= 0.0 < old[i]):
            raise InputError(
                f"Cut-out {i + 1} of “{after.name}” would reach the edge or another cut-out: "
                f"{fighters(readings, hole.points_mm.mean(axis=0))} Read them again, or leave one "
                "out."
            )
        if new[i] < min(old[i] - _NARROWED_MM, _NARROW_MM):
            said.append(
                f"The film beside cut-out {i + 1} is {new[i]:.1f} mm wide at its narrowest, "
                f"{old[i]:.1f} mm before."
            )
    return tuple(said)


def _place(shape: Polygon) -> FloatArray:
    words = is_valid_reason(shape).partition("[")[2].rstrip("]").split()
    return np.array([float(word) for word in words[:2]])


def _bridges(pattern: Pattern) -> list[float]:
    """How narrow the film beside each cut-out is, in mm."""
    rings = [
        Polygon(sample(curve, deviation_mm=_DEVIATION_MM)).exterior
        for curve in (pattern.outline, *pattern.cut_outs)
    ]
    return [
        min(ring.distance(other) for j, other in enumerate(rings) if j != i)
        for i, ring in enumerate(rings)
        if i > 0
    ]
