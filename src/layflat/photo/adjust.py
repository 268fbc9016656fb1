"""The adjustment as numbers: residuals, their slopes, the least sum, the covariance."""

from collections.abc import Sequence

import numpy as np

from layflat.base import FloatArray, IntArray
from layflat.photo.lens import LENS_VALUES, Lens, project_with_slopes
from layflat.photo.solved import Sighting, Solved
from layflat.photo.start import Start

_USUAL = np.array([0.12, 0.01, 0.01, 0.2, 0.2, 0.002, 0.002, 0.1])
"""Standard deviations of a lens about its start: ln f; the axis in diagonals; k1, k2, p1, p2, k3.
Common practice for cameras of phones, no source."""
_UNKNOWN_FOCAL = 0.5
ASPECT_USUAL = 0.002
"""How much a printer's scale across differs from that along, as a standard deviation."""
_STRAY = 5.0
_MOST_STEPS = 30


class Problem:
    """Residuals and slopes of the adjustment, as `least_squares` wants them."""

    def __init__(
        self, sightings: Sequence[Sighting], start: Start, aspect: tuple[float, float]
    ) -> None:
        self.sightings, self.start, self.aspect = tuple(sightings), start, aspect
        self.pose_at = len(start.lenses) * LENS_VALUES
        self.place_at = self.pose_at + 6 * len(start.poses)
        self.count = self.place_at + 3 * len(start.sheets) + 1
        self.rows = [
            np.searchsorted(np.array(start.sheets), sighting.sheet) for sighting in sightings
        ]
        first = np.concatenate(
            [*(lens.values for lens in start.lenses), *start.poses, *start.places, [aspect[0]]]
        )
        self.free = np.ones(self.count, dtype=bool)
        self.free[self.place_at : self.place_at + 3] = False
        self.whole = first
        self.first = first[self.free]
        scales = np.ones(self.count)
        for at in range(0, self.pose_at, LENS_VALUES):
            scales[at : at + LENS_VALUES] = (0.05, 10.0, 10.0, 0.05, 0.05, 1e-3, 1e-3, 0.05)
        for at in range(self.pose_at, self.place_at, 6):
            scales[at : at + 6] = (0.01, 0.01, 0.01, 10.0, 10.0, 10.0)
        for at in range(self.place_at, self.count - 1, 3):
            scales[at : at + 3] = (1.0, 1.0, 0.001)
        scales[-1] = 1e-3
        self.scales = scales[self.free]
        self.prior, self.prior_sigma = self._usual()

    def _usual(self) -> tuple[FloatArray, FloatArray]:
        sigmas = []
        for lens, known in zip(self.start.lenses, self.start.focal_known, strict=True):
            sigma = _USUAL.copy()
            sigma[1:3] *= np.hypot(lens.width_px, lens.height_px)
            sigma[0] = sigma[0] if known else _UNKNOWN_FOCAL
            sigmas.append(sigma)
        prior = np.concatenate([self.whole[: self.pose_at], [self.aspect[0]]])
        return prior, np.concatenate([*sigmas, [self.aspect[1]]])

    def _expand(self, values: FloatArray) -> FloatArray:
        whole = self.whole.copy()
        whole[self.free] = values
        return whole

    def _places(self, whole: FloatArray, picture: int) -> FloatArray:
        """(n, 3) the place of each corner's sheet."""
        places = whole[self.place_at : -1].reshape(-1, 3)
        chosen: FloatArray = places[self.rows[picture]]
        return chosen

    def residuals(self, values: FloatArray) -> FloatArray:
        """Seen less predicted in standard deviations, then what is usual."""
        whole = self._expand(values)
        parts = [
            (self._predicted(whole, picture)[0] - sighting.pixels) / sighting.sigma_px[:, None]
            for picture, sighting in enumerate(self.sightings)
        ]
        usual = (whole[self._usual_columns] - self.prior) / self.prior_sigma
        return np.concatenate([*(part.ravel() for part in parts), usual])

    @property
    def _usual_columns(self) -> IntArray:
        return np.concatenate([np.arange(self.pose_at), [self.count - 1]])

    def _predicted(
        self, whole: FloatArray, picture: int
    ) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray]:
        places = self._places(whole, picture)
        lens_at = int(self.start.lens_of[picture]) * LENS_VALUES
        pose_at = self.pose_at + 6 * picture
        cos, sin = np.cos(places[:, 2]), np.sin(places[:, 2])
        x, y = self.sightings[picture].board_mm.T
        y = y * (1.0 + whole[-1])
        turned = np.column_stack((cos * x - sin * y, sin * x + cos * y))
        pixels, by_lens, by_pose, by_place = project_with_slopes(
            whole[lens_at : lens_at + LENS_VALUES],
            whole[pose_at : pose_at + 6],
            turned + places[:, :2],
        )
        return pixels, by_lens, by_pose, by_place, turned

    def slopes(self, values: FloatArray) -> FloatArray:
        """The derivatives of `residuals` by the free values."""
        whole = self._expand(values)
        blocks = []
        for picture, sighting in enumerate(self.sightings):
            _, by_lens, by_pose, by_place, turned = self._predicted(whole, picture)
            count = len(sighting.pixels)
            block = np.zeros((count, 2, self.count))
            lens_at = int(self.start.lens_of[picture]) * LENS_VALUES
            block[:, :, lens_at : lens_at + LENS_VALUES] = by_lens
            pose_at = self.pose_at + 6 * picture
            block[:, :, pose_at : pose_at + 6] = by_pose
            each = np.arange(count)
            at = self.place_at + 3 * self.rows[picture]
            block[each, :, at] = by_place[:, :, 0]
            block[each, :, at + 1] = by_place[:, :, 1]
            across = np.column_stack((-turned[:, 1], turned[:, 0]))
            block[each, :, at + 2] = np.einsum("nij,nj->ni", by_place, across)
            turn = self._places(whole, picture)[:, 2]
            rise = sighting.board_mm[:, 1, None] * np.column_stack((-np.sin(turn), np.cos(turn)))
            block[:, :, -1] = np.einsum("nij,nj->ni", by_place, rise)
            block /= sighting.sigma_px[:, None, None]
            blocks.append(block.reshape(2 * count, -1))
        usual = np.zeros((len(self.prior), self.count))
        usual[np.arange(len(self.prior)), self._usual_columns] = 1.0 / self.prior_sigma
        return np.concatenate([*blocks, usual])[:, self.free]

    def least(self, values: FloatArray, *, loss_at: float | None) -> FloatArray:
        """The free values with the least sum; *loss_at*: where the loss begins to flatten."""
        from scipy.optimize import least_squares

        found = least_squares(
            self.residuals,
            values,
            jac=self.slopes,
            x_scale=self.scales,
            loss="linear" if loss_at is None else "soft_l1",
            f_scale=loss_at or 1.0,
            max_nfev=_MOST_STEPS,
        )
        result: FloatArray = found.x
        return result

    def usual(self, values: FloatArray) -> float:
        """The usual distance of a corner from where it is predicted, at least 1 (as deviations)."""
        return max(float(np.median(np.concatenate(self._distances(values)))) / 1.18, 1.0)

    def _distances(self, values: FloatArray) -> list[FloatArray]:
        """For each picture (n,): how far corners lie off, in their standard deviations."""
        residuals = self.residuals(values)
        distances, at = [], 0
        for sighting in self.sightings:
            count = 2 * len(sighting.pixels)
            distances.append(np.hypot(*residuals[at : at + count].reshape(-1, 2).T))
            at += count
        return distances

    def without_strays(self, values: FloatArray) -> tuple["Problem", int]:
        """The problem without corners that lie far off, and how many those are."""
        distances = self._distances(values)
        limit = _STRAY * self.usual(values)
        kept = [
            sighting.kept(each <= limit)
            for sighting, each in zip(self.sightings, distances, strict=True)
        ]
        strays = sum(int(np.sum(each > limit)) for each in distances)
        return Problem(kept, self.start, self.aspect), strays

    def solved(self, values: FloatArray) -> Solved:
        """The result with its covariance."""
        residuals, slopes = self.residuals(values), self.slopes(values)
        seen = 2 * sum(len(sighting.pixels) for sighting in self.sightings)
        spare = max(seen - int(self.free.sum()) + len(self.prior), 1)
        variance = float(np.sum(residuals[:seen] ** 2)) / spare
        scaled = slopes * self.scales
        inverse = np.linalg.inv(scaled.T @ scaled) * np.outer(self.scales, self.scales)
        covariance = np.zeros((self.count, self.count))
        covariance[np.ix_(self.free, self.free)] = inverse * max(variance, 1.0)
        whole = self._expand(values)
        parts, at = [], 0
        for sighting in self.sightings:
            count = 2 * len(sighting.pixels)
            part = -residuals[at : at + count].reshape(-1, 2) * sighting.sigma_px[:, None]
            parts.append(part)
            at += count
        return Solved(
            sightings=self.sightings,
            lenses=tuple(
                Lens(
                    width_px=lens.width_px,
                    height_px=lens.height_px,
                    values=whole[number * LENS_VALUES : (number + 1) * LENS_VALUES],
                )
                for number, lens in enumerate(self.start.lenses)
            ),
            lens_of=self.start.lens_of,
            poses=whole[self.pose_at : self.place_at].reshape(-1, 6),
            sheets=self.start.sheets,
            places=whole[self.place_at : -1].reshape(-1, 3),
            aspect=float(whole[-1]),
            covariance=covariance,
            residuals_px=tuple(parts),
            variance=variance,
        )
