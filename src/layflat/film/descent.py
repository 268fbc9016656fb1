"""Descent to the flat shape of least energy.

A quasi-Newton method with limited memory (L-BFGS; J. Nocedal, S. J. Wright, Numerical
Optimization, algorithms 7.4 and 3.5), started from the inverse Laplacian of the surface, which
is close to the inverse stiffness of the film. No step goes so far that a triangle turns over.
"""

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol, TypeAlias

import numpy as np

from layflat.film.energy import State
from layflat.film.frames import ComplexArray, Frames

Preconditioner: TypeAlias = Callable[[ComplexArray], ComplexArray]
"""An approximate inverse of the second derivative, applied to a gradient of zero sum."""

_MEMORY = 12
_ARMIJO = 1e-4
_WOLFE = 0.7
_LINE_TRIALS = 30
RELATIVE_TOLERANCE = 1e-9
"""The descent ends when what a further step promises is below this part of the energy."""

STRAIN_FLOOR = 1e-8
"""... or below the energy of this uniform strain: rounding is not much smaller."""


class Energy(Protocol):
    """What can be descended: a function of the flat shape with a gradient."""

    @property
    def frames(self) -> Frames:
        """The triangles that it sums over."""

    def state(self, points: ComplexArray) -> State:
        """Value and gradient at *points*; an infinite value where it is not defined."""

    def step_limit(self, points: ComplexArray, direction: ComplexArray) -> float:
        """The greatest length of a step from *points* along *direction*; may be infinite."""


@dataclass(frozen=True, eq=False)
class Descent:
    """Where a descent ended.

    Attributes:
        points: (n,) complex, the flat shape.
        energies: the energy at the start and after each step, in mm² per unit of stiffness.
        converged: whether it ended by its own criterion.
    """

    points: ComplexArray
    energies: tuple[float, ...]
    converged: bool

    @property
    def steps(self) -> int:
        """The number of steps taken."""
        return len(self.energies) - 1


def descend(
    energy: Energy,
    start: ComplexArray,
    precondition: Preconditioner,
    *,
    max_steps: int,
    each_step: Callable[[int, float], None],
) -> Descent:
    """Go down from *start* to the least energy.

    Args:
        energy: the energy; finite at *start*.
        start: (n,) complex.
        precondition: an approximate inverse of the second derivative.
        max_steps: limit of steps.
        each_step: told the number of the step and how near the end is (0 to 1); may raise.
    """
    floor = STRAIN_FLOOR**2 * float(energy.frames.areas.sum())
    points, state = start, energy.state(start)
    energies = [state.value]
    memory = _Memory(precondition)
    first_promise = 0.0
    converged = False
    while len(energies) <= max_steps:
        direction = -memory.apply(state.gradient)
        slope = _dot(state.gradient, direction)
        promise = -0.5 * slope
        goal = RELATIVE_TOLERANCE * state.value + floor
        first_promise = max(first_promise, promise)
        each_step(len(energies) - 1, _nearness(promise, first_promise, goal))
        if promise <= goal:
            converged = True
            break
        found = _line_search(energy, points, state, direction, slope)
        if found is None and memory.forget():
            continue
        if found is None:
            # Not even the preconditioned gradient leads lower: rounding has the last word.
            converged = promise <= 1e3 * goal
            break
        new_points, new_state = found
        memory.keep(new_points - points, new_state.gradient - state.gradient)
        points, state = new_points, new_state
        energies.append(state.value)
    return Descent(points, tuple(energies), converged)


class _Memory:
    """The last steps and changes of gradient, as an approximate inverse second derivative."""

    def __init__(self, precondition: Preconditioner) -> None:
        self._precondition = precondition
        self._pairs: deque[tuple[ComplexArray, ComplexArray, float]] = deque(maxlen=_MEMORY)

    def keep(self, step: ComplexArray, change: ComplexArray) -> None:
        """Learn from one step; steps along which the slope did not rise teach nothing."""
        curvature = _dot(step, change)
        if curvature > 0.0:
            self._pairs.append((step, change, 1.0 / curvature))

    def forget(self) -> bool:
        """Drop everything learned; False if there was nothing."""
        known = bool(self._pairs)
        self._pairs.clear()
        return known

    def apply(self, gradient: ComplexArray) -> ComplexArray:
        """The two-loop recursion."""
        result = gradient.copy()
        weights = []
        for step, change, inverse in reversed(self._pairs):
            weight = inverse * _dot(step, result)
            result -= weight * change
            weights.append(weight)
        result = self._precondition(result)
        for (step, change, inverse), weight in zip(self._pairs, reversed(weights), strict=True):
            result += (weight - inverse * _dot(change, result)) * step
        return result


def _line_search(
    energy: Energy, points: ComplexArray, state: State, direction: ComplexArray, slope: float
) -> tuple[ComplexArray, State] | None:
    """A step along *direction* that lowers the energy enough and flattens its slope.

    Bisection for the weak Wolfe conditions (A. S. Lewis, M. L. Overton, Math. Program. 141
    (2013) 135-163, algorithm 2.6), bounded by the first inversion. None if no step leads lower.
    """
    limit = energy.step_limit(points, direction)
    low, high, length = 0.0, np.inf, min(1.0, limit)
    best: tuple[ComplexArray, State] | None = None
    for _ in range(_LINE_TRIALS):
        trial = points + length * direction
        trial_state = energy.state(trial)
        if not trial_state.value <= state.value + _ARMIJO * length * slope:
            high = length
        else:
            best = (trial, trial_state)
            if _dot(trial_state.gradient, direction) >= _WOLFE * slope or length >= limit:
                break
            low = length
        length = 0.5 * (low + high) if np.isfinite(high) else min(2.0 * length, limit)
    return best


def _nearness(promise: float, first: float, goal: float) -> float:
    """How near the end is, on the scale of the logarithm of what steps still promise."""
    if promise <= goal or first <= goal:
        return 1.0
    return float(np.clip(np.log(first / promise) / np.log(first / goal), 0.0, 1.0))


def _dot(p: ComplexArray, q: ComplexArray) -> float:
    """The real inner product of two fields of plane vectors.

    Not BLAS: its sums depend on the number of threads, and its threads wait for each other.
    """
    return float(np.einsum("i,i->", p.view(np.float64), q.view(np.float64)))
