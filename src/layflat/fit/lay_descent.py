"""Sliding film to where it is in balance.

A quasi-Newton method with limited memory (L-BFGS) as in `layflat.film.descent`, but led by the
forces alone: a step is good when the force along it has lessened enough (the approximate Wolfe
condition of W. W. Hager, H. Zhang, SIAM J. Optim. 16 (2005) 170-192, from memory). The energy of
film on flat facets is rough at the scale of a facet, and the free edge's balance has no energy,
so that comparing energies would stop the descent early.
"""

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from layflat.film import STRAIN_FLOOR, ComplexArray, Preconditioner
from layflat.fit.lay_energy import LayEnergy, Laying

_MEMORY = 16
_CURVATURE = 0.7
_RISE = 1e-3
_TRIALS = 12
_NEARLY = 1e3
"""Film that no step brings nearer counts as at rest within this many times the tolerance."""


@dataclass(frozen=True, eq=False)
class Slide:
    """Where the film came to rest.

    Attributes:
        laying: the film there.
        energies: at the start and after each step.
        converged: whether it is in balance to the stated tolerance.
    """

    laying: Laying
    energies: tuple[float, ...]
    converged: bool

    @property
    def steps(self) -> int:
        """The number of steps taken."""
        return len(self.energies) - 1


def slide(
    energy: LayEnergy,
    start: ComplexArray,
    precondition: Preconditioner,
    *,
    max_steps: int,
    tolerance: float,
    each_step: Callable[[int, float], None],
) -> Slide:
    """Let the film slide from *start* until it is in balance.

    Args:
        energy: the film on its chart; no triangle is turned over at *start*.
        start: (n,) complex, its places.
        precondition: an approximate inverse of the second derivative.
        max_steps: limit of steps.
        tolerance: film is in balance once a step promises less than this part of `Laying.scale`.
        each_step: told the number of the step and how near the end is (0 to 1); may raise.
    """
    floor = STRAIN_FLOOR**2 * float(energy.frames.areas.sum())
    now = energy.state(start)
    energies = [now.value]
    pairs: deque[tuple[ComplexArray, ComplexArray, float]] = deque(maxlen=_MEMORY)
    first, converged = 0.0, False
    while len(energies) <= max_steps:
        direction = -energy.hold.moves(_two_loop(pairs, precondition, now.gradient), now.places)
        slope = _dot(now.gradient, direction)
        if not slope < 0.0:
            pairs.clear()
            direction = -energy.hold.moves(precondition(now.gradient), now.places)
            slope = _dot(now.gradient, direction)
        promise = -0.5 * slope
        goal = tolerance * now.scale + floor
        first = max(first, promise)
        each_step(len(energies) - 1, _nearness(promise, first, goal))
        if promise <= goal:
            converged = True
            break
        found = _search(energy, now, direction, slope)
        if found is None:
            if not pairs:
                converged = promise <= _NEARLY * goal
                break
            pairs.clear()
            continue
        step, change = found.places - now.places, found.gradient - now.gradient
        curvature = _dot(step, change)
        if curvature > 0.0:
            pairs.append((step, change, 1.0 / curvature))
        now = found
        energies.append(now.value)
    return Slide(now, tuple(energies), converged)


def _search(energy: LayEnergy, now: Laying, direction: ComplexArray, slope: float) -> Laying | None:
    """A step along *direction* after which the force along it is small."""
    limit = energy.step_limit(now.places, direction)
    low, high, length = 0.0, np.inf, min(1.0, limit)
    best: Laying | None = None
    allowed = now.value + _RISE * now.scale
    for _ in range(_TRIALS):
        trial = energy.state(now.places + length * direction)
        along = _dot(trial.gradient, direction)
        if not trial.value <= allowed or along > -_CURVATURE * slope:
            high = length
        else:
            best = trial
            if along >= _CURVATURE * slope or length >= limit:
                break
            low = length
        length = 0.5 * (low + high) if np.isfinite(high) else min(2.0 * length, limit)
    return best


def _two_loop(
    pairs: deque[tuple[ComplexArray, ComplexArray, float]],
    precondition: Preconditioner,
    gradient: ComplexArray,
) -> ComplexArray:
    """The inverse second derivative as learned so far, applied to *gradient*."""
    result = gradient.copy()
    weights = []
    for step, change, inverse in reversed(pairs):
        weight = inverse * _dot(step, result)
        result -= weight * change
        weights.append(weight)
    result = precondition(result)
    for (step, change, inverse), weight in zip(pairs, reversed(weights), strict=True):
        result += (weight - inverse * _dot(change, result)) * step
    return result


def _nearness(promise: float, first: float, goal: float) -> float:
    """How near the end is, on the scale of the logarithm of what steps still promise."""
    if promise <= goal or first <= goal:
        return 1.0
    return float(np.clip(np.log(first / promise) / np.log(first / goal), 0.0, 1.0))


def _dot(p: ComplexArray, q: ComplexArray) -> float:
    return float(np.einsum("i,i->", p.view(np.float64), q.view(np.float64)))
