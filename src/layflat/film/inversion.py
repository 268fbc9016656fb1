"""How far a flat shape can be moved before a triangle turns over."""

import numpy as np

from layflat.base import FloatArray
from layflat.film.frames import ComplexArray, Frames, cross

_SAFE = 0.9
"""Part of the way to the first inversion that a step may go."""


def safe_step(frames: Frames, points: ComplexArray, direction: ComplexArray) -> float:
    """The greatest length that a step along *direction* may have; may be infinite."""
    return _SAFE * inversion_limit(frames, points, direction)


def inversion_limit(frames: Frames, points: ComplexArray, direction: ComplexArray) -> float:
    """The length along *direction* at which the first triangle loses its area; may be infinite.

    The area of a moved triangle is a quadratic in the length, ``c + b t + a t²``; its least
    positive root is taken in the form that does not cancel.
    """
    (p, q), (dp, dq) = frames.sides(points), frames.sides(direction)
    a, b, c = cross(dp, dq), cross(p, dq) + cross(dp, q), cross(p, q)
    return float(_least_positive_root(a, b, c).min())


def _least_positive_root(a: FloatArray, b: FloatArray, c: FloatArray) -> FloatArray:
    """The least positive root of ``c + b t + a t²`` for c > 0; infinite if there is none."""
    discriminant = b * b - 4.0 * a * c
    real = discriminant >= 0.0
    middle = -b + np.sqrt(np.where(real, discriminant, 0.0))
    # With c > 0, 2c / (-b + root) is the least positive root if the denominator is positive:
    # for a < 0 it is the only positive one, for a > 0 the nearer of two, for a = 0 it is -c/b.
    with np.errstate(divide="ignore"):
        root = np.where(middle > 0.0, 2.0 * c / middle, np.inf)
    return np.where(real, root, np.inf)
