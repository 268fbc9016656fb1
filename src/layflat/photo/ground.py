"""The solution laid out: axes of the plane, from the plane into a picture and back, its doubt."""

from dataclasses import dataclass

import numpy as np

from layflat.base import FloatArray, frozen
from layflat.photo.lens import project, project_with_slopes, turn_matrix
from layflat.photo.solved import Solved

_NEWTON_STEPS = 8
_FADE = 0.03
"""The part of a picture's long side along which it fades into the others."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Ground:
    """A solution with the axes and the scale that the plane's picture has.

    Attributes:
        solved: the solution, in mm as printed.
        scale: true mm for a mm as printed.
        turn_rad: of the plane's axes against the solution's.
        shift_mm: (2,) float64: added after turning and scaling.
        hull_mm: (n, 2) float64: what the sheets go round, counter-clockwise, in the plane.
    """

    solved: Solved
    scale: float
    turn_rad: float
    shift_mm: FloatArray
    hull_mm: FloatArray

    def __post_init__(self) -> None:
        object.__setattr__(self, "shift_mm", frozen(self.shift_mm))
        object.__setattr__(self, "hull_mm", frozen(self.hull_mm))

    def to_plane(self, solved_mm: FloatArray) -> FloatArray:
        """(n, 2) float64 mm in the plane of points (n, 2) of the solution."""
        placed: FloatArray = self.scale * (solved_mm @ _turn(self.turn_rad).T) + self.shift_mm
        return placed

    def to_solved(self, plane_mm: FloatArray) -> FloatArray:
        """(n, 2) float64 mm in the solution of points (n, 2) of the plane."""
        placed: FloatArray = (plane_mm - self.shift_mm) / self.scale @ _turn(self.turn_rad)
        return placed

    def to_picture(self, picture: int, plane_mm: FloatArray) -> FloatArray:
        """(n, 2) float64 pixels of a picture; NaN where its camera cannot see."""
        lens = self.solved.lenses[int(self.solved.lens_of[picture])]
        return project(lens.values, self.solved.poses[picture], self.to_solved(plane_mm))

    def from_picture(self, picture: int, pixels: FloatArray) -> FloatArray:
        """(n, 2) float64 mm in the plane of points (n, 2) of a picture, by Newton's steps."""
        lens = self.solved.lenses[int(self.solved.lens_of[picture])]
        sighting = self.solved.sightings[picture]
        places = np.vstack([
            self.solved.on_plane(int(number), sighting.board_mm[sighting.sheet == number])
            for number in np.unique(sighting.sheet)
        ])  # fmt: skip
        at = np.tile(places.mean(axis=0), (len(pixels), 1))
        for _ in range(_NEWTON_STEPS):
            seen, _, _, slopes = project_with_slopes(lens.values, self.solved.poses[picture], at)
            at = at + np.linalg.solve(slopes, (pixels - seen)[:, :, None])[:, :, 0]
        return self.to_plane(at)

    def camera(self, picture: int) -> tuple[FloatArray, float]:
        """The point (2,) of the plane below a picture's camera, and how high that was, in mm."""
        pose = self.solved.poses[picture]
        x, y, z = -turn_matrix(pose[:3]).T @ pose[3:]
        return self.to_plane(np.array([[x, y]]))[0], float(self.scale * z)

    def detail(self, picture: int, plane_mm: FloatArray) -> FloatArray:
        """(n,) float64: pixels for each mm in the direction in which a picture has fewest.

        0 outside the picture, and fading to it along its border, so that joined pictures show no
        step.
        """
        lens = self.solved.lenses[int(self.solved.lens_of[picture])]
        at = self.to_solved(plane_mm)
        pixels = project(lens.values, self.solved.poses[picture], at)
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            _, _, _, slopes = project_with_slopes(lens.values, self.solved.poses[picture], at)
        slopes[np.isnan(pixels).any(axis=1)] = 0.0
        half = 0.5 * np.sum(slopes**2, axis=(1, 2))
        least = half - np.sqrt(np.maximum(half**2 - np.linalg.det(slopes) ** 2, 0.0))
        size = np.array([lens.width_px, lens.height_px], dtype=np.float64)
        with np.errstate(invalid="ignore"):
            border = np.minimum(pixels, size - 1.0 - pixels).min(axis=1)
            fade = np.clip((border - 2.0) / (_FADE * size.max()), 0.0, 1.0)
        found: FloatArray = np.nan_to_num(np.sqrt(np.maximum(least, 0.0)) * fade / self.scale)
        return found


def _turn(angle: float) -> FloatArray:
    cos, sin = np.cos(angle), np.sin(angle)
    return np.array([(cos, -sin), (sin, cos)])


def laid_out(solved: Solved, *, scale: float) -> Ground:
    """The plane's axes along the frame's sides, its origin at the lower left.

    The turn is that of the least rectangle round all sheets, less quarter turns, so that the
    sheet with the least number is upright as nearly as may be.
    """
    import cv2

    points = np.vstack([
        solved.on_plane(number, sighting.board_mm[sighting.sheet == number])
        for sighting in solved.sightings
        for number in np.unique(sighting.sheet).tolist()
    ])  # fmt: skip
    _, _, angle = cv2.minAreaRect(points.astype(np.float32))
    turn = -np.radians((angle + 45.0) % 90.0 - 45.0)
    turned = scale * (points @ _turn(turn).T)
    shift = -turned.min(axis=0)
    hull = cv2.convexHull((turned + shift).astype(np.float32)).reshape(-1, 2).astype(np.float64)
    x, y = hull.T
    if np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y) < 0:
        hull = hull[::-1]
    return Ground(solved=solved, scale=scale, turn_rad=float(turn), shift_mm=shift, hull_mm=hull)


def doubt_of(ground: Ground, places_mm: FloatArray, weights: FloatArray) -> FloatArray:
    """(n,) float64 mm: standard deviation of positions (n, 2) read off the plane's picture.

    A detail of the table is seen at a fixed pixel of each picture; if the solution changes by d,
    the place where the pixel is put changes by -(du/dX)⁻¹ (du/dp) d, in joined pictures by the
    mean over them. That gives the covariance of all places together from the solution's (A.
    Criminisi, I. Reid and A. Zisserman, *A plane measuring device*, 1999). What moves or turns
    all places together is no doubt about shapes and is taken out first. The greater of both axes
    is returned.

    Args:
        ground: the solution.
        places_mm: where.
        weights: (p, n) float64: each picture's part in the plane's picture there.
    """
    solved = ground.solved
    columns = len(solved.covariance)
    moves = np.zeros((len(places_mm), 2, columns))
    total = np.maximum(weights.sum(axis=0), 1e-300)
    at = ground.to_solved(places_mm)
    for picture, weight in enumerate(weights):
        lens_at, pose_at = solved.columns(picture)
        lens = solved.lenses[int(solved.lens_of[picture])]
        _, by_lens, by_pose, by_place = project_with_slopes(lens.values, solved.poses[picture], at)
        with np.errstate(invalid="ignore"):
            back = -np.linalg.inv(by_place) * (weight / total)[:, None, None]
        moves[:, :, lens_at] += back @ by_lens
        moves[:, :, pose_at] += back @ by_pose
    seen = weights.sum(axis=0) > 0.0
    moves *= ground.scale
    flat = moves.reshape(-1, columns)
    rigid = np.zeros((len(places_mm), 2, 3))
    middle = at[seen].mean(axis=0) if seen.any() else at.mean(axis=0)
    rigid[:, 0, 0] = rigid[:, 1, 1] = 1.0
    rigid[:, 0, 2], rigid[:, 1, 2] = -(at - middle)[:, 1], (at - middle)[:, 0]
    used = np.repeat(seen, 2)
    whole = rigid.reshape(-1, 3)
    flat = flat - whole @ np.linalg.lstsq(whole[used], flat[used], rcond=None)[0]
    moves = flat.reshape(moves.shape)
    covariance = np.einsum("nik,kl,njl->nij", moves, solved.covariance, moves, optimize=True)
    greatest = np.linalg.eigvalsh(covariance)[:, 1]
    doubt: FloatArray = np.sqrt(np.maximum(greatest, 0.0))
    doubt[~seen] = np.max(doubt[seen], initial=0.0)
    return doubt
