"""A flat shape with inverted triangles made one without, and a bad one made better.

After V. Garanzha, I. Kaporin, L. Kudryavtseva, F. Protais, N. Ray, D. Sokolov, Foldover-free
maps in 50 lines of code, ACM Trans. Graph. 40 (2021) (from memory). A map is penalised per
triangle by

    [ |J|² + (1 + det²) ] / (4 chi(det)),     chi(d) = (d + sqrt(eps² + d²)) / 2

with J its derivative from the surface to the flat and det = det J. For det > 0 and eps -> 0 this is
the distortion of angles plus that of areas; where a triangle is inverted chi is small but positive,
so that the penalty is finite and leads out of the inversion. eps shrinks with the worst triangle.
"""

import numpy as np

from layflat.base import FloatArray
from layflat.film.descent import Preconditioner, descend
from layflat.film.energy import State
from layflat.film.frames import ComplexArray, Frames, cross
from layflat.film.inversion import safe_step

_ROUNDS = 40
_STEPS_PER_ROUND = 25
_RELAXING_STEPS = 400
_LEAST_EPS = 1e-9
_EPS_OF_WORST = 0.2


class FoldPenalty:
    """The penalty of a map, in mm².

    Attributes:
        frames: the triangles of the surface.
        eps: how sharply inverted triangles are punished.
        keeps_sides: whether no step may invert a triangle, for shapes that have none inverted.
    """

    def __init__(self, frames: Frames, eps: float, *, keeps_sides: bool = False) -> None:
        self.frames = frames
        self.eps = eps
        self.keeps_sides = keeps_sides

    def state(self, points: ComplexArray) -> State:
        """The penalty and its gradient at *points*."""
        sides = self.frames.sides(points)
        a, b = self.frames.derivative(sides)
        det = cross(*sides) / (2.0 * self.frames.areas)
        turn, skew = _squared(a), _squared(b)
        root = np.hypot(self.eps, det)
        # The same as (det + root) / 2, without cancelling where det is negative.
        of_inverted = 0.5 * self.eps**2 / (root + np.abs(det))
        chi = np.where(det > 0.0, 0.5 * (det + root), of_inverted)
        top = 2.0 * (turn + skew) + 1.0 + det**2
        value = float(np.sum(self.frames.areas * top / (4.0 * chi)))
        by_det = 0.5 * det / chi - 0.25 * top / (chi * root)
        by_size = 1.0 / chi
        a *= self.frames.areas * (by_size + 2.0 * by_det)
        b *= self.frames.areas * (by_size - 2.0 * by_det)
        return State(value, self.frames.gather(a, b))

    def step_limit(self, points: ComplexArray, direction: ComplexArray) -> float:
        """Most of the way to the first inversion where sides are kept, else infinite."""
        if not self.keeps_sides:
            return np.inf
        return safe_step(self.frames, points, direction)


def inverted(frames: Frames, points: ComplexArray) -> int:
    """The number of triangles that are inverted or have no area, or are not numbers."""
    return int(np.count_nonzero(~(cross(*frames.sides(points)) > 0.0)))


def untangled(frames: Frames, points: ComplexArray, precondition: Preconditioner) -> ComplexArray:
    """*points* moved until no triangle is inverted, as far as that succeeds."""
    if not np.isfinite(points).all():
        return points
    points = points * _size_ratio(frames, points)
    for _ in range(_ROUNDS):
        least = float((cross(*frames.sides(points)) / (2.0 * frames.areas)).min())
        if least > 0.0:
            break
        penalty = FoldPenalty(frames, float(np.hypot(_LEAST_EPS, _EPS_OF_WORST * least)))
        points = descend(
            penalty, points, precondition, max_steps=_STEPS_PER_ROUND, each_step=_unwatched
        ).points
    return points


def relaxed(frames: Frames, points: ComplexArray, precondition: Preconditioner) -> ComplexArray:
    """*points*, none of whose triangles is inverted, with its worst distortion taken out."""
    return descend(
        FoldPenalty(frames, _LEAST_EPS, keeps_sides=True),
        points * _size_ratio(frames, points),
        precondition,
        max_steps=_RELAXING_STEPS,
        each_step=_unwatched,
    ).points


def _size_ratio(frames: Frames, points: ComplexArray) -> float:
    """The factor on *points* that gives them the area of the surface."""
    flat_area = 0.5 * float(np.sum(np.abs(cross(*frames.sides(points)))))
    return float(np.sqrt(np.sum(frames.areas) / flat_area))


def _squared(values: ComplexArray) -> FloatArray:
    return np.asarray(values.real**2 + values.imag**2)


def _unwatched(step: int, near: float) -> None:
    """Nobody watches."""
