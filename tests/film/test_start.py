import numpy as np
import pytest

from film.shapes import cap, car_like, ring
from layflat.film.descent import descend
from layflat.film.energy import FlatEnergy, HenckyLaw, State
from layflat.film.factor import PinnedFactor
from layflat.film.flatten import start_shape
from layflat.film.frames import ComplexArray, frames_of_mesh
from layflat.film.sheet import sheet_loops
from layflat.film.start import _laid_out, closed_disc, conformal_start, tutte_start
from layflat.surface import Mesh, require_sheet


def saddle_with_an_opening() -> Mesh:
    return ring(lambda x, y: x * y / 700, inner=60, outer=300)


def test_an_opening_is_closed_by_a_fan_that_fits() -> None:
    mesh = saddle_with_an_opening()
    shape = closed_disc(mesh, sheet_loops(mesh))
    loops = require_sheet(shape.faces, what="The closed shape")
    assert len(loops) == 1
    assert np.array_equal(loops[0], shape.rim)
    assert len(shape.vertices_mm) == len(mesh.vertices_mm) + 1
    # The rim is the outer loop, though the other has as many vertices.
    assert np.linalg.norm(mesh.vertices_mm[shape.rim, :2], axis=1).min() > 299


def test_conformal_start_scales_the_whole_rim_alike_and_closes_it() -> None:
    mesh = cap(8, angle=1.5, radius=300.0)
    mesh = Mesh(mesh.vertices_mm * [1.0, 0.6, 1.0], mesh.faces)
    rim = sheet_loops(mesh)[0]
    points = conformal_start(closed_disc(mesh, [rim]))[rim]
    flat_sides = np.abs(np.roll(points, -1) - points)
    rim_mm = mesh.vertices_mm[rim]
    sides = np.linalg.norm(np.roll(rim_mm, -1, axis=0) - rim_mm, axis=1)
    ratio = flat_sides / sides
    assert np.ptp(ratio) < 0.05 * ratio.mean()


def test_a_rim_whose_sides_do_not_close_is_closed_without_turning_them() -> None:
    """All sides, the closing one too, run where their turning says; they only change length."""
    angle = 2 * np.pi * np.arange(12) / 12
    rim_mm = np.column_stack((np.cos(angle), np.sin(angle), 0 * angle)) * 100
    turning = np.full(12, 2 * np.pi / 12) + 0.1 * np.sin(angle + 0.3) + 0.05 * np.cos(3 * angle)
    turning *= 2 * np.pi / turning.sum()
    points = _laid_out(rim_mm, turning)
    sides = np.roll(points, -1) - points
    assert np.allclose(sides / np.abs(sides), np.exp(1j * np.cumsum(turning)), atol=1e-9)
    assert np.abs(np.abs(sides) / np.abs(sides).mean() - 1).max() < 0.4


@pytest.mark.parametrize("aversion", [1.0, 20.0])
def test_the_start_has_its_best_scale(aversion: float) -> None:
    mesh = car_like()
    frames = frames_of_mesh(mesh)
    energy = FlatEnergy(frames, HenckyLaw(0.45, aversion))
    factor = PinnedFactor(frames.laplacian())
    start = start_shape(mesh, energy, sheet_loops(mesh), factor.solve)
    assert energy.value(start) < min(energy.value(start * 1.001), energy.value(start * 0.999))


def test_no_step_of_a_descent_is_tried_beyond_an_inversion() -> None:
    """From the worst start, over hundreds of trials: none finds a triangle inverted."""
    mesh = car_like()
    frames = frames_of_mesh(mesh)
    tried: list[float] = []

    class Watched(FlatEnergy):
        def state(self, points: ComplexArray) -> State:
            state = super().state(points)
            tried.append(state.value)
            return state

    descent = descend(
        Watched(frames, HenckyLaw(0.45)),
        tutte_start(closed_disc(mesh, sheet_loops(mesh))),
        PinnedFactor(frames.laplacian()).solve,
        max_steps=1000,
        each_step=quiet,
    )
    assert descent.converged
    assert len(tried) > 50
    assert np.isfinite(tried).all()


def quiet(step: int, near: float) -> None:
    """Nobody watches."""
