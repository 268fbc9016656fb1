"""How a flat piece is first put on a surface's chart: by a placement, by anchors or by its outline.

All three give a rigid motion of the plane. A piece is never laid mirrored.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree
from shapely import LineString, Polygon, get_coordinates

from layflat.base import FloatArray, InputError, frozen
from layflat.film import ComplexArray, Flat
from layflat.surface import REACH_MM, Located, locate

_SAMPLES = 400
_FINE_SAMPLES = 2000
_TURNS = 8
_FIRST_ROUNDS = 15
_ROUNDS = 60
_STILL_MM = 1e-7


@dataclass(frozen=True, eq=False)
class Placement:
    """Where a piece is first laid: a flat point and direction onto a surface point and direction.

    Attributes:
        flat_mm: (2,) float64.
        flat_direction: (2,) float64, of any length.
        surface_mm: (3,) float64, on the surface.
        surface_direction: (3,) float64, along the surface, of any length.

    Raises:
        InputError: a number is not finite, or a direction has no length.
    """

    flat_mm: FloatArray
    flat_direction: FloatArray
    surface_mm: FloatArray
    surface_direction: FloatArray

    def __post_init__(self) -> None:
        for name, size in (
            ("flat_mm", 2),
            ("flat_direction", 2),
            ("surface_mm", 3),
            ("surface_direction", 3),
        ):
            value = frozen(getattr(self, name)).reshape(-1)
            if value.shape != (size,) or not np.isfinite(value).all():
                raise InputError(f"The placement's {name} must be {size} finite numbers.")
            if name.endswith("direction") and not np.linalg.norm(value) > 0.0:
                raise InputError(f"The placement's {name} has no length; give it one.")
            object.__setattr__(self, name, value)


@dataclass(frozen=True)
class Motion:
    """A rigid motion of the plane in complex numbers: ``turn * point + shift``, ``|turn| = 1``."""

    turn: complex
    shift: complex

    def of(self, points_mm: FloatArray) -> ComplexArray:
        """(k,) complex: where the motion takes (k, 2) points."""
        return np.asarray(self.turn * as_complex(points_mm) + self.shift)

    def back(self, points_mm: FloatArray) -> FloatArray:
        """(k, 2): the points that the motion takes to *points_mm*."""
        return as_plane((as_complex(points_mm) - self.shift) / self.turn)


def as_complex(points_mm: FloatArray) -> ComplexArray:
    """(k, 2) points of the plane as (k,) complex numbers."""
    points = np.asarray(points_mm, np.float64).reshape(-1, 2)
    return np.asarray(points[:, 0] + 1j * points[:, 1])


def as_plane(points: ComplexArray) -> FloatArray:
    """(k,) complex numbers as (k, 2) points of the plane."""
    return np.column_stack((points.real, points.imag))


def on_surface(flat: Flat, points_mm: FloatArray, *, names: Sequence[str]) -> Located:
    """The places of (k, 3) points that must lie on the surface.

    Raises:
        InputError: one is not finite, or lies farther away than a picked point may.
    """
    points = np.asarray(points_mm, np.float64).reshape(-1, 3)
    for name, point in zip(names, points, strict=True):
        if not np.isfinite(point).all():
            raise InputError(f"{name} is not at finite numbers on the surface; pick it again.")
    located = locate(flat.mesh, points)
    for name, gap in zip(names, located.distances_mm, strict=True):
        if gap > REACH_MM:
            raise InputError(
                f"{name} lies {gap:.1f} mm off the surface; at most {REACH_MM:g} mm can be meant. "
                "Pick it on the surface."
            )
    return located


def in_chart(flat: Flat, located: Located) -> ComplexArray:
    """(k,) complex: located places of the surface in its pattern."""
    corners = flat.points_mm[flat.mesh.faces[located.faces]]
    return as_complex(np.einsum("ki,kij->kj", located.barycentric, corners))


def placed(flat: Flat, placement: Placement) -> Motion:
    """The motion that *placement* asks for.

    Raises:
        InputError: its point is off the surface, or its direction stands upright on it.
    """
    located = on_surface(flat, placement.surface_mm, names=["The placement's point"])
    target = complex(in_chart(flat, located)[0])
    face = flat.mesh.faces[located.faces[0]]
    space, plane = flat.mesh.vertices_mm[face], as_complex(flat.points_mm[face])
    sides = np.stack((space[1] - space[0], space[2] - space[0]), axis=1)
    shares = np.linalg.lstsq(sides, placement.surface_direction, rcond=None)[0]
    ahead = complex(shares @ (plane[1:] - plane[0]))
    along = float(np.linalg.norm(sides @ shares) / np.linalg.norm(placement.surface_direction))
    if not along > 0.05:
        raise InputError(
            "The placement's direction stands upright on the surface; give one that runs along it."
        )
    turn = ahead / complex(*placement.flat_direction)
    turn /= abs(turn)
    return Motion(turn, target - turn * complex(*placement.flat_mm))


def rigid(points: ComplexArray, targets: ComplexArray) -> Motion:
    """The motion that takes *points* nearest to *targets* (least squares; no turn for one)."""
    middle, goal = points.mean(), targets.mean()
    turn = complex(np.vdot(points - middle, targets - goal))
    turn = turn / abs(turn) if abs(turn) > 0.0 else 1.0 + 0.0j
    return Motion(turn, complex(goal - turn * middle))


def best_fit(piece: Polygon, loops: Sequence[FloatArray]) -> Motion:
    """The motion that lays the piece's edge best on the *loops* of an outline in the chart.

    Nearest points are paired and the motion is solved for, again and again, sliding along the
    outline for free; from several first turns, of which the best is taken. (P. Besl, N. McKay,
    IEEE Trans. PAMI 14 (1992) 239-256, with Y. Chen, G. Medioni's distance to tangents, from
    memory.)
    """
    edge = _sampled([get_coordinates(r)[:-1] for r in (piece.exterior, *piece.interiors)], _SAMPLES)
    coarse, fine = _Line(loops, _SAMPLES), _Line(loops, _FINE_SAMPLES)
    middle = complex(*get_coordinates(piece.centroid)[0])
    goal = complex(*get_coordinates(Polygon(loops[0]).centroid)[0])
    first = _axis(coarse.points) / _axis(edge)
    found: list[tuple[float, Motion]] = []
    for i in range(_TURNS):
        turn = first / abs(first) * np.exp(2j * np.pi * i / _TURNS)
        motion = coarse.followed(edge, Motion(turn, goal - turn * middle), _FIRST_ROUNDS)
        found.append((coarse.misfit(edge, motion), motion))
    best = min(found, key=lambda pair: pair[0])[1]
    return fine.followed(edge, best, _ROUNDS)


class _Line:
    """An outline as many points with their directions."""

    def __init__(self, loops: Sequence[FloatArray], count: int) -> None:
        self.points = _sampled(loops, count)
        step = _sampled(loops, count, ahead=1e-3) - self.points
        self.along = step / np.abs(step)
        self._tree = cKDTree(as_plane(self.points))

    def misfit(self, edge: ComplexArray, motion: Motion) -> float:
        """The mean squared distance of the edge from the outline and of the outline from it."""
        here = motion.turn * edge + motion.shift
        there = cKDTree(as_plane(here)).query(as_plane(self.points))[0]
        return float(np.mean(self._tree.query(as_plane(here))[0] ** 2) + np.mean(there**2))

    def followed(self, edge: ComplexArray, motion: Motion, rounds: int) -> Motion:
        """*motion* bettered by so many rounds at most."""
        for _ in range(rounds):
            here = motion.turn * edge + motion.shift
            near = self._tree.query(as_plane(here))[1]
            middle = here.mean()
            across = 1j * self.along[near]
            gap = ((self.points[near] - here) * across.conj()).real
            moves = np.column_stack(
                (across.real, across.imag, (1j * (here - middle) * across.conj()).real)
            )
            x, y, angle = np.linalg.lstsq(moves, gap, rcond=1e-9)[0]
            turn = np.exp(1j * angle)
            motion = Motion(
                turn * motion.turn, turn * (motion.shift - middle) + middle + complex(x, y)
            )
            if abs(complex(x, y)) + abs(angle) * np.abs(here - middle).max() < _STILL_MM:
                break
        return motion


def _sampled(loops: Sequence[FloatArray], count: int, ahead: float = 0.0) -> ComplexArray:
    """About *count* points spread evenly over closed loops, each *ahead* mm along its loop."""
    lines = [LineString(np.concatenate((loop, loop[:1]))) for loop in loops]
    whole = sum(line.length for line in lines)
    points = []
    for line in lines:
        own = max(16, round(count * line.length / whole))
        at = np.arange(own) / own * line.length + ahead
        points.append(get_coordinates([line.interpolate(float(s)) for s in at]))
    return as_complex(np.concatenate(points))


def _axis(points: ComplexArray) -> complex:
    """A complex number along the longer principal axis of *points*."""
    second = complex(np.mean((points - points.mean()) ** 2))
    return complex(np.sqrt(second)) if abs(second) > 0.0 else 1.0 + 0.0j
