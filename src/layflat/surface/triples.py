"""Vectors as plain tuples: for a handful of points they are faster than arrays."""

import math
from typing import TypeAlias

Triple: TypeAlias = tuple[float, float, float]


def minus(p: Triple, q: Triple) -> Triple:
    """The step from *q* to *p*."""
    return p[0] - q[0], p[1] - q[1], p[2] - q[2]


def dot(p: Triple, q: Triple) -> float:
    """The scalar product."""
    return p[0] * q[0] + p[1] * q[1] + p[2] * q[2]


def cross(p: Triple, q: Triple) -> Triple:
    """The vector product."""
    return p[1] * q[2] - p[2] * q[1], p[2] * q[0] - p[0] * q[2], p[0] * q[1] - p[1] * q[0]


def unit(p: Triple) -> Triple:
    """The direction; zero stays zero."""
    size = math.sqrt(dot(p, p))
    return (p[0] / size, p[1] / size, p[2] / size) if size > 0 else (0.0, 0.0, 0.0)


def normal_of(a: Triple, b: Triple, c: Triple) -> Triple:
    """The unit normal of a triangle."""
    return unit(cross(minus(b, a), minus(c, a)))


def quality_of(a: Triple, b: Triple, c: Triple) -> float:
    """The quality of a triangle, as `triangle_quality` gives it."""
    p, q, r = minus(b, a), minus(c, a), minus(c, b)
    normal = cross(p, q)
    total = dot(p, p) + dot(q, q) + dot(r, r)
    return 2 * math.sqrt(3.0 * dot(normal, normal)) / total if total > 0 else 0.0


def apart(place: Triple, start: Triple, end: Triple) -> float:
    """How far a place lies from the straight segment between two others."""
    along, away = minus(end, start), minus(place, start)
    share = min(max(dot(away, along) / dot(along, along), 0.0), 1.0)
    rest = [x - share * y for x, y in zip(away, along, strict=True)]
    return math.hypot(*rest)
