"""What is held while film slides: its anchors, and its place as a whole where these leave it free.

Film without friction has no place of its own on a smooth panel: as a whole it slides at almost no
cost, and off a bulge it would slide to where the surface is flatter. Whoever lays it puts it where
it belongs. So what anchors leave free as a whole (all of it without anchors, the turning with one)
stays as it was placed: the mean place, and the mean turning, of the film.
"""

import numpy as np
import scipy.sparse as sp

from layflat.base import IntArray
from layflat.film import ComplexArray, Factor, Frames, Preconditioner

_TETHER = 0.05 * np.pi**2
"""Stiffness against moving as a whole in the preconditioner, over that of the longest wave."""


class Hold:
    """The held vertices of a piece, and its held motions as a whole.

    Attributes:
        anchors: (k,) int64, the vertices that do not move.
        mass: (n,) float64, the film's area at each vertex, in mm².
    """

    def __init__(self, frames: Frames, anchors: IntArray) -> None:
        self.anchors = anchors
        ids = np.concatenate(frames.corners)
        shares = np.tile(frames.areas / 3.0, 3)
        self.mass = np.asarray(np.bincount(ids, shares, minlength=frames.vertex_count), np.float64)
        self._free = np.ones(frames.vertex_count, dtype=bool)
        self._free[anchors] = False

    def forces(self, gradient: ComplexArray, places: ComplexArray) -> ComplexArray:
        """*gradient* less what the held motions bear."""
        result = np.where(self._free, gradient, 0.0)
        for motion in self._motions(places):
            result -= self.mass * motion * _dot(motion, gradient)
        return result

    def moves(self, direction: ComplexArray, places: ComplexArray) -> ComplexArray:
        """*direction* without the held motions."""
        result = np.where(self._free, direction, 0.0)
        for motion in self._motions(places):
            result -= motion * _dot(motion, self.mass * direction)
        return result

    def preconditioner(self, frames: Frames, *, softness: float = 1.0) -> Preconditioner:
        """The inverse Laplacian of the flat piece, with a slight tether against drifting.

        Args:
            frames: its triangles.
            softness: how many times less stiff it is than film that bears pulls both ways.
        """
        tether = _TETHER / float(frames.areas.sum())
        matrix = frames.laplacian() + sp.diags_array(tether * self.mass)
        free = np.flatnonzero(self._free)
        factor = Factor(matrix.tocsc()[free][:, free].tocsc())

        def apply(gradient: ComplexArray) -> ComplexArray:
            result = np.zeros_like(gradient)
            result[free] = softness * factor.solve_complex(gradient[free])
            return result

        return apply

    def _motions(self, places: ComplexArray) -> list[ComplexArray]:
        """The held motions as a whole, orthonormal by mass."""
        if len(self.anchors) > 1:
            return []
        mass = np.where(self._free, self.mass, 0.0)
        if len(self.anchors) == 1:
            turn = 1j * (places - places[self.anchors[0]])
            return [turn / np.sqrt(np.sum(mass * np.abs(turn) ** 2))]
        even = np.full_like(places, 1.0 / np.sqrt(mass.sum()))
        turn = 1j * (places - np.sum(mass * places) / mass.sum())
        return [even, 1j * even, turn / np.sqrt(np.sum(mass * np.abs(turn) ** 2))]


def _dot(p: ComplexArray, q: ComplexArray) -> float:
    return float(np.sum(p.real * q.real + p.imag * q.imag))
