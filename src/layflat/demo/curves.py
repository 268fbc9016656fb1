"""Profile curves as a draughtsman's spline draws them: smooth functions through control polygons.

A profile is the cubic B-spline of a control polygon (C. de Boor, *A Practical Guide to Splines*,
1978): it has continuous curvature, never swings out of its polygon, and a doubled point
draws it close to a corner.
"""

import numpy as np
from numpy.typing import ArrayLike
from scipy.interpolate import BSpline, CubicSpline

from layflat.base import FloatArray

_SAMPLES = 600


def spline_points(polygon: ArrayLike, *, samples: int = _SAMPLES) -> FloatArray:
    """Points (samples, d) along the cubic B-spline of an open control polygon (k, d), k >= 2."""
    control = np.asarray(polygon, dtype=np.float64)
    degree = min(3, len(control) - 1)
    inner = np.linspace(0.0, 1.0, len(control) - degree + 1)
    knots = np.concatenate([np.zeros(degree), inner, np.ones(degree)])
    curve: FloatArray = BSpline(knots, control, degree)(np.linspace(0.0, 1.0, samples))
    return curve


class Profile:
    """A function of one length, drawn by a control polygon; straight on beyond its ends."""

    def __init__(self, *polygon: tuple[float, float]) -> None:
        """Take the control points in the order of growing first coordinate."""
        curve = spline_points(polygon)
        kept = np.concatenate([[True], np.diff(curve[:, 0]) > 1e-9])
        self._spline = CubicSpline(*curve[kept].T)
        self._slope = self._spline.derivative()
        self._low, self._high = float(curve[0, 0]), float(curve[-1, 0])

    def __call__(self, at: FloatArray) -> FloatArray:
        """The values at *at*."""
        inside = np.clip(at, self._low, self._high)
        values: FloatArray = self._spline(inside) + (at - inside) * self._slope(inside)
        return values

    def slope(self, at: FloatArray) -> FloatArray:
        """The first derivative at *at*."""
        values: FloatArray = self._slope(np.clip(at, self._low, self._high))
        return values
