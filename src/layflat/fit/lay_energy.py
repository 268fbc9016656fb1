"""What pulls at film that lies on a surface: the energy it stores and the force at each vertex.

Two balances are offered, which agree to first order in strain (see docs/theory-fit.md):

- ``flattening``: that of `layflat.film.flatten`. Each triangle counts with its laid area, and the
  pull of that area on the piece's edge is left out. A pattern that flattening made is in balance
  where it was made.
- ``film``: each triangle counts with its flat area, which is strict mechanics of a law that is
  given per volume of unstrained film.
"""

from dataclasses import dataclass
from enum import StrEnum
from typing import Protocol

import numpy as np
import scipy.sparse as sp

from layflat.base import FloatArray, IntArray
from layflat.film import ComplexArray, Frames, cross, frames_of, safe_step
from layflat.fit.lay_chart import Chart, Spots, nearest_faces, walk
from layflat.fit.lay_hold import Hold
from layflat.fit.lay_piece import PieceMesh
from layflat.fit.lay_start import as_plane

_TINY = np.finfo(float).tiny


class Balance(StrEnum):
    """Which area an element of film counts with."""

    FLATTENING = "flattening"
    FILM = "film"


class Law(Protocol):
    """The film's law per unit of ``E h / (1 - nu²)``, as in `layflat.film.energy`."""

    def density(self, e1: FloatArray, e2: FloatArray) -> FloatArray:
        """The energy per unit area at the lesser and the greater log strain."""

    def stress(self, e1: FloatArray, e2: FloatArray) -> tuple[FloatArray, FloatArray]:
        """The derivatives of `density`."""


@dataclass(frozen=True, eq=False)
class Laying:
    """Film at places of the chart.

    Attributes:
        value: the energy in mm², per unit of stiffness; infinite where a triangle is turned over.
        scale: half the sum of the squared strains by area, in mm²: what energies are to be
            compared with where a law lets them vanish.
        gradient: (n,) complex: minus the force at each vertex along the chart's axes, less what
            is held.
        places: (n,) complex, in the chart.
        spots: the same as spots.
        space_mm: (n, 3) float64, in space.
        forces: (n, 3) float64: minus the force at each vertex in space, held or not.
    """

    value: float
    scale: float
    gradient: ComplexArray
    places: ComplexArray
    spots: Spots
    space_mm: FloatArray
    forces: FloatArray


@dataclass(frozen=True, eq=False)
class _Stretched:
    """The map of each triangle from the flat to space.

    `small` and `great` are the log strains; `a`, `b` the conformal and the distorting part in a
    frame of the laid triangle, along `first` and `second` (m, 3), square to `normal`.
    """

    small: FloatArray
    great: FloatArray
    a: ComplexArray
    b: ComplexArray
    first: FloatArray
    second: FloatArray
    normal: FloatArray


class LayEnergy:
    """The energy and the forces of one piece on one chart under one law.

    Attributes:
        frames: the triangles of the flat piece.
        chart: what it lies on.
        hold: what is held.
        balance: which area each triangle counts with.
        shares: (m,) float64, the part of its stiffness that each triangle counts with.
    """

    def __init__(
        self,
        piece: PieceMesh,
        chart: Chart,
        law: Law,
        *,
        balance: Balance = Balance.FLATTENING,
        anchors: IntArray | None = None,
    ) -> None:
        n, m = len(piece.points_mm), len(piece.faces)
        flat = np.column_stack((piece.points_mm, np.zeros(n)))
        self.frames: Frames = frames_of(flat, piece.faces)
        self.chart = chart
        self.hold = Hold(self.frames, np.zeros(0, np.int64) if anchors is None else anchors)
        self.shares: FloatArray = np.ones(m)
        self._law, self.balance = law, balance
        rows = np.concatenate(self.frames.corners)
        entries = (np.ones(3 * m), (rows, np.arange(3 * m)))
        self._gather = sp.coo_array(entries, shape=(n, 3 * m)).tocsr()
        self._rim_from = np.concatenate(piece.loops)
        self._rim_to = np.concatenate([np.roll(loop, -1) for loop in piece.loops])
        keys = (piece.faces * n + np.roll(piece.faces, -1, axis=1)).reshape(-1)
        order = np.argsort(keys)
        at = np.searchsorted(keys[order], self._rim_from * n + self._rim_to)
        self._rim_face = order[at] // 3
        self._last: IntArray | None = None

    def spots(self, places: ComplexArray) -> Spots:
        """The spots at *places*, sought from where the film was last."""
        plane = as_plane(places)
        if self._last is None:
            self._last = nearest_faces(self.chart, plane)
        spots = walk(self.chart, self._last, plane)
        self._last = spots.faces
        return spots

    def state(self, places: ComplexArray) -> Laying:
        """The energy and the forces at *places*.

        Forces are taken along the smooth surface: along slopes that are averaged at the chart's
        vertices, not those of single facets, which would jump as film slides over an edge.
        """
        spots = self.spots(places)
        space = spots.of(self.chart, self.chart.vertices_mm)
        value, scale, forces = self._in_space(space)
        pulled = np.einsum("nab,na->nb", spots.of(self.chart, self.chart.slopes), forces)
        gradient = self.hold.forces(pulled[:, 0] + 1j * pulled[:, 1], places)
        if not cross(*self.frames.sides(places)).min() > 0.0:
            value = np.inf
        return Laying(value, scale, gradient, places, spots, space, forces)

    def step_limit(self, places: ComplexArray, direction: ComplexArray) -> float:
        """Most of the way to the first triangle that turns over along *direction*."""
        return safe_step(self.frames, places, direction)

    def log_strains(self, space_mm: FloatArray) -> tuple[FloatArray, FloatArray]:
        """The (m,) lesser and greater log strain of film with its vertices at (n, 3) points."""
        found = self._stretched(space_mm)
        return found.small, found.great

    def least_stretch(self, places: ComplexArray) -> float:
        """The least stretch of any triangle at *places*."""
        space = self.spots(places).of(self.chart, self.chart.vertices_mm)
        return float(np.exp(self.log_strains(space)[0].min()))

    def energy_of(self, law: Law, space_mm: FloatArray) -> float:
        """The energy under another law, in mm² per unit of stiffness."""
        found = self._stretched(space_mm)
        return float(np.sum(self._weights(found) * law.density(found.small, found.great)))

    def _stretched(self, space: FloatArray) -> _Stretched:
        start = space[self.frames.corners[0]]
        p, q = space[self.frames.corners[1]] - start, space[self.frames.corners[2]] - start
        normal = np.cross(p, q)
        length, doubled = _length(p), _length(normal)
        normal /= np.maximum(doubled, _TINY)[:, None]
        first = p / np.maximum(length, _TINY)[:, None]
        second = np.cross(normal, first)
        side = np.einsum("ij,ij->i", q, first) + 1j * np.einsum("ij,ij->i", q, second)
        a, b = self.frames.derivative((length.astype(np.complex128), side))
        wide = np.abs(a) + np.abs(b)
        narrow = np.maximum(doubled / (2.0 * self.frames.areas) / wide, _TINY)
        return _Stretched(np.log(narrow), np.log(wide), a, b, first, second, normal)

    def _weights(self, found: _Stretched) -> FloatArray:
        """The area that each triangle counts with, in mm²."""
        weights = self.shares * self.frames.areas
        if self.balance is Balance.FLATTENING:
            weights = weights * np.exp(found.small + found.great)
        return np.asarray(weights)

    def _in_space(self, space: FloatArray) -> tuple[float, float, FloatArray]:
        """Energy, scale, and (n, 3) the energy's derivative less the pull on the piece's edge."""
        found = self._stretched(space)
        density = self._law.density(found.small, found.great)
        by_small, by_great = self._law.stress(found.small, found.great)
        weights = self._weights(found)
        value = float(np.sum(weights * density))
        scale = 0.5 * float(np.sum(weights * (found.small**2 + found.great**2)))
        if self.balance is Balance.FLATTENING:
            by_small, by_great = by_small + density, by_great + density
        by_wide = weights * by_great * np.exp(-found.great)
        by_narrow = weights * by_small * np.exp(-found.small)
        a, b = found.a, found.b
        along_a = a * ((by_wide + by_narrow) / np.abs(a))
        along_b = b * ((by_wide - by_narrow) / np.maximum(np.abs(b), _TINY))
        c, d = self.frames.slopes
        at_second = _lifted(along_a * c.conj() + along_b * c, found)
        at_third = _lifted(along_a * d.conj() + along_b * d, found)
        forces = self._gather @ np.concatenate((-(at_second + at_third), at_second, at_third))
        if self.balance is Balance.FLATTENING:
            self._take_off_edge(forces, space, density, found.normal)
        return value, scale, forces

    def _take_off_edge(
        self, forces: FloatArray, space: FloatArray, density: FloatArray, normal: FloatArray
    ) -> None:
        """Take off *forces* what growing laid area would do at the edge: energy there, outward."""
        face = self._rim_face
        outward = np.cross(space[self._rim_to] - space[self._rim_from], normal[face])
        pull = (-0.5 * self.shares[face] * density[face])[:, None] * outward
        np.add.at(forces, self._rim_from, pull)
        np.add.at(forces, self._rim_to, pull)


def _length(vectors: FloatArray) -> FloatArray:
    return np.asarray(np.sqrt(np.einsum("ij,ij->i", vectors, vectors)))


def _lifted(values: ComplexArray, found: _Stretched) -> FloatArray:
    """(m, 3): complex numbers in the frames of the laid triangles as vectors in space."""
    return values.real[:, None] * found.first + values.imag[:, None] * found.second
