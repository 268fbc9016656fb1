import numpy as np
import pytest

from film.shapes import cap, car_like
from layflat.film.descent import descend
from layflat.film.energy import FlatEnergy, HenckyLaw
from layflat.film.factor import PinnedFactor
from layflat.film.flatten import start_shape
from layflat.film.frames import frames_of_mesh
from layflat.film.sheet import sheet_loops


def quiet(step: int, near: float) -> None:
    """Nobody watches."""


@pytest.mark.parametrize("aversion", [1.0, 10.0, 1000.0])
def test_energy_falls_with_every_step(aversion: float) -> None:
    mesh = car_like()
    frames = frames_of_mesh(mesh)
    energy = FlatEnergy(frames, HenckyLaw(0.45, aversion))
    precondition = PinnedFactor(frames.laplacian()).solve
    start = start_shape(mesh, energy, sheet_loops(mesh), precondition)
    descent = descend(
        energy,
        start,
        precondition,
        max_steps=2000,
        each_step=quiet,
    )
    assert descent.converged
    assert descent.steps == len(descent.energies) - 1 > 3
    assert np.all(np.diff(descent.energies) < 0.0)
    # At the end no single vertex can be moved to advantage: the minimum is one of its own.
    gradient = energy.state(descent.points).gradient
    first = energy.state(start).gradient
    assert np.abs(gradient).max() < 1e-3 * np.abs(first).max()


def test_steps_do_not_grow_with_the_mesh() -> None:
    """The preconditioner makes the descent independent of how fine the mesh is."""
    steps = []
    for rings in (8, 32):
        mesh = cap(rings, angle=0.6, radius=300.0)
        frames = frames_of_mesh(mesh)
        energy = FlatEnergy(frames, HenckyLaw(0.45))
        factor = PinnedFactor(frames.laplacian())
        start = start_shape(mesh, energy, sheet_loops(mesh), factor.solve)
        steps.append(descend(energy, start, factor.solve, max_steps=99, each_step=quiet).steps)
    assert steps[1] <= steps[0] + 4
    assert steps[1] <= 24


def test_pinned_factor_inverts_the_laplacian_on_fields_of_zero_sum() -> None:
    frames = frames_of_mesh(car_like(8, 7))
    laplacian = frames.laplacian()
    random = np.random.default_rng(3)
    field = random.normal(size=56) + 1j * random.normal(size=56)
    field -= field.mean()
    assert np.allclose(PinnedFactor(laplacian).solve(laplacian @ field), field, atol=1e-9)
