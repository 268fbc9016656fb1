"""Least squares with stated reading errors: values, uncertainty, and readings that contradict.

What a reading can be off by at most, a, counts as a rectangular distribution of standard deviation
a/sqrt(3) (JCGM 100:2008, 4.3.7). The sum of squares of the misfits in those units is a chi-square
with as many degrees of freedom as there are readings beyond the values that they determine; odds
below 1 % say that the readings contradict each other. Which reading does is found by leaving each
out in turn: W. Baarda's data snooping (A Testing Procedure for Use in Geodetic Networks,
Netherlands Geodetic Commission, 1968, from memory) does the same with one fit.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import least_squares
from scipy.special import chdtrc, ndtri, stdtrit

from layflat.base import FloatArray, frozen

LEAST_ODDS = 0.01
"""Below these odds of so great a chi-square the readings contradict each other."""

_RANK = 1e-9
_SHARE = 1e-6
_ALIKE = 1e-3

Model = Callable[[FloatArray], FloatArray]
"""From values (k,) to what the readings (n,) would be."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Adjusted:
    """Values that fit some readings best.

    Attributes:
        values: (k,) float64.
        covariance: (k, k) float64; widened where readings contradict.
        determined: for each value, whether the readings tell it; else it is the start's.
        fitted: (n,) float64, what the readings would be.
        misfits: (n,) float64, read less fitted.
        chi_square, freedom: of the fit; freedom 0 tests nothing.
        odds: of a greater chi-square by chance; 1 where nothing is tested.
        suspects: indices of readings of which any one, left out, leaves the rest in agreement.
    """

    values: FloatArray
    covariance: FloatArray
    determined: tuple[bool, ...]
    fitted: FloatArray
    misfits: FloatArray
    chi_square: float
    freedom: int
    odds: float
    suspects: tuple[int, ...] = ()

    def __post_init__(self) -> None:
        for name in ("values", "covariance", "fitted", "misfits"):
            object.__setattr__(self, name, frozen(getattr(self, name)))

    @property
    def contradicts(self) -> bool:
        """Whether the readings contradict each other."""
        return self.odds < LEAST_ODDS

    @property
    def factor(self) -> float:
        """How many standard deviations the 95 % interval reaches to either side."""
        return float(stdtrit(self.freedom, 0.975) if self.contradicts else ndtri(0.975))

    def error(self, index: int) -> float:
        """Half the 95 % interval of a value; infinite if the readings do not tell it."""
        if not self.determined[index]:
            return math.inf
        return self.factor * math.sqrt(float(self.covariance[index, index]))


def adjust(
    model: Model,
    start: ArrayLike,
    read: ArrayLike,
    most_off: ArrayLike,
    *,
    reach: ArrayLike | None = None,
) -> Adjusted:
    """The values whose readings come nearest to what was read.

    Args:
        model: smooth, or at least piecewise so.
        start: (k,) values to start from; one that the readings do not tell stays there.
        read: (n,) readings, n >= 1.
        most_off: (n,) or one number, what each can be off by at most; above 0.
        reach: (k,) how far each value typically lies from its start; 1 without.
    """
    first = np.asarray(start, dtype=np.float64)
    readings = np.asarray(read, dtype=np.float64)
    deviations = np.broadcast_to(np.asarray(most_off, dtype=np.float64), readings.shape)
    spread = deviations / math.sqrt(3.0)
    scale = np.ones_like(first) if reach is None else np.asarray(reach, dtype=np.float64)
    whole = _fit(model, first, readings, spread, scale)
    if not whole.contradicts:
        return whole
    suspects = _suspects(model, first, readings, spread, scale)
    widened = max(1.0, whole.chi_square / whole.freedom)
    return Adjusted(
        values=whole.values,
        covariance=whole.covariance * widened,
        determined=whole.determined,
        fitted=whole.fitted,
        misfits=whole.misfits,
        chi_square=whole.chi_square,
        freedom=whole.freedom,
        odds=whole.odds,
        suspects=suspects,
    )


def _fit(
    model: Model, first: FloatArray, read: FloatArray, spread: FloatArray, scale: FloatArray
) -> Adjusted:
    """One fit, without asking which reading contradicts."""

    def off(moved: FloatArray) -> FloatArray:
        return (model(first + scale * moved) - read) / spread

    found = least_squares(
        off, np.zeros_like(first), jac="3-point", xtol=1e-14, ftol=1e-14, gtol=1e-14
    )
    _, strengths, directions = np.linalg.svd(np.asarray(found.jac), full_matrices=True)
    told = int(np.sum(strengths > _RANK * max(float(strengths.max(initial=0.0)), 1e-300)))
    seen, unseen = directions[:told], directions[told:]
    # What no reading tells stays where it was.
    moved = seen.T @ (seen @ found.x)
    inverse = seen.T @ np.diag(1.0 / strengths[:told] ** 2) @ seen
    misfits = off(moved)
    chi_square = float(misfits @ misfits)
    freedom = len(read) - told
    return Adjusted(
        values=first + scale * moved,
        covariance=inverse * np.outer(scale, scale),
        determined=tuple(bool(np.all(np.abs(unseen[:, i]) < _SHARE)) for i in range(len(first))),
        fitted=read + misfits * spread,
        misfits=-misfits * spread,
        chi_square=chi_square,
        freedom=freedom,
        odds=float(chdtrc(freedom, chi_square)) if freedom > 0 else 1.0,
    )


def _suspects(
    model: Model, first: FloatArray, read: FloatArray, spread: FloatArray, scale: FloatArray
) -> tuple[int, ...]:
    """Readings of which any one explains the contradiction; none if no single one does."""
    left: list[tuple[float, int]] = []
    for i in range(len(read)):
        keep = np.arange(len(read)) != i
        rest = _fit(_without(model, keep), first, read[keep], spread[keep], scale)
        if not rest.contradicts:
            left.append((rest.chi_square, i))
    if not left:
        return ()
    least = min(left)[0]
    return tuple(i for chi_square, i in left if chi_square <= least + _ALIKE * (1.0 + least))


def _without(model: Model, keep: Sequence[bool] | FloatArray) -> Model:
    def fewer(values: FloatArray) -> FloatArray:
        return model(values)[keep]

    return fewer
