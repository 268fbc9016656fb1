"""An affine map from what was read at some places, by least squares (numpy), with its uncertainty.

A reading says how far something lies from where it was meant to lie. With the place p and the
shift d read there, d = t + M p: three numbers for each direction, and the same design for both.
What the places do not tell (one place tells no change, places on one line none across it) stays 0
and counts as not known.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import chdtrc, ndtri

from layflat.base import FloatArray, InputError, frozen

_RANK = 1e-9
_SEEN = 1e-6


@dataclass(frozen=True, eq=False, kw_only=True)
class Affine:
    """Shifts that grow evenly over the plane.

    Attributes:
        shift_mm: (2,) float64, at the origin.
        matrix: (2, 2) float64, mm of shift for 1 mm of place; column 0 along the roll.
        covariance: (3, 3) float64, of either direction's (shift, along, across).
        determined: whether the readings tell the shift at the origin, the change along, the
            change across.
        misfits_mm: (n, 2) float64, read less fitted.
        chi_square, freedom, odds: of the fit; with freedom 0 nothing is tested and the odds are 1.
    """

    shift_mm: FloatArray
    matrix: FloatArray
    covariance: FloatArray
    determined: tuple[bool, bool, bool]
    misfits_mm: FloatArray
    chi_square: float
    freedom: int
    odds: float

    def __post_init__(self) -> None:
        for name in ("shift_mm", "matrix", "covariance", "misfits_mm"):
            object.__setattr__(self, name, frozen(getattr(self, name)))

    def at(self, places_mm: ArrayLike) -> FloatArray:
        """(n, 2) float64: the shifts at (n, 2) places."""
        places = np.asarray(places_mm, dtype=np.float64)
        return self.shift_mm + places @ self.matrix.T

    def undone(self, places_mm: ArrayLike) -> FloatArray:
        """(n, 2) float64: where to aim so that, shifted, (n, 2) places are met."""
        places = np.asarray(places_mm, dtype=np.float64)
        return (places - self.shift_mm) @ np.linalg.inv(np.eye(2) + self.matrix).T

    def error(self, index: int) -> float:
        """Half the 95 % interval of the shift (0), the change along (1) or across (2)."""
        if not self.determined[index]:
            return math.inf
        return float(ndtri(0.975)) * math.sqrt(float(self.covariance[index, index]))


def fit_affine(places_mm: ArrayLike, shifts_mm: ArrayLike, *, most_off_mm: float) -> Affine:
    """The affine map that comes nearest to some shifts.

    Args:
        places_mm: (n, 2) where, n >= 1.
        shifts_mm: (n, 2) how far off.
        most_off_mm: what a shift read can be off by at most in each direction; above 0. It counts
            as a rectangular distribution (JCGM 100:2008, 4.3.7).

    Raises:
        InputError: there is no reading, or a number is not finite.
    """
    places = np.asarray(places_mm, dtype=np.float64).reshape(-1, 2)
    shifts = np.asarray(shifts_mm, dtype=np.float64).reshape(-1, 2)
    if not len(places) or len(places) != len(shifts):
        raise InputError("There is no reading to find a shift from.")
    if not (np.isfinite(places).all() and np.isfinite(shifts).all()):
        raise InputError("A reading is not a finite number.")
    # Lengths of one order of size, so that rank is told from rounding.
    size = max(1.0, float(np.abs(places).max()))
    design = np.column_stack((np.ones(len(places)), places / size))
    solved, _, rank, _ = np.linalg.lstsq(design, shifts, rcond=_RANK)
    _, strengths, directions = np.linalg.svd(design)
    seen, unseen = directions[:rank], directions[rank:]
    spread = most_off_mm / math.sqrt(3.0)
    back = np.diag([1.0, 1.0 / size, 1.0 / size])
    inverse = seen.T @ np.diag(1.0 / strengths[:rank] ** 2) @ seen
    misfits = shifts - design @ solved
    chi_square = float((misfits**2).sum()) / spread**2
    freedom = 2 * (len(places) - int(rank))
    told = [bool(np.all(np.abs(unseen[:, i]) < _SEEN)) for i in range(3)]
    values = back @ solved
    return Affine(
        shift_mm=values[0],
        matrix=values[1:].T,
        covariance=spread**2 * (back @ inverse @ back),
        determined=(told[0], told[1], told[2]),
        misfits_mm=misfits,
        chi_square=chi_square,
        freedom=freedom,
        odds=float(chdtrc(freedom, chi_square)) if freedom > 0 else 1.0,
    )
