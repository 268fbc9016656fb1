"""Quantities that carry their slopes along, so that a formula written once has an exact gradient.

This is forward differentiation (A. Griewank and A. Walther, *Evaluating Derivatives*, 2nd ed.,
2008, chapter 3): every operation computes its value and, by the chain rule, its slopes along the
three axes. A slope that is zero everywhere is left out and costs nothing.
"""

from collections.abc import Callable
from typing import TypeAlias

import numpy as np

from layflat.base import FloatArray

Slope: TypeAlias = FloatArray | float | None
"""The derivative along one axis: (n,), one number for all, or None for zero."""

Slopes: TypeAlias = tuple[Slope, Slope, Slope]


class Jet:
    """A quantity at n places and its slopes along x, y and z.

    Attributes:
        value: (n,) float64.
        slopes: its derivatives along the axes, or None if only values are wanted.
    """

    __slots__ = ("slopes", "value")
    __array_ufunc__ = None  # NumPy's numbers leave arithmetic with jets to the jets.

    def __init__(self, value: FloatArray, slopes: Slopes | None = None) -> None:
        """Take a value and its slopes."""
        self.value = value
        self.slopes = slopes

    def through(self, value: FloatArray, rate: Callable[[], FloatArray]) -> "Jet":
        """A function of this quantity: its *value*, and its derivative if it is needed."""
        if self.slopes is None:
            return Jet(value)
        x, y, z = self.slopes
        factor = rate()
        return Jet(value, (_times(factor, x), _times(factor, y), _times(factor, z)))

    def joined(
        self, other: "Jet", value: FloatArray, rates: tuple[FloatArray | float, FloatArray | float]
    ) -> "Jet":
        """A function of this quantity and another: its *value* and both its derivatives."""
        if self.slopes is None or other.slopes is None:
            return Jet(value)
        first, second = rates
        (x, y, z), (u, v, w) = self.slopes, other.slopes
        return Jet(
            value,
            (
                _plus(_times(first, x), _times(second, u)),
                _plus(_times(first, y), _times(second, v)),
                _plus(_times(first, z), _times(second, w)),
            ),
        )

    def __add__(self, other: "Jet | float") -> "Jet":
        if isinstance(other, Jet):
            return self.joined(other, self.value + other.value, (1.0, 1.0))
        return Jet(self.value + other, self.slopes)

    __radd__ = __add__

    def __neg__(self) -> "Jet":
        return -1.0 * self

    def __sub__(self, other: "Jet | float") -> "Jet":
        if isinstance(other, Jet):
            return self.joined(other, self.value - other.value, (1.0, -1.0))
        return Jet(self.value - other, self.slopes)

    def __rsub__(self, other: float) -> "Jet":
        return other + -self

    def __mul__(self, other: "Jet | float") -> "Jet":
        if isinstance(other, Jet):
            return self.joined(other, self.value * other.value, (other.value, self.value))
        if self.slopes is None:
            return Jet(self.value * other)
        x, y, z = self.slopes
        return Jet(self.value * other, (_times(other, x), _times(other, y), _times(other, z)))

    __rmul__ = __mul__

    def __truediv__(self, other: "Jet | float") -> "Jet":
        if isinstance(other, Jet):
            inverse = 1.0 / other.value
            value = self.value * inverse
            return self.joined(other, value, (inverse, -value * inverse))
        return self * (1.0 / other)

    def __pow__(self, exponent: float) -> "Jet":
        return self.through(
            power(self.value, exponent), lambda: exponent * power(self.value, exponent - 1.0)
        )

    def __abs__(self) -> "Jet":
        return self.through(np.abs(self.value), lambda: np.sign(self.value))


def power(values: FloatArray, exponent: float) -> FloatArray:
    """Values to a power; small whole powers by multiplying, which is many times faster."""
    if exponent == 1.0:
        return values
    if exponent == 2.0:
        return values * values
    if exponent == 3.0:
        return values * values * values
    if exponent == 4.0:
        square = values * values
        return square * square
    result: FloatArray = values**exponent
    return result


def sqrt(quantity: Jet) -> Jet:
    """The square root of a positive quantity."""
    root: FloatArray = np.sqrt(quantity.value)
    return quantity.through(root, lambda: 0.5 / root)


def hypot(first: Jet, second: Jet) -> Jet:
    """The length of the vector of two quantities that are not both 0."""
    length: FloatArray = np.hypot(first.value, second.value)
    some = np.maximum(length, 1e-300)
    return first.joined(second, length, (first.value / some, second.value / some))


def above(quantity: Jet, floor: float) -> Jet:
    """The quantity where it is above *floor*, and *floor* elsewhere."""
    value: FloatArray = np.maximum(quantity.value, floor)
    return quantity.through(value, lambda: np.where(quantity.value > floor, 1.0, 0.0))


def within(quantity: Jet, low: float, high: float) -> Jet:
    """The quantity, held between *low* and *high*."""
    value: FloatArray = np.clip(quantity.value, low, high)
    return quantity.through(value, lambda: np.where(value == quantity.value, 1.0, 0.0))


def _times(factor: FloatArray | float, slope: Slope) -> Slope:
    if slope is None or (isinstance(factor, float) and factor == 1.0):
        return slope
    return factor * slope


def _plus(first: Slope, second: Slope) -> Slope:
    if first is None:
        return second
    return first if second is None else first + second
