"""From a surface to the flat pattern that costs an elastic film the least energy."""

import math

import numpy as np

from layflat.base import (
    CheckError,
    FloatArray,
    InputError,
    IntArray,
    Progress,
    SettingError,
    part_of,
    silent,
)
from layflat.film.descent import Descent, Preconditioner, descend
from layflat.film.energy import FlatEnergy, HenckyLaw
from layflat.film.factor import PinnedFactor
from layflat.film.flat import Flat
from layflat.film.frames import ComplexArray, Frames, frames_of_mesh
from layflat.film.material import Film
from layflat.film.pose import posed
from layflat.film.sheet import sheet_loops
from layflat.film.start import closed_disc, conformal_start, tutte_start
from layflat.film.strain import strain_of_frames
from layflat.film.untangle import inverted, relaxed, untangled
from layflat.surface import Mesh

MAX_FINGER_AVERSION = 1e4
MAX_STEPS = 2000


def flatten(
    mesh: Mesh,
    film: Film,
    *,
    finger_aversion: float = 1.0,
    max_steps: int = MAX_STEPS,
    start_mm: FloatArray | None = None,
    progress: Progress = silent,
) -> Flat:
    """The flat pattern of *mesh* that takes the least elastic energy to lay.

    The result does not depend on where the surface lies in space or how it is turned; its pose
    in the plane is that of :func:`layflat.film.pose.posed`. The same input gives the same result.

    Args:
        mesh: one sheet with an edge; openings are allowed, handles are not.
        film: its Poisson ratio shapes the pattern; its thickness and modulus scale the energy.
        finger_aversion: how much more compression is disliked than stretch, 1 to 10,000;
            1 is plain mechanics, large values leave almost no compression.
        max_steps: limit of the minimiser's steps; the result says whether it was reached.
        start_mm: (n, 2) float64, a flat shape to start from, e.g. that of nearly the same surface;
            one that has inverted triangles is put aside. The result is the same, sooner.
        progress: told each step; raise `StoppedError` from it to stop.

    Returns:
        The flat pattern, each triangle the right way round.

    Raises:
        MeshError: the surface is not such a sheet, or a triangle of it has no area.
        InputError: *start_mm* does not have a finite point for every vertex.
        SettingError: *finger_aversion* or *max_steps* is out of range.
        CheckError: a triangle came out inverted.
    """
    if not (math.isfinite(finger_aversion) and 1.0 <= finger_aversion <= MAX_FINGER_AVERSION):
        raise SettingError(
            f"The finger aversion is {finger_aversion:g}; it must lie between 1 and "
            f"{MAX_FINGER_AVERSION:g}."
        )
    if max_steps < 0:
        raise SettingError(f"The limit of steps is {max_steps}; it must not be negative.")
    progress("checking the surface", 0.0)
    loops = sheet_loops(mesh)
    frames = frames_of_mesh(mesh)
    law = HenckyLaw(film.poisson_ratio, finger_aversion)
    energy = FlatEnergy(frames, law)
    progress("preparing the descent", 0.02)
    factor = PinnedFactor(frames.laplacian())
    progress("laying out a first shape", 0.1)
    start = _given_start(mesh, frames, start_mm)
    if start is None:
        start = start_shape(mesh, energy, loops, factor.solve)
    step_progress = part_of(progress, start=0.25, end=1.0)
    descent = descend(
        energy,
        start,
        factor.solve,
        max_steps=max_steps,
        each_step=lambda step, near: step_progress(f"flattening, step {step}", near),
    )
    return _flat(mesh, film, finger_aversion, frames, descent)


def _given_start(mesh: Mesh, frames: Frames, start_mm: FloatArray | None) -> ComplexArray | None:
    """The given start as complex numbers; None without one, or if it has inverted triangles."""
    if start_mm is None:
        return None
    points = np.array(start_mm, np.float64)
    if points.shape != (len(mesh.vertices_mm), 2) or not np.isfinite(points).all():
        raise InputError("The flat shape to start from does not belong to the surface.")
    found: ComplexArray = points[:, 0] + 1j * points[:, 1]
    return None if inverted(frames, found) else found


def start_shape(
    mesh: Mesh, energy: FlatEnergy, loops: list[IntArray], precondition: Preconditioner
) -> ComplexArray:
    """A flat shape without inverted triangles, at its best scale.

    Conformal; if that inverts triangles, untangled; if that fails, Tutte's, relaxed.

    Raises:
        CheckError: none of them is free of inverted triangles in floating-point numbers.
    """
    disc, frames = closed_disc(mesh, loops), energy.frames
    points = conformal_start(disc)[: frames.vertex_count]
    if inverted(frames, points):
        points = untangled(frames, points, precondition)
    if inverted(frames, points):
        points = tutte_start(disc)[: frames.vertex_count]
        if inverted(frames, points):
            raise CheckError(
                "No flat shape without inverted triangles was found to start from: the surface "
                "bulges too far beyond its edge. Split it into smaller panels."
            )
        points = relaxed(frames, points, precondition)
    return np.asarray(points * best_scale(energy, points))


def best_scale(energy: FlatEnergy, points: ComplexArray) -> float:
    """The factor on *points* that makes the energy least: Newton's method on its logarithm."""
    e1, e2 = energy.log_strains(points)
    areas, shift = energy.frames.areas, 0.0
    for _ in range(50):
        s1, s2 = energy.law.stress(e1 - shift, e2 - shift)
        # The stress is piecewise linear.
        slope = energy.law.swelling(e1 - shift, e2 - shift)
        change = float(np.sum(areas * (s1 + s2)) / np.sum(areas * slope))
        shift += change
        if abs(change) < 1e-12:
            break
    return math.exp(shift)


def _flat(mesh: Mesh, film: Film, finger_aversion: float, frames: Frames, descent: Descent) -> Flat:
    points = posed(frames, descent.points)
    plain = FlatEnergy(frames, HenckyLaw(film.poisson_ratio))
    return Flat(
        mesh=mesh,
        points_mm=np.column_stack((points.real, points.imag)),
        film=film,
        finger_aversion=float(finger_aversion),
        energy_mj=plain.value(points) * membrane_stiffness_n_mm(film),
        strain=strain_of_frames(frames, points),
        steps=descent.steps,
        converged=descent.converged,
    )


def membrane_stiffness_n_mm(film: Film) -> float:
    """``E h / (1 - nu²)`` in N/mm."""
    return film.youngs_modulus_mpa * film.thickness_um * 1e-3 / (1.0 - film.poisson_ratio**2)
