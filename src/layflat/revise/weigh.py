"""How much each car's notes count: their scatter estimated, the odd one given little weight.

A reading is what the pattern lacks, and the laying error of its car, and the error of reading. The
first two are smooth fields of unknown size: τ of the one all cars share, ω of each car's. Sizes
and reach are those under which the notes are likeliest. Were the shared field left free, this would
be restricted maximum likelihood (D. A. Harville, JASA 72 (1977) 320–338); it is not quite free:
what is usual counts as a few notes do, so that a single note already gives a sober answer.

A car that contradicts the others gets the weight that a Student distribution of its errors gives it
(K. L. Lange, R. J. A. Little, J. M. G. Taylor, JASA 84 (1989) 881–896).
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve
from scipy.optimize import minimize

from layflat.base import FloatArray, IntArray

REACHES_MM: Final = (150.0, 220.0, 300.0, 420.0, 600.0, 850.0, 1200.0, 1700.0)
"""The reaches that are tried; the third is the usual one (no source)."""

USUAL_MM: Final = 1.5
"""The usual size of what a pattern lacks (no source)."""
USUAL_CAR_MM: Final = 0.4
"""The usual size of a car's own laying error (no source)."""

_USUAL_REACH_MM = 300.0
_SPREAD = 0.7
_REACH_SPREAD = 0.5
_FREEDOM = 4.0
_FEW = 2
_ROUNDS = 6
_SETTLED = 0.03
_LEAST_MM = 0.01
_MOST_MM = 100.0
_JITTER = 1e-12


@dataclass(frozen=True)
class Scatter:
    """What the notes say of their own scatter.

    Attributes:
        shared_mm: τ, the size of what the pattern lacks.
        car_mm: ω, the size of one car's own laying error; 0 for one car, where nobody can know.
        reach_mm: at this distance from a note a twentieth of its move is left.
        weights: of each car, from 0 to 1.
    """

    shared_mm: float
    car_mm: float
    reach_mm: float
    weights: dict[str, float]


@dataclass(frozen=True, eq=False)
class Evidence:
    """Readings as numbers.

    Attributes:
        values: (n,) float64, in mm.
        noise: (n, n) float64, covariance of the errors of reading, in mm².
        cars: (n,) int64, which car each is of, from 0.
        names: of the cars.
    """

    values: FloatArray
    noise: FloatArray
    cars: IntArray
    names: tuple[str, ...]

    @property
    def same(self) -> NDArray[np.bool_]:
        """(n, n): whether two readings are of one car."""
        found: NDArray[np.bool_] = np.equal(self.cars[:, None], self.cars[None, :])
        return found

    def spoken(self, weights: FloatArray) -> FloatArray:
        """(n, n): by how much the errors of cars that count less are taken for larger."""
        return 1.0 / weights[self.cars][:, None] * self.same


def scatter(
    evidence: Evidence,
    gram_of: Callable[[float], FloatArray],
    *,
    reaches_mm: tuple[float, ...] = REACHES_MM,
) -> Scatter:
    """The likeliest sizes and reach, and each car's weight.

    Args:
        evidence: the readings.
        gram_of: gives for a reach the (n, n) influence of every reading on every other.
        reaches_mm: those that are tried.
    """
    count = len(evidence.names)
    weights = np.ones(count)
    best: tuple[float, Scatter] | None = None
    for reach in reaches_mm:
        gram = gram_of(reach)
        shared, car = USUAL_MM, USUAL_CAR_MM if count > 1 else 0.0
        for _ in range(_ROUNDS if count > _FEW else 1):
            before = weights
            if count > _FEW:
                weights = _car_weights(evidence, gram, shared**2, car**2)
            shared, car = sizes(evidence, gram, weights=weights, start=(shared, car))
            if float(np.abs(weights - before).max()) < _SETTLED:
                break
        score = _score(evidence, gram, weights, shared**2, car**2)[0] + _usual(shared, car)[0]
        score += 0.5 * (math.log(reach / _USUAL_REACH_MM) / _REACH_SPREAD) ** 2
        if best is None or score < best[0]:
            named = dict(zip(evidence.names, weights.tolist(), strict=True))
            best = (score, Scatter(shared, car, reach, named))
    assert best is not None
    return best[1]


def sizes(
    evidence: Evidence,
    gram: FloatArray,
    *,
    weights: FloatArray | None = None,
    start: tuple[float, float] = (USUAL_MM, USUAL_CAR_MM),
    shared_mm: float | None = None,
) -> tuple[float, float]:
    """The likeliest τ and ω, in mm.

    Args:
        evidence: the readings.
        gram: (n, n) the influence of every reading on every other.
        weights: of the cars; 1 each by default.
        start: where the search begins; a car's size of 0 stays 0.
        shared_mm: a τ that is given. Then nothing else is taken for usual: with a τ far above all
            readings this is restricted maximum likelihood for ω.
    """
    weights = np.ones(len(evidence.names)) if weights is None else weights
    first = [math.log(size) for size in start if size > 0]
    if shared_mm is not None:
        first = [math.log(start[1])]

    def cost(logs: FloatArray) -> tuple[float, FloatArray]:
        found = [math.exp(log) for log in logs]
        shared, car = (shared_mm, found[0]) if shared_mm is not None else (*found, 0.0)[:2]
        value, slopes = _score(evidence, gram, weights, shared**2, car**2)
        if shared_mm is not None:
            return value, slopes[1:]
        usual, more = _usual(shared, car)
        return value + usual, (slopes + more)[: len(logs)]

    # Sizes from a hundredth of a millimetre to a hundred: beyond, all is the same.
    bounds = [(math.log(_LEAST_MM), math.log(_MOST_MM))] * len(first)
    done = minimize(cost, first, jac=True, method="L-BFGS-B", bounds=bounds)
    sizes_mm = [math.exp(float(log)) for log in done.x]
    if shared_mm is not None:
        return shared_mm, sizes_mm[0]
    return sizes_mm[0], sizes_mm[1] if len(sizes_mm) > 1 else 0.0


def _usual(shared: float, car: float) -> tuple[float, FloatArray]:
    """How unusual sizes are, as minus the log of their likelihood, and its slopes by their logs."""
    logs = np.array([math.log(shared / USUAL_MM), math.log(car / USUAL_CAR_MM) if car > 0 else 0.0])
    return 0.5 * float(np.sum((logs / _SPREAD) ** 2)), logs / _SPREAD**2


def covariance(
    evidence: Evidence, gram: FloatArray, weights: FloatArray, shared: float, car: float
) -> tuple[FloatArray, FloatArray]:
    """(n, n) of the readings, in mm²: what all cars share, and the errors; sizes in mm²."""
    errors = (evidence.noise + car * gram) * evidence.spoken(weights)
    return shared * gram, errors


def _score(
    evidence: Evidence, gram: FloatArray, weights: FloatArray, shared: float, car: float
) -> tuple[float, FloatArray]:
    """Minus the log of the likelihood, but for a constant, and its slopes by log τ and log ω."""
    common, errors = covariance(evidence, gram, weights, shared, car)
    whole = common + errors
    whole[np.diag_indices_from(whole)] += _JITTER * np.trace(whole)
    factor = cho_factor(whole, lower=True)
    pull = cho_solve(factor, evidence.values)
    inverse = cho_solve(factor, np.eye(len(whole)))
    # Cars that count less are not thereby a better explanation.
    paid = float(np.log(weights[evidence.cars]).sum())
    value = float(np.log(np.diag(factor[0])).sum() + 0.5 * evidence.values @ pull) + 0.5 * paid
    rest = inverse - np.outer(pull, pull)
    own = car * gram * evidence.spoken(weights)
    return value, np.array([float(np.sum(rest * common)), float(np.sum(rest * own))])


def _car_weights(evidence: Evidence, gram: FloatArray, shared: float, car: float) -> FloatArray:
    """Each car's weight by how far it is from what the others foretell; the best has 1."""
    count = len(evidence.names)
    common, errors = covariance(evidence, gram, np.ones(count), shared, car)
    whole = common + errors
    found = np.ones(count)
    for i in range(count):
        own, other = evidence.cars == i, evidence.cars != i
        gain = np.linalg.solve(whole[np.ix_(other, other)], common[np.ix_(other, own)])
        left = evidence.values[own] - gain.T @ evidence.values[other]
        spread = whole[np.ix_(own, own)] - common[np.ix_(own, other)] @ gain
        far = float(left @ np.linalg.solve(spread, left))
        size = int(own.sum())
        found[i] = (_FREEDOM + size) / (_FREEDOM + far)
    return np.asarray(np.minimum(found / max(float(found.max()), 1e-12), 1.0))
