"""The camera: a pinhole with a lens that bends, and where it stood.

A point of the table, turned and shifted into the camera's axes (x right, y down, z ahead), is
divided by its depth, bent by the model of Brown (*Decentering distortion of lenses*, 1966) in the
form that OpenCV documents, and scaled by the focal length:

    r² = x² + y²,  g = 1 + k1 r² + k2 r⁴ + k3 r⁶
    x' = g x + 2 p1 x y + p2 (r² + 2 x²),   y' = g y + p1 (r² + 2 y²) + 2 p2 x y
    u = f x' + cx,  v = f y' + cy

Pixels are counted from the middle of the first one, as OpenCV does.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from layflat.base import FloatArray, frozen

LENS_VALUES: Final = 8
"""ln f, cx, cy, k1, k2, p1, p2, k3: in the order of OpenCV's distortion from the fourth on."""
_SMALL_TURN = 1e-9


@dataclass(frozen=True, eq=False, kw_only=True)
class Lens:
    """What a camera does to directions.

    Attributes:
        width_px, height_px: of its pictures.
        values: (8,) float64: see `LENS_VALUES`.
    """

    width_px: int
    height_px: int
    values: FloatArray

    def __post_init__(self) -> None:
        object.__setattr__(self, "values", frozen(self.values))

    @property
    def focal_px(self) -> float:
        """The focal length in pixels."""
        return float(np.exp(self.values[0]))


def plain_lens(width_px: int, height_px: int, focal_px: float) -> Lens:
    """A lens that does not bend, with its axis in the middle of the picture."""
    middle = (0.5 * (width_px - 1), 0.5 * (height_px - 1))
    values = np.array([np.log(focal_px), *middle, 0.0, 0.0, 0.0, 0.0, 0.0])
    return Lens(width_px=width_px, height_px=height_px, values=values)


def turn_matrix(turn: FloatArray) -> FloatArray:
    """(3, 3) float64: the rotation about the axis *turn* (3,) by its length in radians."""
    angle = float(np.linalg.norm(turn))
    cross = cross_matrix(turn)
    if angle < _SMALL_TURN:
        return np.eye(3) + cross
    matrix: FloatArray = (
        np.eye(3)
        + np.sin(angle) / angle * cross
        + (1.0 - np.cos(angle)) / angle**2 * (cross @ cross)
    )
    return matrix


def cross_matrix(vector: FloatArray) -> FloatArray:
    """(3, 3) float64: the matrix whose product with w is the cross product of *vector* and w."""
    x, y, z = vector
    return np.array([(0.0, -z, y), (z, 0.0, -x), (-y, x, 0.0)])


def turn_slopes(turn: FloatArray) -> FloatArray:
    """(3, 3) float64: the right Jacobian of the rotation: exp(turn + d) ≈ exp(turn) exp(J d)."""
    angle = float(np.linalg.norm(turn))
    cross = cross_matrix(turn)
    if angle < _SMALL_TURN:
        return np.eye(3) - 0.5 * cross
    slopes: FloatArray = (
        np.eye(3)
        - (1.0 - np.cos(angle)) / angle**2 * cross
        + (angle - np.sin(angle)) / angle**3 * (cross @ cross)
    )
    return slopes


def project(lens: FloatArray, pose: FloatArray, plane_mm: FloatArray) -> FloatArray:
    """(n, 2) float64 pixels of points (n, 2) of the plane; NaN where the camera cannot see them.

    Args:
        lens: (8,) values of a `Lens`.
        pose: (6,): turn and shift (mm) from the plane's axes into the camera's.
        plane_mm: points with z = 0.
    """
    turn = turn_matrix(pose[:3])
    x, y, depth = (turn[:, :2] @ plane_mm.T) + pose[3:, None]
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        x, y = x / depth, y / depth
        square = x * x + y * y
        _, _, _, k1, k2, p1, p2, k3 = lens
        grow = 1.0 + square * (k1 + square * (k2 + square * k3))
        u = grow * x + 2.0 * p1 * x * y + p2 * (square + 2.0 * x * x)
        v = grow * y + p1 * (square + 2.0 * y * y) + 2.0 * p2 * x * y
        # Where the model folds back on itself nothing is seen.
        rising = 1.0 + square * (3.0 * k1 + square * (5.0 * k2 + square * 7.0 * k3))
        focal = np.exp(lens[0])
        pixels = np.column_stack((focal * u + lens[1], focal * v + lens[2]))
    pixels[(depth <= 0.0) | ~(rising > 0.0)] = np.nan
    return pixels


def project_with_slopes(
    lens: FloatArray, pose: FloatArray, plane_mm: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Pixels (n, 2), and their derivatives: by lens (n, 2, 8), pose (n, 2, 6), place (n, 2, 2)."""
    turn = turn_matrix(pose[:3])
    turned = (turn[:, :2] @ plane_mm.T).T
    seen = turned + pose[3:]
    depth = seen[:, 2]
    x, y = seen[:, 0] / depth, seen[:, 1] / depth
    focal = np.exp(lens[0])
    _, _, _, k1, k2, p1, p2, k3 = lens
    square = x * x + y * y
    grow = 1.0 + square * (k1 + square * (k2 + square * k3))
    bent_x = grow * x + 2.0 * p1 * x * y + p2 * (square + 2.0 * x * x)
    bent_y = grow * y + p1 * (square + 2.0 * y * y) + 2.0 * p2 * x * y
    pixels = np.column_stack((focal * bent_x + lens[1], focal * bent_y + lens[2]))

    count = len(x)
    by_lens = np.zeros((count, 2, LENS_VALUES))
    by_lens[:, 0, 0], by_lens[:, 1, 0] = focal * bent_x, focal * bent_y
    by_lens[:, 0, 1] = by_lens[:, 1, 2] = 1.0
    for place, power in ((3, square), (4, square**2), (7, square**3)):
        by_lens[:, 0, place], by_lens[:, 1, place] = focal * power * x, focal * power * y
    by_lens[:, 0, 5], by_lens[:, 1, 5] = focal * 2.0 * x * y, focal * (square + 2.0 * y * y)
    by_lens[:, 0, 6], by_lens[:, 1, 6] = focal * (square + 2.0 * x * x), focal * 2.0 * x * y

    slope = k1 + square * (2.0 * k2 + square * 3.0 * k3)  # of grow by r²
    bend = np.empty((count, 2, 2))
    bend[:, 0, 0] = grow + 2.0 * slope * x * x + 2.0 * p1 * y + 6.0 * p2 * x
    bend[:, 1, 1] = grow + 2.0 * slope * y * y + 6.0 * p1 * y + 2.0 * p2 * x
    bend[:, 0, 1] = bend[:, 1, 0] = 2.0 * slope * x * y + 2.0 * p1 * x + 2.0 * p2 * y
    flat = np.zeros((count, 2, 3))
    flat[:, 0, 0] = flat[:, 1, 1] = 1.0 / depth
    flat[:, 0, 2], flat[:, 1, 2] = -x / depth, -y / depth
    by_seen = focal * bend @ flat
    by_place = by_seen @ turn[:, :2]
    # d(R X)/d(turn) = -R [X]x J
    spin = np.zeros((count, 3, 3))
    spin[:, 0, 2], spin[:, 1, 2] = plane_mm[:, 1], -plane_mm[:, 0]
    spin[:, 2, 0], spin[:, 2, 1] = -plane_mm[:, 1], plane_mm[:, 0]
    by_turn = -(by_seen @ turn) @ spin @ turn_slopes(pose[:3])
    return pixels, by_lens, np.concatenate((by_turn, by_seen), axis=2), by_place
