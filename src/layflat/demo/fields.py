"""Solids as fields: negative inside, positive outside, about the distance in mm near the skin.

Solids are joined and cut with fillets. The fillet of `both` and `either` is a cubic in the
difference of the two fields, which keeps curvature continuous where it meets either side.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.optimize.elementwise import find_root

from layflat.base import FloatArray, IntArray
from layflat.demo.jets import Jet, power, sqrt

Field = Callable[[FloatArray], FloatArray]
"""Maps points (n, 3) in mm to values (n,)."""

_BATCH = 8192
"""So many points at once that what is computed of them stays in a processor's cache."""

_SAME_MM = 1e-10
"""How near 0 a field's value is taken to be 0."""


@dataclass(frozen=True, eq=False)
class Solid:
    """A field with an exact gradient.

    Attributes:
        formula: what gives the field from x, y and z.
    """

    formula: Callable[[Jet, Jet, Jet], Jet]

    def __call__(self, points: FloatArray) -> FloatArray:
        """The values (n,) at points (n, 3)."""
        values = np.empty(len(points))
        for start in range(0, len(points), _BATCH):
            x, y, z = np.ascontiguousarray(points[start : start + _BATCH].T)
            values[start : start + _BATCH] = self.formula(Jet(x), Jet(y), Jet(z)).value
        return values

    def with_gradient(self, points: FloatArray) -> tuple[FloatArray, FloatArray]:
        """The values (n,) and gradients (n, 3) at points (n, 3)."""
        values, slopes = np.empty(len(points)), np.zeros((len(points), 3))
        for start in range(0, len(points), _BATCH):
            batch = slice(start, start + _BATCH)
            x, y, z = np.ascontiguousarray(points[batch].T)
            field = self.formula(
                Jet(x, (1.0, None, None)), Jet(y, (None, 1.0, None)), Jet(z, (None, None, 1.0))
            )
            values[batch] = field.value
            for axis, slope in enumerate(field.slopes or ()):
                if slope is not None:
                    slopes[batch, axis] = slope
        return values, slopes


def both(first: Jet, second: Jet, *, blend: float) -> Jet:
    """What lies in both solids; the edge is rounded where the fields differ by less than *blend*.

    On a right-angled edge of two planes the rounding starts *blend* from the edge.
    """
    apart = first.value - second.value
    near = np.maximum(1.0 - np.abs(apart) / blend, 0.0)
    value: FloatArray = np.maximum(first.value, second.value) + power(near, 3) * (blend / 6.0)
    lesser = 0.5 * near * near
    share = np.where(apart > 0, 1.0 - lesser, lesser)
    return first.joined(second, value, (share, 1.0 - share))


def either(first: Jet, second: Jet, *, blend: float) -> Jet:
    """What lies in one of two solids; the inner corner is filled as `both` rounds an edge."""
    return -both(-first, -second, blend=blend)


def step(quantity: Jet, *, width: float) -> Jet:
    """A smooth step from 0 to 1 about 0, over about twice *width*."""
    rising: FloatArray = np.tanh(quantity.value / width)
    return quantity.through(0.5 + 0.5 * rising, lambda: (0.5 / width) * (1.0 - rising * rising))


def fold(quantity: Jet, *, radius: float) -> Jet:
    """A softened absolute value, 0 at 0: a crease line that is rounded over about *radius*."""
    return sqrt(quantity**2 + radius**2) - radius


def bell(quantity: Jet, *, width: float) -> Jet:
    """A bell curve, 1 at 0."""
    value: FloatArray = np.exp(-((quantity.value / width) ** 2))
    return quantity.through(value, lambda: (-2.0 / width**2) * quantity.value * value)


def with_gradient(
    field: Field, points: FloatArray, *, reach: float = 0.05
) -> tuple[FloatArray, FloatArray]:
    """The values (n,) and gradients (n, 3) of *field* at *points*.

    A solid knows its gradient; any other field is differenced over *reach* mm to either side.
    """
    if isinstance(field, Solid):
        return field.with_gradient(points)
    columns = []
    for axis in range(3):
        aside = np.zeros(3)
        aside[axis] = reach
        columns.append((field(points + aside) - field(points - aside)) / (2 * reach))
    return field(points), np.stack(columns, axis=1)


def gradient(field: Field, points: FloatArray) -> FloatArray:
    """The gradient (n, 3) of *field* at *points*; see `with_gradient`."""
    return with_gradient(field, points)[1]


def drop(field: Field, points: FloatArray, *, steps: int = 3) -> FloatArray:
    """Move points that lie near the skin onto it, by Newton steps along the gradient."""
    for _ in range(steps):
        value, slope = with_gradient(field, points)
        size = np.maximum(np.einsum("ij,ij->i", slope, slope), 1e-6)
        points = points - (value / size)[:, None] * slope
    return points


def meet(
    field: Field, start: FloatArray, direction: FloatArray, *, reach: float, least: float = 3.0
) -> FloatArray:
    """The first points of the skin that rays meet; NaN where a ray meets none within *reach*.

    Each ray strides by a part of the field's value, which is about the distance that is free
    (J. C. Hart, *Sphere tracing*, 1996), until it is inside; the crossing is then halved down.

    Args:
        field: the solid.
        start: (n, 3), outside.
        direction: (3,) or (n, 3), unit.
        reach: length of the rays in mm.
        least: the shortest stride in mm; thinner things may be missed.
    """
    direction = np.broadcast_to(direction, start.shape)
    low, high = np.zeros(len(start)), np.full(len(start), np.nan)
    ahead = np.arange(len(start))
    at = np.zeros(len(start))
    while len(ahead):
        value = field(start[ahead] + at[ahead, None] * direction[ahead])
        inside = value < 0
        high[ahead[inside]] = at[ahead[inside]]
        ahead, value = ahead[~inside], value[~inside]
        low[ahead] = at[ahead]
        at[ahead] += np.clip(0.4 * value, least, 100.0)
        ahead = ahead[at[ahead] <= reach]
    hit = np.flatnonzero(np.isfinite(high))
    points = np.full(start.shape, np.nan)
    points[hit] = between(
        field, *(start[hit] + at[hit, None] * direction[hit] for at in (low, high))
    )
    return points


def between(field: Field, first: FloatArray, second: FloatArray) -> FloatArray:
    """Where *field* is 0 on each of the segments from *first* to *second*, (n, 3) each.

    Every segment must have one end inside and the other outside, or on the skin.
    """
    if not len(first):
        return first
    span = second - first

    def value(share: FloatArray, segment: IntArray) -> FloatArray:
        return field(first[segment] + share[:, None] * span[segment])

    found = find_root(
        value,
        (np.zeros(len(first)), np.ones(len(first))),
        args=(np.arange(len(first)),),
        tolerances={"xatol": 1e-12, "xrtol": 0.0, "fatol": _SAME_MM, "frtol": 0.0},
    )
    share = np.asarray(found.x, np.float64)
    points: FloatArray = first + share[:, None] * span
    return points
