"""A piece at rest on a surface, and what is to be said of it."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import Polygon

from layflat.base import CheckError, FloatArray, IntArray, frozen
from layflat.film import Film, Flat, HenckyLaw, membrane_stiffness_n_mm, strain_of
from layflat.fit.lay_anchor import Pinned
from layflat.fit.lay_chart import Chart, walk
from layflat.fit.lay_descent import Slide
from layflat.fit.lay_edge import OffEdge, off_edge
from layflat.fit.lay_energy import Balance, Law, LayEnergy, Laying
from layflat.fit.lay_piece import PieceMesh
from layflat.fit.lay_start import as_plane
from layflat.surface import Mesh

FOLDED_STRETCH = 0.5
"""Film pressed to less than this part of its length is folded, whatever it is made of."""

_ANCHOR_MM = 0.01
_HANGING_MM2 = 100.0
_HAIR_MM = 0.3
_ROUNDING = 1e-6


@dataclass(frozen=True, eq=False)
class Laid:
    """A piece at rest on a surface.

    Attributes:
        flat: the film as it lies: its triangles in space, and where each vertex lies in the piece.
        off_edge_mm: how far the piece's edges lie from the outline.
        energy_mj: what the film stores under the law it was laid by, without the aversion. The
            energy in `flat` is that of the plain law.
        steps: steps of the descent, those of drawing anchors in not counted.
        converged: whether it is in balance to the stated tolerance.
        loops: the vertices of `flat` along the piece's outline and its holes.
        hanging: (m,) bool, the triangles whose middle lies beyond the surface.
        hanging_mm2: the area of film that lies more than a hair beyond the surface.
        pulls_n: (k, 3) float64, the force in newton that each anchor must hold the film with.
        balance: which balance was sought.
        least_angle_deg: the least angle of the piece's triangles, as a measure of their quality.
        notes: sentences on what was moved, could not be had, folds, hangs over or did not settle.
    """

    flat: Flat
    off_edge_mm: OffEdge
    energy_mj: float
    steps: int
    converged: bool
    loops: tuple[IntArray, ...]
    hanging: np.ndarray[tuple[int], np.dtype[np.bool_]]
    hanging_mm2: float
    pulls_n: FloatArray
    balance: Balance
    least_angle_deg: float
    notes: tuple[str, ...]

    def __post_init__(self) -> None:
        object.__setattr__(self, "hanging", frozen(self.hanging, np.bool_))
        object.__setattr__(self, "pulls_n", frozen(self.pulls_n).reshape(-1, 3))


def laid(
    mesh: PieceMesh,
    energy: LayEnergy,
    done: Slide,
    *,
    film: Film,
    law: Law,
    finger_aversion: float,
    pinned: Pinned,
    outline: Sequence[FloatArray],
) -> Laid:
    """The result of a slide.

    Raises:
        CheckError: a triangle is turned over or has no area.
    """
    lies, stiffness = done.laying, membrane_stiffness_n_mm(film)
    if not np.isfinite(lies.value):
        raise CheckError("A triangle of the laid film is turned over; lay it with other anchors.")
    space = Mesh(lies.space_mm, mesh.faces)
    plain = HenckyLaw(film.poisson_ratio)
    # The aversion is a dislike, not an energy; every other law is one.
    bare: Law = plain if isinstance(law, HenckyLaw) else law
    hanging = _hanging(energy.chart, lies, mesh.faces)
    flat = Flat(
        mesh=space,
        points_mm=mesh.points_mm,
        film=film,
        finger_aversion=float(finger_aversion),
        energy_mj=energy.energy_of(plain, lies.space_mm) * stiffness,
        strain=strain_of(space, mesh.points_mm),
        steps=done.steps,
        converged=done.converged,
    )
    hanging_mm2 = _hanging_mm2(energy.chart, lies, mesh.loops)
    if hanging_mm2 is None:
        hanging_mm2 = float(space.face_areas_mm2[hanging].sum())
    return Laid(
        flat=flat,
        off_edge_mm=off_edge([lies.space_mm[loop] for loop in mesh.loops], outline),
        energy_mj=energy.energy_of(bare, lies.space_mm) * stiffness,
        steps=done.steps,
        converged=done.converged,
        loops=mesh.loops,
        hanging=hanging,
        hanging_mm2=hanging_mm2,
        pulls_n=lies.forces[: len(pinned.names)] * stiffness,
        balance=energy.balance,
        least_angle_deg=mesh.least_angle_deg,
        notes=(
            *pinned.notes,
            *_short_of(pinned, lies),
            *_strained(flat, hanging),
            *_hanging_notes(hanging_mm2),
            *_unsettled(done),
        ),
    )


def _hanging(
    chart: Chart, lies: Laying, faces: IntArray
) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """The triangles whose middle lies beyond the surface."""
    middle = as_plane(lies.places[faces].mean(axis=1))
    if chart.outline is not None:
        shapely.prepare(chart.outline)
        return np.asarray(~shapely.contains_xy(chart.outline, middle))
    near = lies.spots.faces[faces[:, 0]]
    return np.asarray(walk(chart, near, middle).weights.min(axis=1) < -_ROUNDING)


def _hanging_mm2(chart: Chart, lies: Laying, loops: Sequence[IntArray]) -> float | None:
    """The area more than a hair beyond the surface; None where the chart lies on itself."""
    rings = [as_plane(lies.places[loop]) for loop in loops]
    there = Polygon(rings[0], rings[1:])
    if chart.outline is None or not there.is_valid:
        return None
    return float(there.difference(chart.outline.buffer(_HAIR_MM)).area)


def _short_of(pinned: Pinned, lies: Laying) -> list[str]:
    """A sentence for each anchor that could not be brought to its place."""
    gaps = np.abs(lies.places[: len(pinned.names)] - pinned.places)
    return [
        f"{name} could be brought only to {gap:.1f} mm from its place: beyond that the film would "
        "fold over itself."
        for name, gap in zip(pinned.names, gaps, strict=True)
        if gap > _ANCHOR_MM
    ]


def _strained(flat: Flat, hanging: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> list[str]:
    """What the film on the surface cannot bear."""
    notes = []
    lying = ~hanging if not hanging.all() else np.ones_like(hanging)
    greatest = np.where(lying, flat.strain.greatest, 1.0)
    least = np.where(lying, flat.strain.least, 1.0)
    if greatest.max() > 1.0 + flat.film.stretch_limit:
        notes.append(
            f"Film is stretched by up to {100.0 * (greatest.max() - 1.0):.1f} % "
            f"{_near(flat, int(greatest.argmax()))}; "
            f"it bears {100.0 * flat.film.stretch_limit:g} %."
        )
    if least.min() < FOLDED_STRETCH:
        notes.append(
            f"Film is pressed to {100.0 * least.min():.0f} % of its length "
            f"{_near(flat, int(least.argmin()))}: there it folds over."
        )
    return notes


def _near(flat: Flat, face: int) -> str:
    x, y, z = flat.mesh.vertices_mm[flat.mesh.faces[face]].mean(axis=0)
    return f"near x {x:.0f}, y {y:.0f}, z {z:.0f} mm"


def _hanging_notes(hanging_mm2: float) -> list[str]:
    if hanging_mm2 < _HANGING_MM2:
        return []
    area = f"{hanging_mm2 / 100.0:.0f} cm²"
    return [f"{area} of the film hang beyond the surface, taken to lie on its continuation."]


def _unsettled(done: Slide) -> list[str]:
    if done.converged:
        return []
    return [f"The film had not come to rest after {done.steps} steps; take it as an estimate."]
