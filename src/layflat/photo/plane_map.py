"""Homographies: how one plane is seen from another."""

import numpy as np

from layflat.base import FloatArray, InputError

_LEAST_SHARE = 1e-9


def homography(points: FloatArray, seen: FloatArray) -> FloatArray:
    """(3, 3) float64: the map from *points* (n, 2) to *seen* (n, 2), n at least 4.

    The normalised direct linear transform (Hartley and Zisserman, *Multiple View Geometry*,
    algorithm 4.2): both sets are first moved and scaled to a mean distance of √2.

    Raises:
        InputError: fewer than four points, or points on one line.
    """
    if len(points) < 4:
        raise InputError("A homography needs at least four points.")
    to_points, to_seen = _normal(points), _normal(seen)
    a, b = through(to_points, points), through(to_seen, seen)
    one, none = np.ones(len(a)), np.zeros(len(a))
    x, y = a.T
    u, v = b.T
    rows = np.vstack(
        (
            np.column_stack((x, y, one, none, none, none, -u * x, -u * y, -u)),
            np.column_stack((none, none, none, x, y, one, -v * x, -v * y, -v)),
        )
    )
    _, sizes, right = np.linalg.svd(rows, full_matrices=True)
    if sizes[7] < _LEAST_SHARE * sizes[0]:
        raise InputError("A homography needs points that do not lie on one line.")
    matrix: FloatArray = np.linalg.inv(to_seen) @ right[8].reshape(3, 3) @ to_points
    return matrix / np.linalg.norm(matrix)


def through(matrix: FloatArray, points: FloatArray) -> FloatArray:
    """(n, 2) float64: *points* (n, 2) seen through the homography *matrix*."""
    seen = np.column_stack((points, np.ones(len(points)))) @ matrix.T
    result: FloatArray = seen[:, :2] / seen[:, 2:]
    return result


def _normal(points: FloatArray) -> FloatArray:
    middle = points.mean(axis=0)
    distance = float(np.mean(np.hypot(*(points - middle).T)))
    scale = np.sqrt(2.0) / max(distance, 1e-300)
    return np.array(
        [(scale, 0.0, -scale * middle[0]), (0.0, scale, -scale * middle[1]), (0.0, 0.0, 1.0)]
    )
