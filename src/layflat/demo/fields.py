"""Solids as fields: negative inside, positive outside, about the distance in mm near the skin.

Solids are joined and cut with fillets. The fillet of `both` and `either` is a cubic in the
difference of the two fields, which keeps curvature continuous where it meets either side.
"""

from collections.abc import Callable

import numpy as np

from layflat.base import FloatArray

Field = Callable[[FloatArray], FloatArray]
"""Maps points (n, 3) in mm to values (n,)."""


def both(first: FloatArray, second: FloatArray, *, blend: float) -> FloatArray:
    """What lies in both solids; the edge is rounded where the fields differ by less than *blend*.

    On a right-angled edge of two planes the rounding starts *blend* from the edge.
    """
    near = np.clip(1.0 - np.abs(first - second) / blend, 0.0, None)
    value: FloatArray = np.maximum(first, second) + near**3 * (blend / 6.0)
    return value


def either(first: FloatArray, second: FloatArray, *, blend: float) -> FloatArray:
    """What lies in one of two solids; the inner corner is filled as `both` rounds an edge."""
    return -both(-first, -second, blend=blend)


def step(values: FloatArray, *, width: float) -> FloatArray:
    """A smooth step from 0 to 1 about 0, over about twice *width*."""
    rising: FloatArray = 0.5 + 0.5 * np.tanh(values / width)
    return rising


def fold(values: FloatArray, *, radius: float) -> FloatArray:
    """A softened |values|, 0 at 0: a crease line that is rounded over about *radius*."""
    soft: FloatArray = np.sqrt(values**2 + radius**2) - radius
    return soft


def bell(values: FloatArray, *, width: float) -> FloatArray:
    """A bell curve, 1 at 0."""
    value: FloatArray = np.exp(-((values / width) ** 2))
    return value


def gradient(field: Field, points: FloatArray, *, reach: float = 0.05) -> FloatArray:
    """The gradient (n, 3) of *field* at *points*, by central differences over *reach* mm."""
    columns = []
    for axis in range(3):
        aside = np.zeros(3)
        aside[axis] = reach
        columns.append((field(points + aside) - field(points - aside)) / (2 * reach))
    return np.stack(columns, axis=1)


def drop(field: Field, points: FloatArray, *, steps: int = 3) -> FloatArray:
    """Move points that lie near the skin onto it, by Newton steps along the gradient."""
    for _ in range(steps):
        slope = gradient(field, points)
        size = np.maximum((slope**2).sum(axis=1), 1e-6)
        points = points - (field(points) / size)[:, None] * slope
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
    for _ in range(40):
        middle = 0.5 * (low + high)
        inside = field(start + middle[:, None] * direction) < 0
        high, low = np.where(inside, middle, high), np.where(inside, low, middle)
    points: FloatArray = start + high[:, None] * direction
    return points
