"""Closed curves of lines and arcs: measure, sample, move.

An *element* is the line or arc from one joint of a `Curve` to the next. With the chord c and
the bulge b of an element, its included angle is 4 atan(b), its sagitta b c / 2 and its radius
c (1 + b²) / (4 |b|): the definition of group 42 in the DXF reference. A positive bulge turns
counter-clockwise, so that the arc bellies out to the right of its chord.
"""

import math
from collections.abc import Iterable

import numpy as np

from layflat.base import FloatArray, InputError, IntArray
from layflat.pattern.piece import Curve

_SMALL_ANGLE = 1e-2
_FLAT_BULGE = 1e-12
_QUARTERS = 5
"""How many of the four directions of the axes an arc can pass: a full turn's, both ends."""


def _chords(curve: Curve) -> tuple[FloatArray, FloatArray, FloatArray]:
    """The elements' start points (k, 2), chord vectors (k, 2) and included angles (k,)."""
    starts = curve.points_mm
    # As `np.roll`, which takes its time with few points.
    chords = np.concatenate((starts[1:], starts[:1])) - starts
    return starts, chords, 4.0 * np.arctan(curve.bulges)


def element_lengths_mm(curve: Curve) -> FloatArray:
    """(k,) float64: the length of every element, arcs measured along the arc."""
    _, chords, angles = _chords(curve)
    half = 0.5 * np.abs(angles)
    lengths: FloatArray = np.hypot(chords[:, 0], chords[:, 1]) / np.sinc(half / np.pi)
    return lengths


def curve_length_mm(curve: Curve) -> float:
    """The length of the whole closed curve in mm."""
    return float(element_lengths_mm(curve).sum())


def curve_area_mm2(curve: Curve) -> float:
    """The signed area in mm²: positive when the curve runs counter-clockwise.

    The shoelace sum over the joints (taken about their mean, which keeps digits far from the
    origin), and for every arc its circular segment r² (θ - sin θ) / 2.
    """
    starts, chords, angles = _chords(curve)
    x, y = (starts - starts.mean(axis=0)).T
    shoelace = 0.5 * float(np.sum(x * chords[:, 1] - chords[:, 0] * y))
    squared = np.sum(chords * chords, axis=1)
    small = np.abs(angles) < _SMALL_ANGLE
    safe = np.where(small, 1.0, angles)
    exact = (safe - np.sin(safe)) / np.sin(0.5 * safe) ** 2
    series = 2.0 / 3.0 * angles * (1.0 + angles**2 / 30.0)
    return shoelace + float(np.sum(squared * np.where(small, series, exact))) / 8.0


def points_along(curve: Curve, element: IntArray, parts: FloatArray) -> FloatArray:
    """(n, 2) float64: points of elements (n,) at the parts (n,), 0 to 1, of their angles.

    The point at the angle φ from the start lies at the distance c sin(φ/2) / sin(θ/2) in the
    direction of the chord turned by (φ - θ)/2: no centre is needed, so that nearly straight
    arcs lose no digits.

    Args:
        curve: the curve.
        element: (n,) int64, which elements.
        parts: (n,) float64, how far along each.
    """
    start = curve.points_mm[element]
    chord = curve.points_mm[(element + 1) % len(curve.points_mm)] - start
    half = 2.0 * np.arctan(curve.bulges[element])
    flat = np.abs(half) < _FLAT_BULGE
    scale = np.where(flat, parts, np.sin(half * parts) / np.sin(np.where(flat, 1.0, half)))
    turn = np.where(flat, 0.0, half * (parts - 1.0))
    cos, sin = scale * np.cos(turn), scale * np.sin(turn)
    x, y = chord[:, 0], chord[:, 1]
    points: FloatArray = start + np.column_stack((x * cos - y * sin, x * sin + y * cos))
    return points


def sample_elements(curve: Curve, *, deviation_mm: float) -> tuple[FloatArray, IntArray]:
    """Points along the curve whose chords keep within a deviation, with their elements.

    Args:
        curve: the curve.
        deviation_mm: the greatest sagitta of a chord; above 0.

    Returns:
        (n, 2) float64 points in order, every joint among them and the first not repeated, and
        (n,) int64, the element that starts at or holds each point.

    Raises:
        InputError: *deviation_mm* is not above 0.
    """
    if not deviation_mm > 0:
        raise InputError(f"The deviation is {deviation_mm:g} mm; it must be above 0.")
    _, chords, angles = _chords(curve)
    angles = np.abs(angles)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        radii = np.hypot(chords[:, 0], chords[:, 1]) / (2.0 * np.sin(0.5 * angles))
        # 1 - cos(step/2) = deviation / radius, written so that it holds for huge radii too.
        step = 4.0 * np.arcsin(np.sqrt(np.minimum(0.5 * deviation_mm / radii, 0.5)))
        counts = np.where(angles > _FLAT_BULGE, np.ceil(angles / step - 1e-9), 1.0)
    counts = np.maximum(np.nan_to_num(counts, nan=1.0), 1.0).astype(np.int64)
    element = np.repeat(np.arange(len(counts)), counts)
    number = np.arange(len(element)) - np.repeat(np.cumsum(counts) - counts, counts)
    return points_along(curve, element, number / counts[element]), element


def sample(curve: Curve, *, deviation_mm: float) -> FloatArray:
    """(n, 2) float64 points along the curve whose chords keep within *deviation_mm* of it.

    Every joint is among them; the first is not repeated at the end.

    Raises:
        InputError: *deviation_mm* is not above 0.
    """
    return sample_elements(curve, deviation_mm=deviation_mm)[0]


def bounds(curves: Curve | Iterable[Curve]) -> tuple[float, float, float, float]:
    """The exact least box around one curve or several: x least, y least, x most, y most, in mm.

    Raises:
        InputError: no curve is given.
    """
    extremes = []
    for curve in (curves,) if isinstance(curves, Curve) else curves:
        extremes.append(curve.points_mm)
        _, chords, angles = _chords(curve)
        arcs = np.flatnonzero(np.abs(angles) > _FLAT_BULGE)
        theta = angles[arcs]
        # The direction from the centre to the start lies a right angle from the tangent.
        tangent = np.arctan2(chords[arcs, 1], chords[arcs, 0]) - 0.5 * theta
        first = tangent - np.copysign(0.5 * np.pi, theta)
        low = np.ceil(np.minimum(first, first + theta) / (0.5 * np.pi))
        quarters = low[:, None] + np.arange(_QUARTERS)
        which, _ = within = np.nonzero(
            quarters * 0.5 * np.pi < np.maximum(first, first + theta)[:, None]
        )
        parts = (quarters[within] * 0.5 * np.pi - first[which]) / theta[which]
        extremes.append(points_along(curve, arcs[which], parts))
    if not extremes:
        raise InputError("There is no curve to take the bounds of.")
    points = np.vstack(extremes)
    (x0, y0), (x1, y1) = points.min(axis=0), points.max(axis=0)
    return float(x0), float(y0), float(x1), float(y1)


def reverse(curve: Curve) -> Curve:
    """The same curve run through the other way, from the same first joint."""
    return Curve(
        points_mm=np.roll(curve.points_mm[::-1], 1, axis=0),
        bulges=-curve.bulges[::-1],
    )


def turn_points(
    points_mm: FloatArray, *, turn_deg: float, x_mm: float, y_mm: float, mirrored: bool
) -> FloatArray:
    """(k, 2) float64 points mirrored (x to -x) if asked, turned about the origin, then moved.

    Quarter turns are exact.
    """
    quarter, rest = divmod(turn_deg, 90.0)
    if rest == 0.0:
        cos, sin = ((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0))[int(quarter) % 4]
    else:
        cos, sin = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    x, y = np.asarray(points_mm, dtype=np.float64).reshape(-1, 2).T
    x = -x if mirrored else x
    return np.column_stack((cos * x - sin * y + x_mm, sin * x + cos * y + y_mm))


def transform(
    curve: Curve,
    *,
    turn_deg: float = 0.0,
    x_mm: float = 0.0,
    y_mm: float = 0.0,
    mirrored: bool = False,
) -> Curve:
    """The curve mirrored (x to -x) if asked, turned counter-clockwise, then moved.

    It keeps its sense: a mirrored curve is run through the other way, from the same first
    joint, so that an outline stays counter-clockwise and a cut-out clockwise.
    """
    points = turn_points(
        curve.points_mm, turn_deg=turn_deg, x_mm=x_mm, y_mm=y_mm, mirrored=mirrored
    )
    bulges = -curve.bulges if mirrored else curve.bulges
    moved = Curve(points_mm=points, bulges=bulges)
    return reverse(moved) if mirrored else moved


def tangent_turns(curve: Curve) -> FloatArray:
    """(k,) float64 radians: how far the direction turns at each joint, -pi to pi, left positive.

    0 where the elements before and after the joint run on smoothly.
    """
    _, chords, angles = _chords(curve)
    headings = np.arctan2(chords[:, 1], chords[:, 0])
    leaving = headings - 0.5 * angles
    arriving = headings + 0.5 * angles
    arriving = np.concatenate((arriving[-1:], arriving[:-1]))
    turns: FloatArray = np.remainder(leaving - arriving + np.pi, 2.0 * np.pi) - np.pi
    return turns


def corners(curve: Curve, *, least_turn_deg: float = 10.0) -> IntArray:
    """(c,) int64: the joints where the direction turns by more than *least_turn_deg*."""
    found: IntArray = np.flatnonzero(np.abs(tangent_turns(curve)) > math.radians(least_turn_deg))
    return found.astype(np.int64)
