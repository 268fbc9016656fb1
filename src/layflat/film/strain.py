"""What laying a flat pattern on a surface asks of the film."""

from dataclasses import dataclass

import numpy as np

from layflat.base import CheckError, FloatArray
from layflat.film.flat import Flat, Strain
from layflat.film.frames import ComplexArray, Frames, cross, frames_of_mesh
from layflat.surface import Mesh


def strain_of(mesh: Mesh, points_mm: FloatArray) -> Strain:
    """The principal stretches of the film from the flat shape to the surface, per triangle.

    Args:
        mesh: the surface.
        points_mm: (n, 2) float64, where each of its vertices lies in the flat.

    Raises:
        MeshError: a triangle of the surface has no area.
        CheckError: a triangle is inverted or has no area in the flat.
    """
    points = np.ascontiguousarray(points_mm, dtype=np.float64).view(np.complex128).reshape(-1)
    return strain_of_frames(frames_of_mesh(mesh), points)


def strain_of_frames(frames: Frames, points: ComplexArray) -> Strain:
    """As `strain_of`, for *points* as (n,) complex over triangles in their *frames*."""
    sides = frames.sides(points)
    doubled = cross(*sides)
    inverted = int(np.count_nonzero(~(doubled > 0.0)))
    if inverted:
        raise CheckError(f"{inverted} triangles of the flat shape are inverted or have no area.")
    a, b = frames.derivative(sides)
    # Singular values of the map from the surface to the flat; the film's stretches are the
    # inverses. The film is stretched most along the direction that the flat shape is narrow in.
    wide = np.abs(a) + np.abs(b)
    narrow = doubled / (2.0 * frames.areas) / wide
    # a z + b conj(z) is longest where both terms align: in the flat, along sqrt(a b).
    widest = np.sqrt(_unit(a) * _unit(b))
    greatest_along = 1j * widest
    return Strain(
        greatest=1.0 / narrow,
        least=1.0 / wide,
        direction=np.column_stack((greatest_along.real, greatest_along.imag)),
    )


def _unit(values: ComplexArray) -> ComplexArray:
    """*values* of length 1; 1 where they vanish."""
    length = np.abs(values)
    return np.asarray(np.where(length > 0.0, values / np.where(length > 0.0, length, 1.0), 1.0))


@dataclass(frozen=True)
class StretchSummary:
    """Principal stretches over a whole pattern; percentiles weigh each triangle by its area.

    Attributes:
        greatest: the greatest stretch anywhere.
        least: the least stretch anywhere.
        greatest_p01: 1st percentile of the greater principal stretch.
        greatest_p99: its 99th percentile.
        least_p01: 1st percentile of the lesser principal stretch.
        least_p99: its 99th percentile.
        share_over_stretch_limit: part of the surface where the greater stretch is more than
            1 + the film's `stretch_limit`, 0 to 1.
        share_under_finger_limit: part of the surface where the lesser stretch is less than
            1 - the film's `finger_limit`, 0 to 1.
    """

    greatest: float
    least: float
    greatest_p01: float
    greatest_p99: float
    least_p01: float
    least_p99: float
    share_over_stretch_limit: float
    share_under_finger_limit: float


def stretch_summary(flat: Flat) -> StretchSummary:
    """The principal stretches of *flat* in eight numbers."""
    areas = flat.mesh.face_areas_mm2
    greatest, least = flat.strain.greatest, flat.strain.least
    greatest_p01, greatest_p99 = _percentiles(greatest, areas)
    least_p01, least_p99 = _percentiles(least, areas)
    whole = float(areas.sum())
    over = areas[greatest > 1.0 + flat.film.stretch_limit].sum()
    under = areas[least < 1.0 - flat.film.finger_limit].sum()
    return StretchSummary(
        greatest=float(greatest.max()),
        least=float(least.min()),
        greatest_p01=greatest_p01,
        greatest_p99=greatest_p99,
        least_p01=least_p01,
        least_p99=least_p99,
        share_over_stretch_limit=float(over) / whole,
        share_under_finger_limit=float(under) / whole,
    )


def _percentiles(values: FloatArray, weights: FloatArray) -> tuple[float, float]:
    """The 1st and 99th percentile: the least value that so much of the weight does not pass."""
    order = np.argsort(values)
    reached = np.cumsum(weights[order])
    marks = np.searchsorted(reached, np.array([0.01, 0.99]) * reached[-1])
    first, last = values[order[np.minimum(marks, len(order) - 1)]]
    return float(first), float(last)
