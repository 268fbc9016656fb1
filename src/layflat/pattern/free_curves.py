"""Free curves as chords: NURBS and ellipses of a drawing, within a deviation."""

import math

import numpy as np

from layflat.base import DrawingError, FloatArray

_MOST_POINTS = 2_000_000
_FIRST_PARTS = 4
_MOST_ROUNDS = 22
_BETWEEN = np.array([0.25, 0.5, 0.75])
"""Where a chord is held against its curve."""


def spline_chords(
    controls: FloatArray,
    knots: FloatArray,
    weights: FloatArray,
    *,
    degree: int,
    deviation: float,
    source: str,
) -> FloatArray:
    """Points along a NURBS curve, over the stretch of its parameter where it is a curve.

    That is from knot number *degree* to the one as far from the end: outside of it the basis
    functions do not sum to 1.

    Args:
        controls: (n, 3) float64.
        knots: (n + degree + 1,) float64, none less than the one before.
        weights: (n,) float64, above 0; or empty, which is 1 for all.
        degree: at least 1.
        deviation: how far chords may lie from the curve, in its own unit; above 0.
        source: for messages.

    Raises:
        DrawingError: these are no spline.
    """
    from scipy.interpolate import BSpline

    count = len(controls)
    whole = len(knots) == count + degree + 1 and count > degree >= 1
    if not whole or (np.diff(knots) < 0).any() or len(weights) not in (0, count):
        raise DrawingError(
            f"{source} is damaged: its knots, points and weights do not go together."
        )
    if len(weights) and not (weights > 0).all():
        raise DrawingError(f"{source} has a weight that is not above 0; draw it anew.")
    weight = (weights if len(weights) else np.ones(count))[:, None]
    curve = BSpline(knots, np.hstack((controls * weight, weight)), degree)

    def at(t: FloatArray) -> FloatArray:
        found: FloatArray = curve(t)
        return found[:, :3] / found[:, 3:]

    spans = np.unique(knots[degree : count + 1])
    if len(spans) < 2:
        raise DrawingError(f"{source} is damaged: its knots leave it no length.")
    parts = np.linspace(spans[:-1], spans[1:], _FIRST_PARTS, endpoint=False, axis=1).ravel()
    parameters = np.append(parts, spans[-1])
    points = at(parameters)
    for _ in range(_MOST_ROUNDS):
        begin, step = parameters[:-1], np.diff(parameters)
        off = np.zeros(len(step))
        for share in _BETWEEN:
            off = np.maximum(off, _off_chord(at(begin + share * step), points[:-1], points[1:]))
        bad = np.flatnonzero(off > deviation)
        if not len(bad):
            break
        parameters = np.insert(parameters, bad + 1, begin[bad] + 0.5 * step[bad])
        if len(parameters) > _MOST_POINTS:
            raise DrawingError(f"{source} unfolds to more than {_MOST_POINTS} points.")
        points = at(parameters)
    return points


def _off_chord(points: FloatArray, start: FloatArray, end: FloatArray) -> FloatArray:
    """How far points lie from their chords."""
    chord = end - start
    squared = np.sum(chord * chord, axis=1)
    along = np.sum((points - start) * chord, axis=1) / np.where(squared > 0, squared, 1.0)
    foot = start + np.clip(along, 0.0, 1.0)[:, None] * chord
    return np.asarray(np.linalg.norm(points - foot, axis=1))


def ellipse_chords(
    centre: FloatArray,
    major: FloatArray,
    minor: FloatArray,
    *,
    start: float,
    sweep: float,
    deviation: float,
) -> FloatArray:
    """(n, d) points along centre + major cos t + minor sin t, for t from *start* over *sweep*.

    A chord over the step s of t lies within s² / 8 of the greater half axis.
    """
    reach = max(float(np.linalg.norm(major)), float(np.linalg.norm(minor)))
    count = max(4, math.ceil(abs(sweep) * math.sqrt(reach / (8.0 * deviation))))
    if count > _MOST_POINTS:
        raise DrawingError(f"An ellipse unfolds to more than {_MOST_POINTS} points.")
    t = (start + sweep * np.linspace(0.0, 1.0, count + 1))[:, None]
    return np.asarray(centre + major * np.cos(t) + minor * np.sin(t))
