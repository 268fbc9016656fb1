"""A flattened region: the flat shape beside the surface, and what laying it asks of the film."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from layflat.base import FloatArray, frozen
from layflat.film.material import Film
from layflat.surface import Mesh


@dataclass(frozen=True, eq=False)
class Strain:
    """The deformation of the film from the flat pattern to the surface, per triangle.

    Attributes:
        greatest: (m,) float64, the greater principal stretch (1 = as it lay on the roll).
        least: (m,) float64, the lesser one.
        direction: (m, 2) float64, unit vectors in the flat plane along the greater one.
    """

    greatest: FloatArray
    least: FloatArray
    direction: FloatArray

    def __post_init__(self) -> None:
        for name in ("greatest", "least", "direction"):
            object.__setattr__(self, name, frozen(getattr(self, name)))


@dataclass(frozen=True, eq=False)
class Flat:
    """The flat pattern of a region, vertex by vertex.

    Attributes:
        mesh: the surface, in mm.
        points_mm: (n, 2) float64, where each vertex of `mesh` lies in the flat pattern. Every
            triangle keeps its counter-clockwise sense: the pattern is seen from outside.
        film: the film that it was computed for.
        finger_aversion: how much more compression was disliked than stretch (1 = symmetric).
        energy_mj: elastic energy of the laid film in millijoules, without the aversion factor.
        strain: per triangle.
        steps: steps that the minimiser took.
        converged: whether it ended by its own criterion, not by the limit of steps.
    """

    mesh: Mesh
    points_mm: FloatArray
    film: Film
    finger_aversion: float
    energy_mj: float
    strain: Strain
    steps: int
    converged: bool

    def __post_init__(self) -> None:
        object.__setattr__(self, "points_mm", frozen(self.points_mm).reshape(-1, 2))

    @cached_property
    def triangle_areas_mm2(self) -> FloatArray:
        """(m,) float64: the signed area of each triangle in the flat pattern."""
        a, b, c = (self.points_mm[self.mesh.faces[:, i]] for i in range(3))
        p, q = b - a, c - a
        areas: FloatArray = frozen(0.5 * (p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0]))
        return areas

    @property
    def pattern_area_mm2(self) -> float:
        """The area of the flat pattern."""
        return float(self.triangle_areas_mm2.sum())

    @property
    def inverted_triangles(self) -> int:
        """The number of triangles of the flat pattern that are inverted or have no area."""
        return int(np.count_nonzero(~(self.triangle_areas_mm2 > 0.0)))
