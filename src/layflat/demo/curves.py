"""Profile curves as a draughtsman's spline draws them: smooth functions through control polygons.

A profile is the cubic B-spline of a control polygon (C. de Boor, *A Practical Guide to Splines*,
1978): it has continuous curvature, never swings out of its polygon, and a doubled point
draws it close to a corner.
"""

import numpy as np
from numpy.typing import ArrayLike
from scipy.interpolate import BSpline, CubicHermiteSpline, CubicSpline

from layflat.base import FloatArray, IntArray
from layflat.demo.jets import Jet

_SAMPLES = 600
_PIECES = 2400


def spline_points(polygon: ArrayLike, *, samples: int = _SAMPLES) -> FloatArray:
    """Points (samples, d) along the cubic B-spline of an open control polygon (k, d), k >= 2."""
    control = np.asarray(polygon, dtype=np.float64)
    degree = min(3, len(control) - 1)
    inner = np.linspace(0.0, 1.0, len(control) - degree + 1)
    knots = np.concatenate([np.zeros(degree), inner, np.ones(degree)])
    curve: FloatArray = BSpline(knots, control, degree)(np.linspace(0.0, 1.0, samples))
    return curve


class Profile:
    """A function of one length, drawn by a control polygon; straight on beyond its ends.

    The spline is kept as cubics on even pieces, about a millimetre each, so that looking up a
    piece needs no search. Before the first and behind the last lies a straight one.
    """

    def __init__(self, *polygon: tuple[float, float]) -> None:
        """Take the control points in the order of growing first coordinate."""
        curve = spline_points(polygon)
        kept = np.concatenate([[True], np.diff(curve[:, 0]) > 1e-9])
        spline = CubicSpline(*curve[kept].T)
        knots = np.linspace(curve[0, 0], curve[-1, 0], _PIECES + 1)
        values, slopes = spline(knots), spline(knots, 1)
        ends = np.array([[0.0, 0.0], [0.0, 0.0], slopes[[0, -1]], values[[0, -1]]])
        cubics = CubicHermiteSpline(knots, values, slopes).c
        self._cubics = np.hstack([ends[:, :1], cubics, ends[:, 1:]])
        self._starts = np.concatenate([knots[:1], knots])
        self._per_mm = _PIECES / float(knots[-1] - knots[0])

    def __call__(self, at: Jet) -> Jet:
        """The values at *at*."""
        piece, along = self._piece(at.value)
        a, b, c, d = (row[piece] for row in self._cubics)
        return at.through(
            ((a * along + b) * along + c) * along + d,
            lambda: (3.0 * a * along + 2.0 * b) * along + c,
        )

    def slope(self, at: Jet) -> Jet:
        """The first derivative at *at*."""
        piece, along = self._piece(at.value)
        a, b, c = (row[piece] for row in self._cubics[:3])
        return at.through(
            (3.0 * a * along + 2.0 * b) * along + c, lambda: 6.0 * a * along + 2.0 * b
        )

    def _piece(self, at: FloatArray) -> tuple[IntArray, FloatArray]:
        """Which piece each place lies in, and how far from its start."""
        count = (at - self._starts[0]) * self._per_mm
        piece = np.floor(np.clip(count, -1.0, _PIECES)).astype(np.int64) + 1
        return piece, at - self._starts[piece]
