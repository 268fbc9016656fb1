"""The smooth field that moves a pattern: a free thin plate, or a sheet that its foundation holds.

A free plate is the thin-plate spline (J. Duchon 1977): it is bent as little as can be, and shifted
and turned for nothing; the influence is r² ln r. It carries one panel's pattern to another.

Notes must not shift the whole piece. Their sheet is held by a foundation: it comes to rest far from
what bends it, without swinging over. With the energy ∫ |(1 − ℓ²Δ)^(3/2) u|² the influence is
½ (r/ℓ)² K₂(r/ℓ) (P. Whittle, Biometrika 41 (1954) 434–449; B. Matérn 1960), near its middle that of
the plate's next order, r⁴ ln r. A thin plate's curvature has no bound under a point load, and each
note would leave a small wiggle; one order higher it is continuous.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import k0, k1

from layflat.base import FloatArray, InputError, IntArray, frozen

REACHES = 5.368
"""At this many ℓ, the reach, a twentieth of a move is left: ½ x² K₂(x) = 0.0500."""

_BLOCK = 4_000_000
_TURNS = 60
_NEAR_MM = 1e-10


def influence(distance_mm: FloatArray, reach_mm: float | None) -> FloatArray:
    """How much of a move of 1 at one point is there at these distances.

    Args:
        distance_mm: any shape, >= 0.
        reach_mm: of a sheet on its foundation; None for a free plate, whose r² ln r is no share.
    """
    r = np.asarray(distance_mm, np.float64)
    if reach_mm is None:
        safe = np.where(r > 0, r, 1.0)
        free: FloatArray = r * r * np.log(safe)
        return free
    x = r * (REACHES / reach_mm)
    safe = np.where(x > _NEAR_MM, x, 1.0)
    held: FloatArray = np.where(x > _NEAR_MM, safe * (k1(safe) + 0.5 * safe * k0(safe)), 1.0)
    return held


def _slope_over_r(distance_mm: FloatArray, reach_mm: float | None) -> FloatArray:
    """The influence's slope divided by the distance; 0 at 0, where its product with r vanishes."""
    r = np.asarray(distance_mm, np.float64)
    safe = np.where(r > _NEAR_MM, r, 1.0)
    if reach_mm is None:
        return np.where(r > _NEAR_MM, 2.0 * np.log(safe) + 1.0, 0.0)
    pull = REACHES / reach_mm
    x = pull * r
    safe = np.where(x > _NEAR_MM, x, 1.0)
    return -0.5 * pull**2 * np.where(x > _NEAR_MM, safe * k1(safe), 1.0)


def _apart(one: FloatArray, two: FloatArray) -> FloatArray:
    return np.hypot(one[:, None, 0] - two[None, :, 0], one[:, None, 1] - two[None, :, 1])


@dataclass(frozen=True, eq=False)
class Taps:
    """Weighted sums of a field's values: row *i* is the sum of weight · u(point) over its taps.

    Attributes:
        points_mm: (m, 2) float64.
        weights: (m, 2) float64, of u's two components.
        row: (m,) int64, not falling, which sum each belongs to; every row from 0 has some.
    """

    points_mm: FloatArray
    weights: FloatArray
    row: IntArray

    @property
    def rows(self) -> int:
        """How many sums there are."""
        return int(self.row[-1]) + 1 if len(self.row) else 0

    @staticmethod
    def join(parts: "list[Taps]") -> "Taps":
        """All sums of several, one after the other."""
        shift = np.cumsum([0, *(part.rows for part in parts)])[:-1]
        return Taps(
            np.vstack([part.points_mm for part in parts]),
            np.vstack([part.weights for part in parts]),
            np.concatenate([part.row + by for part, by in zip(parts, shift, strict=True)]),
        )

    def gram(self, reach_mm: float | None) -> FloatArray:
        """(n, n): the influence of every sum on every other."""
        each = influence(_apart(self.points_mm, self.points_mm), reach_mm)
        each *= self.weights @ self.weights.T
        starts = np.flatnonzero(np.diff(self.row, prepend=-1))
        found: FloatArray = np.add.reduceat(np.add.reduceat(each, starts, axis=0), starts, axis=1)
        return found

    def of(self, field: "Field") -> FloatArray:
        """(n,) float64: what the sums come to in a field."""
        found = np.zeros(self.rows)
        np.add.at(found, self.row, np.einsum("ij,ij->i", self.weights, field.at(self.points_mm)))
        return found

    def affine(self) -> FloatArray:
        """(n, 6): each sum of 1, x, y in the first component, then in the second."""
        base = np.column_stack((np.ones(len(self.points_mm)), self.points_mm))
        each = np.hstack((self.weights[:, :1] * base, self.weights[:, 1:] * base))
        return np.asarray(np.add.reduceat(each, np.flatnonzero(np.diff(self.row, prepend=-1))))


@dataclass(frozen=True, eq=False)
class Field:
    """A smooth field of displacements in the plane.

    Attributes:
        centres_mm: (m, 2) float64, where it is pushed.
        pushes: (m, 2) float64, how hard, in both components.
        reach_mm: of a sheet on its foundation, or None for a free plate.
        affine: (3, 2) float64, of 1, x and y; zero on a foundation.
    """

    centres_mm: FloatArray
    pushes: FloatArray
    reach_mm: float | None
    affine: FloatArray

    def __post_init__(self) -> None:
        object.__setattr__(self, "centres_mm", frozen(self.centres_mm).reshape(-1, 2))
        object.__setattr__(self, "pushes", frozen(self.pushes).reshape(-1, 2))
        object.__setattr__(self, "affine", frozen(self.affine).reshape(3, 2))

    @staticmethod
    def still() -> "Field":
        """The field that moves nothing."""
        return Field(np.zeros((0, 2)), np.zeros((0, 2)), 1.0, np.zeros((3, 2)))

    def at(self, points_mm: FloatArray) -> FloatArray:
        """(n, 2) float64: the displacement at (n, 2) points."""
        points = np.asarray(points_mm, np.float64).reshape(-1, 2)
        found = np.column_stack((np.ones(len(points)), points)) @ self.affine
        step = max(1, _BLOCK // max(1, len(self.centres_mm)))
        for first in range(0, len(points), step):
            some = points[first : first + step]
            found[first : first + step] += (
                influence(_apart(some, self.centres_mm), self.reach_mm) @ self.pushes
            )
        return found

    def gradient(self, points_mm: FloatArray) -> FloatArray:
        """(n, 2, 2) float64: row i is the gradient of component i."""
        points = np.asarray(points_mm, np.float64).reshape(-1, 2)
        found = np.tile(self.affine[1:].T, (len(points), 1, 1))
        step = max(1, _BLOCK // max(1, len(self.centres_mm)))
        for first in range(0, len(points), step):
            some = points[first : first + step]
            slope = _slope_over_r(_apart(some, self.centres_mm), self.reach_mm)
            off = some[:, None] - self.centres_mm[None]
            found[first : first + step] += np.einsum("nm,mi,nmj->nij", slope, self.pushes, off)
        return found

    def jacobian(self, points_mm: FloatArray) -> FloatArray:
        """(n,) float64: what a small area becomes; the film folds at 0 and below."""
        slopes = self.gradient(points_mm) + np.eye(2)
        found: FloatArray = np.linalg.det(slopes)
        return found

    def undone(self, points_mm: FloatArray) -> FloatArray:
        """(n, 2) float64: the points that the field moves to these; by Newton's method.

        Raises:
            InputError: the way back is not found, where the field folds.
        """
        wanted = np.asarray(points_mm, np.float64).reshape(-1, 2)
        found = wanted - self.at(wanted)
        for _ in range(_TURNS):
            off = found + self.at(found) - wanted
            if float(np.abs(off).max(initial=0.0)) < 1e-9:
                return found
            found -= np.linalg.solve(self.gradient(found) + np.eye(2), off[..., None])[..., 0]
        raise InputError("The way back through a revision was not found; start from its parent.")


def bend(taps: Taps, values: FloatArray, noise: FloatArray, *, reach_mm: float | None) -> Field:
    """The field of least bending whose sums come to *values* as nearly as their noise asks.

    Args:
        taps: n sums.
        values: (n,) float64, what they shall be.
        noise: (n, n) float64, covariance of the values in units of the field's own size squared;
            zero for a field that meets them exactly.
        reach_mm: of the foundation; None for a free plate.

    Raises:
        InputError: the sums cannot be met: too few or on one line for a free plate, or two that
            are the same and contradict each other without noise.
    """
    system = taps.gram(reach_mm) + noise
    affine = np.zeros((3, 2))
    try:
        if reach_mm is None:
            base = taps.affine()
            full = np.block([[system, base], [base.T, np.zeros((6, 6))]])
            found = np.linalg.solve(full, np.concatenate((values, np.zeros(6))))
            share, affine = found[: len(values)], found[len(values) :].reshape(2, 3).T
        else:
            share = np.linalg.solve(system, values)
    except np.linalg.LinAlgError as error:
        raise InputError(
            "The places that say how to bend the piece lie on one line, are too few or contradict "
            "each other; add places elsewhere."
        ) from error
    return Field(taps.points_mm, share[taps.row, None] * taps.weights, reach_mm, affine)
