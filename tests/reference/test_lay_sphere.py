"""Laid pieces against closed forms and an independent minimisation.

Sources, beside the checks:
  [MF]  C. Majidi, R. S. Fearing, Adhesion of an elastic plate to a sphere, Proc. R. Soc. A 464
        (2008) 1309-1317: the thin disc on a sphere at small slope. The closed forms were derived
        anew (equilibrium and compatibility satisfied symbolically); the paper was seen as an
        abstract only.
  [SP]  scipy.optimize.minimize (L-BFGS-B): a general minimiser, given the energy as a formula on
        the exact sphere, with its own strain measure by singular values.
"""

import numpy as np
import pytest
from scipy.optimize import minimize
from shapely import Polygon, box

from film.shapes import cap, film_of
from layflat.base import FloatArray
from layflat.fit.lay import lay
from layflat.fit.lay_energy import Balance
from layflat.fit.lay_start import Placement
from layflat.surface import Mesh

RADIUS = 1000.0
NU = 0.45
FILM = film_of(poisson_ratio=NU)


def circle(radius: float, count: int = 200) -> Polygon:
    angle = 2 * np.pi * np.arange(count) / count
    return Polygon(np.column_stack((radius * np.cos(angle), radius * np.sin(angle))))


def on_top(mesh: Mesh) -> Placement:
    top = mesh.vertices_mm[mesh.vertices_mm[:, 2].argmax()]
    return Placement([0, 0], [1, 0], top, [1, 0, 0])


@pytest.mark.parametrize("balance", list(Balance))
@pytest.mark.parametrize("slope", [0.1, 0.2])
def test_a_disc_on_a_sphere_is_strained_as_the_plate_equations_say(
    slope: float, balance: Balance
) -> None:
    a = slope * RADIUS
    mesh = cap(30, angle=1.3 * slope, radius=RADIUS)
    laid = lay(circle(a), mesh, FILM, start=on_top(mesh), balance=balance)
    assert laid.converged
    unit = a**2 / RADIUS**2
    flat = laid.flat.points_mm
    r = np.linalg.norm(flat, axis=1)
    u = np.linalg.norm(laid.flat.mesh.vertices_mm[:, :2], axis=1) - r
    # [MF] displacement u = r [(1 - nu) a² - (3 - nu) r²] / 16 R²; at the edge -a³ / 8 R².
    closed = r * ((1 - NU) * a**2 - (3 - NU) * r**2) / (16 * RADIUS**2)
    assert np.abs(u - closed).max() < 0.02 * a * unit / 8
    edge = laid.loops[0]
    assert u[edge].mean() == pytest.approx(-a * unit / 8, rel=0.01)
    # [MF] both strains, everywhere.
    squared = (np.linalg.norm(flat[laid.flat.mesh.faces].mean(axis=1), axis=1) / a) ** 2
    radial = unit * ((1 - squared) - NU * (1 - 3 * squared)) / 16
    hoop = unit * ((1 - 3 * squared) - NU * (1 - squared)) / 16
    assert np.abs(laid.flat.strain.greatest - 1 - radial).mean() < 0.035 * unit / 8
    assert np.abs(laid.flat.strain.least - 1 - hoop).mean() < 0.035 * unit / 8
    # [MF] U = pi E h a^6 / 384 R^4, in mJ for N/mm² and mm.
    stiffness = FILM.youngs_modulus_mpa * FILM.thickness_um * 1e-3
    energy = np.pi * stiffness * a**6 / (384 * RADIUS**4)
    assert laid.flat.energy_mj == pytest.approx(energy, rel=0.02)


def test_it_comes_nearer_to_the_closed_form_with_every_halving() -> None:
    a, places, energies = 0.1 * RADIUS, [], []
    stiffness = FILM.youngs_modulus_mpa * FILM.thickness_um * 1e-3
    for rings in (8, 16, 32):
        mesh = cap(rings, angle=0.13, radius=RADIUS)
        laid = lay(circle(a, 12 * rings), mesh, FILM, start=on_top(mesh))
        r = np.linalg.norm(laid.flat.points_mm, axis=1)
        u = np.linalg.norm(laid.flat.mesh.vertices_mm[:, :2], axis=1) - r
        closed = r * ((1 - NU) * a**2 - (3 - NU) * r**2) / (16 * RADIUS**2)
        places.append(np.abs(u - closed).max() * 8 * RADIUS**2 / a**3)
        energies.append(laid.flat.energy_mj * 384 * RADIUS**4 / (np.pi * stiffness * a**6) - 1)
    # [MF] places and energy; second order in the triangles' sides, down to the slope's own error.
    assert places[2] < 0.5 * places[1] < 0.25 * places[0]
    assert energies[2] < 0.4 * energies[1] < 0.16 * energies[0]
    assert places[2] < 0.004
    assert 0.0 < energies[2] < 0.01


def test_the_edge_of_a_deep_disc_is_where_the_exact_geometry_puts_it() -> None:
    # Edge hoop strain over -a² / 8R² at a/R = 0.2, Hencky's law, nu = 0.45: 1.0033, from an
    # axisymmetric boundary value problem solved to 1e-9 (computed for these tests).
    mesh = cap(48, angle=0.26, radius=RADIUS)
    laid = lay(circle(200.0, 576), mesh, FILM, start=on_top(mesh), balance=Balance.FILM)
    edge = laid.loops[0]
    hoop = np.linalg.norm(laid.flat.mesh.vertices_mm[edge, :2], axis=1).mean() / 200.0 - 1
    assert hoop / -0.005 == pytest.approx(1.0033, abs=5e-4)


def test_a_rectangle_is_where_an_independent_minimiser_puts_it() -> None:
    piece = box(-200, -120, 200, 120)
    mesh = cap(40, angle=0.33, radius=RADIUS)
    laid = lay(piece, mesh, FILM, start=on_top(mesh), spacing_mm=60.0, balance=Balance.FILM)
    flat, faces = laid.flat.points_mm, laid.flat.mesh.faces
    corners = flat[faces]
    sides = np.swapaxes(corners[:, 1:] - corners[:, :1], 1, 2)
    areas = 0.5 * np.linalg.det(sides)
    inverse = np.linalg.inv(sides)

    def on_sphere(values: FloatArray) -> FloatArray:
        # Azimuthal equidistant places: any smooth places would do.
        plane = values.reshape(-1, 2)
        r = np.linalg.norm(plane, axis=1) / RADIUS
        return RADIUS * np.column_stack((plane / RADIUS * np.sinc(r / np.pi)[:, None], np.cos(r)))

    def per_triangle(values: FloatArray) -> FloatArray:
        space = on_sphere(values)[faces]
        maps = np.swapaxes(space[:, 1:] - space[:, :1], 1, 2) @ inverse
        e = np.log(np.linalg.svd(maps, compute_uv=False))
        return areas * (e[:, 0] ** 2 + e[:, 1] ** 2 + 2 * NU * e[:, 0] * e[:, 1]) / 2

    start = flat.reshape(-1)
    found = minimize(
        lambda values: per_triangle(values).sum(),
        start,
        method="L-BFGS-B",
        options={"maxiter": 1000, "maxfun": 10**6, "ftol": 1e-13, "gtol": 1e-7},
    )
    theirs, ours = on_sphere(found.x), laid.flat.mesh.vertices_mm
    gaps = [np.linalg.norm(p[:, None] - p[None], axis=2) for p in (theirs, ours)]
    # On a sphere the film has no place of its own as a whole; the distances within it do.
    assert np.abs(gaps[0] - gaps[1]).max() < 0.05
    assert np.abs(gaps[0] - np.linalg.norm(flat[:, None] - flat[None], axis=2)).max() > 1.0
