"""Where a flat pattern is put in its plane, so that equal surfaces give equal patterns."""

import numpy as np

from layflat.film.frames import ComplexArray, Frames

_ALIKE = 1e-6
"""Relative difference below which two lengths or moments count as equal."""


def posed(frames: Frames, points: ComplexArray) -> ComplexArray:
    """*points* (n,) complex, moved and turned into the pose that stands for all others.

    The centroid of the area lies at the origin. The longer principal axis of the area lies
    along x; of the two ways round, the one that has more area far out at positive x (third
    moments decide). A pattern without such an axis or such a side, like a disc or a rectangle,
    is turned by the vertex that lies farthest out instead, the first of them if several do.
    """
    corners = np.stack([points[corner] for corner in frames.corners])
    sides = corners[1:] - corners[0]
    areas = 0.5 * (sides[0].real * sides[1].imag - sides[0].imag * sides[1].real)
    centroid = np.sum(areas * corners.mean(axis=0)) / areas.sum()
    points = points - centroid
    corners = corners - centroid
    # Exact moments of a triangle from its corners p: the mean of z² is
    # (sum p² + (sum p)²) / 12, and of |z|² likewise.
    total = corners.sum(axis=0)
    second = np.sum(areas * ((corners**2).sum(axis=0) + total**2)) / 12.0
    spread = np.sum(areas * ((np.abs(corners) ** 2).sum(axis=0) + np.abs(total) ** 2)) / 12.0
    far = _farthest(points)
    if abs(second) <= _ALIKE * spread:
        return np.asarray(points * (np.conj(far) / abs(far)))
    turn = np.conj(np.sqrt(second / abs(second)))
    points, corners, far = points * turn, corners * turn, far * turn
    middle = corners.mean(axis=0)
    radius = np.sqrt(spread / areas.sum())
    weights = areas / areas.sum() / radius**3
    thirds = (
        np.sum(weights * middle.real**3),
        np.sum(weights * middle.real**2 * middle.imag),
        np.sum(weights * middle.real * middle.imag**2),
        far.real / radius,
        far.imag / radius,
    )
    deciding = next((moment for moment in thirds if abs(moment) > _ALIKE), 1.0)
    return np.asarray(points if deciding > 0.0 else -points)


def _farthest(points: ComplexArray) -> complex:
    """The first of the points that lie farthest from the origin."""
    distance = np.abs(points)
    return complex(points[np.argmax(distance >= (1.0 - _ALIKE) * distance.max())])
