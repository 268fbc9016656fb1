"""The energy that a film of no bending stiffness stores when it is laid on a surface.

Per unit area of the surface and per unit of ``E h / (1 - nu²)``, with the principal log
strains e1, e2 of the film from flat to surface (Hencky's strain measure, plane stress):

    w = [e1² + e2² + 2 nu e1 e2 + (aversion - 1) (min(e1, 0)² + min(e2, 0)²)] / 2

Source of the quadratic law on log strains: H. Hencky, Z. Tech. Phys. 9 (1928) 215-220 (from
memory). The term with the aversion is ours: it makes compression, which film answers with
fingers, dearer than stretch; *aversion* = 1 is plain mechanics. It is once differentiable and
keeps the law convex in (e1, e2).
"""

import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from layflat.base import FloatArray, SettingError
from layflat.film.frames import ComplexArray, Frames, cross
from layflat.film.inversion import safe_step
from layflat.film.material import require_physical


class Law(Protocol):
    """A film's energy per unit area, scaled by ``E h / (1 - nu²)``, from its log strains.

    The two strains may come in either order.
    """

    def density(self, e1: FloatArray, e2: FloatArray) -> FloatArray:
        """The energy w per unit area, elementwise."""

    def stress(self, e1: FloatArray, e2: FloatArray) -> tuple[FloatArray, FloatArray]:
        """The derivatives of `density` with respect to *e1* and *e2*."""

    def swelling(self, e1: FloatArray, e2: FloatArray) -> FloatArray:
        """How fast the sum of both stresses grows when both strains grow alike."""


@dataclass(frozen=True)
class HenckyLaw:
    """The film's law, scaled by its stiffness ``E h / (1 - nu²)``.

    Attributes:
        poisson_ratio: 0 to below 0.5.
        aversion: above 0; 1 is plain mechanics. `flatten` takes 1 or more; towards 0 the law
            becomes that of a sheet that wrinkles freely (tension field), which tests make use of.

    Raises:
        SettingError: a value is out of its range.
    """

    poisson_ratio: float
    aversion: float = 1.0

    def __post_init__(self) -> None:
        require_physical(poisson_ratio=self.poisson_ratio)
        if not (math.isfinite(self.aversion) and self.aversion > 0.0):
            raise SettingError(
                f"The finger aversion is {self.aversion:g}; it must be more than zero."
            )

    def density(self, e1: FloatArray, e2: FloatArray) -> FloatArray:
        """The energy w per unit area at log strains *e1* and *e2*, elementwise."""
        squares = e1 * e1 + e2 * e2
        squares += (2.0 * self.poisson_ratio) * (e1 * e2)
        if self.aversion != 1.0:
            squares += (self.aversion - 1.0) * (np.minimum(e1, 0) ** 2 + np.minimum(e2, 0) ** 2)
        return np.asarray(0.5 * squares)

    def stress(self, e1: FloatArray, e2: FloatArray) -> tuple[FloatArray, FloatArray]:
        """The derivatives of `density` with respect to *e1* and *e2*."""
        s1 = e1 + self.poisson_ratio * e2
        s2 = e2 + self.poisson_ratio * e1
        if self.aversion != 1.0:
            s1 += (self.aversion - 1.0) * np.minimum(e1, 0.0)
            s2 += (self.aversion - 1.0) * np.minimum(e2, 0.0)
        return s1, s2

    def swelling(self, e1: FloatArray, e2: FloatArray) -> FloatArray:
        """How fast the sum of both stresses grows when both strains grow alike."""
        compressed = (e1 < 0.0).astype(float) + (e2 < 0.0)
        slope = 2.0 * (1.0 + self.poisson_ratio) + (self.aversion - 1.0) * compressed
        return np.asarray(slope)


@dataclass(frozen=True, eq=False)
class State:
    """The energy at one flat shape.

    Attributes:
        value: energy in mm² (per unit of stiffness); infinite where a triangle is inverted.
        gradient: (n,) complex, its derivative with respect to each point.
    """

    value: float
    gradient: ComplexArray


class FlatEnergy:
    """The energy as a function of the flat shape, for one surface and one law.

    Each triangle counts with its area on the surface, not in the flat: with the flat area, all
    energy could be had for nothing by shrinking the pattern to a point.
    """

    def __init__(self, frames: Frames, law: Law) -> None:
        self.frames = frames
        self.law = law

    def log_strains(self, points: ComplexArray) -> tuple[FloatArray, FloatArray]:
        """The (m,) lesser and greater log strain of the film, flat to surface.

        The triangles of *points* must all be the right way round.
        """
        sides = self.frames.sides(points)
        a, b = self.frames.derivative(sides)
        wide = np.abs(a) + np.abs(b)
        narrow = cross(*sides) / (2.0 * self.frames.areas) / wide
        return -np.log(wide), -np.log(narrow)

    def value(self, points: ComplexArray) -> float:
        """The energy at *points*, in mm² per unit of stiffness."""
        return self._sum(*self.log_strains(points))

    def _sum(self, e1: FloatArray, e2: FloatArray) -> float:
        """The energy over all triangles; added up in pairs, so that few digits are lost."""
        return float(np.sum(self.frames.areas * self.law.density(e1, e2)))

    def state(self, points: ComplexArray) -> State:
        """The energy and its gradient at *points*."""
        frames = self.frames
        sides = frames.sides(points)
        doubled = cross(*sides)
        if not doubled.min() > 0.0:
            return State(np.inf, np.zeros_like(points))
        a, b = frames.derivative(sides)
        turn, skew = np.abs(a), np.abs(b)
        wide = turn + skew
        # The lesser singular value from the determinant, which loses no digits to cancellation.
        narrow = doubled / (2.0 * frames.areas) / wide
        e1, e2 = -np.log(wide), -np.log(narrow)
        value = self._sum(e1, e2)
        s1, s2 = self.law.stress(e1, e2)
        s1 *= frames.areas / wide
        s2 *= frames.areas / narrow
        # |a| and |b| are the half sum and half difference of the singular values. Where b
        # vanishes both stresses are equal, so the quotient's direction does not matter.
        a *= -(s1 + s2) / turn
        b *= (s2 - s1) / np.maximum(skew, np.finfo(float).tiny)
        return State(value, frames.gather(a, b))

    def step_limit(self, points: ComplexArray, direction: ComplexArray) -> float:
        """Most of the way to the first inversion along *direction*; may be infinite."""
        return safe_step(self.frames, points, direction)
