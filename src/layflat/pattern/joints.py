"""Where the joints of a fitted line may stand, and in which direction it may pass there."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layflat.base import FloatArray, IntArray
from layflat.pattern.spans import Joints

_REACHES = (1, 2, 4, 7, 12, 20, 34)
"""Vertices to each side that a local quadratic is fitted to."""

_SHIFTS = (0.0, -0.5, 0.5)
"""Places across the line, in parts of the tolerance."""

_MOST_SHIFT = 0.8
_MOST_RESIDUAL = 4.0


@dataclass(frozen=True, eq=False)
class Candidates:
    """Joints that a stretch of a line offers.

    Attributes:
        joints: (c,) all of them, vertex by vertex.
        first: (n + 1,) int64, where those of each vertex begin in *joints*.
        tolerance: of the fit, mm.
    """

    joints: Joints
    first: IntArray
    tolerance: float

    def at(self, vertices: IntArray) -> Joints:
        """The candidates at some vertices, in their order."""
        counts = self.first[vertices + 1] - self.first[vertices]
        ends = np.cumsum(counts)
        which = np.arange(ends[-1]) + np.repeat(self.first[vertices] - ends + counts, counts)
        return self.joints.pick(which)


def candidates(points: FloatArray, *, tolerance: float, closed: bool) -> Candidates:
    """The candidates along a line: local quadratics over windows from short to long.

    Args:
        points: (n, 2) float64, n >= 4; a closed line repeats its first point at the end.
        tolerance: how far the fit may lie from a point, mm; above 0.
        closed: whether the line is closed.
    """
    count = len(points)
    line, first = points, 0
    if closed:
        line, first = np.vstack((points[:-1], points[:-1], points)), count - 1
    station = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))))
    at = first + np.arange(count)
    found = [
        _quadratics(line, station, at, reach, tolerance)
        for reach in _REACHES
        if reach == 1 or 2 * reach < min(count, len(line))
    ]
    places, tangents, usable, residuals = (
        np.stack(parts, axis=1) for parts in zip(*found, strict=True)
    )
    if closed:
        # One joint, from the longest window that explains its points, is the first and the last.
        ready = np.flatnonzero(usable[0] & (residuals[0] <= tolerance))
        usable[0] = np.arange(usable.shape[1]) == ready[-1]
    else:
        places[[0, -1]] = points[[0, -1], None]
    allowed = np.ones((count, len(_SHIFTS)), dtype=bool)
    # An end of an open line is where it is, and offers directions only.
    allowed[[0, -1], 1:] = False
    vertex, window, shift = np.nonzero(usable[:, :, None] & allowed[:, None, :])
    along = tangents[vertex, window]
    across = np.column_stack((-along[:, 1], along[:, 0]))
    offset = tolerance * np.array(_SHIFTS)[shift]
    moved = places[vertex, window] + offset[:, None] * across
    joints = Joints(vertex, moved, along)
    if closed:
        opening = joints.pick(np.flatnonzero(vertex == 0))
        inner = joints.pick(np.flatnonzero((vertex > 0) & (vertex < count - 1)))
        joints = Joints(
            np.concatenate((opening.at, inner.at, opening.at + count - 1)),
            np.concatenate((opening.points, inner.points, opening.points)),
            np.concatenate((opening.tangents, inner.tangents, opening.tangents)),
        )
    return Candidates(joints, np.searchsorted(joints.at, np.arange(count + 1)), tolerance)


def _quadratics(
    line: FloatArray, station: FloatArray, at: IntArray, reach: int, tolerance: float
) -> tuple[FloatArray, FloatArray, NDArray[np.bool_], FloatArray]:
    """Points, tangents, usability and residuals at the vertices *at*, from windows of one reach.

    Near the ends of the line the windows lie to one side.
    """
    low = np.clip(at - reach, 0, len(line) - 1 - 2 * reach)
    window = low[:, None] + np.arange(2 * reach + 1)
    along = station[window] - station[at][:, None]
    scale = np.abs(along).max(axis=1, keepdims=True)
    along = along / scale
    powers = np.stack((np.ones_like(along), along, along * along), axis=2)
    away = line[window] - line[at][:, None]
    fit = np.linalg.pinv(powers) @ away
    residual = np.hypot(*np.moveaxis(away - powers @ fit, 2, 0)).max(axis=1)
    shift, tangent = fit[:, 0], fit[:, 1]
    size = np.hypot(*tangent.T)
    near = np.hypot(*shift.T) <= _MOST_SHIFT * tolerance
    if reach == 1:
        # Three points lie on their quadratic: these candidates are always there.
        shift, near = np.zeros_like(shift), np.ones_like(near)
        tangent = np.where((size > 0)[:, None], tangent, line[window[:, -1]] - line[window[:, 0]])
        size = np.hypot(*tangent.T)
    usable = near & (size > 0) & (residual <= _MOST_RESIDUAL * tolerance)
    with np.errstate(divide="ignore", invalid="ignore"):
        tangents = tangent / size[:, None]
    return line[at] + shift, tangents, usable, residual
