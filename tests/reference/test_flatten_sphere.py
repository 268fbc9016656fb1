"""The elastic disc on a sphere, and maps of a spherical cap, against closed forms.

Sources, beside the checks:
  [MF]  C. Majidi, R. S. Fearing, Adhesion of an elastic plate to a sphere, Proc. R. Soc. A 464
        (2008) 1309-1317: the thin disc on a sphere at small slope. The closed forms were derived
        anew (equilibrium and compatibility satisfied symbolically); the paper was seen as an
        abstract only.
  [GD]  G. M. Grason, B. Davidovitch, PNAS 110 (2013) 12893-12898: the compression-free limit.
  [Mi]  J. Milnor, A Problem in Cartography, Amer. Math. Monthly 76 (1969) 1101-1112: least
        distortion of maps of a cap (theorem from memory, numbers computed).
  [Sn]  J. P. Snyder, Map Projections: A Working Manual, USGS Prof. Paper 1395 (1987): the
        stereographic and the azimuthal equidistant projection of the sphere.
"""

import numpy as np
import pytest

from film.shapes import cap, disc, film_of
from layflat.base import FloatArray
from layflat.film import Flat, flatten, strain_of
from layflat.film.descent import descend
from layflat.film.energy import FlatEnergy, HenckyLaw
from layflat.film.factor import PinnedFactor
from layflat.film.flatten import start_shape
from layflat.film.frames import frames_of_mesh
from layflat.film.sheet import sheet_loops
from layflat.film.start import closed_disc, conformal_start
from layflat.surface import Mesh

RADIUS = 1000.0
RINGS = 24


def radial_profile(flat: Flat) -> tuple[float, FloatArray, FloatArray, FloatArray]:
    """Flat radius a of the rim, and (r/a)², radial and hoop strain for each triangle.

    On a cap the film is stretched most along the meridian, so that the greater principal strain
    is the radial one.
    """
    rim = sheet_loops(flat.mesh)[0]
    a = float(np.linalg.norm(flat.points_mm[rim], axis=1).mean())
    middle = flat.points_mm[flat.mesh.faces].mean(axis=1)
    squared = (np.linalg.norm(middle, axis=1) / a) ** 2
    return a, squared, flat.strain.greatest - 1, flat.strain.least - 1


def displacement(flat: Flat) -> tuple[FloatArray, FloatArray]:
    """(n,) flat radius r of each vertex, and how far laying moves it away from the axis."""
    r = np.linalg.norm(flat.points_mm, axis=1)
    return r, np.linalg.norm(flat.mesh.vertices_mm[:, :2], axis=1) - r


def at_centre_and_rim(squared: FloatArray, strain: FloatArray) -> tuple[float, float]:
    """A smooth fit through the triangles, read at the centre and at the very rim."""
    fit = np.polynomial.Polynomial.fit(squared, strain, 3)
    return float(fit(0.0)), float(fit(1.0))


@pytest.mark.parametrize("poisson_ratio", [0.0, 0.45])
@pytest.mark.parametrize("slope", [0.1, 0.2, 0.3])
def test_strains_of_the_disc_on_a_sphere(slope: float, poisson_ratio: float) -> None:
    """[MF] centre (1 - nu) a²/16R²; rim hoop -a²/8R², rim radial nu a²/8R²: within 2 %."""
    nu = poisson_ratio
    flat = flatten(cap(RINGS, angle=slope, radius=RADIUS), film_of(poisson_ratio=nu))
    a, squared, radial, hoop = radial_profile(flat)
    unit = (a / RADIUS) ** 2 / 16.0
    centre_radial, rim_radial = at_centre_and_rim(squared, radial)
    centre_hoop, rim_hoop = at_centre_and_rim(squared, hoop)
    tolerance = 0.02 * 2 * unit
    assert centre_radial == pytest.approx((1 - nu) * unit, rel=0.02)
    assert centre_hoop == pytest.approx((1 - nu) * unit, rel=0.02)
    assert rim_hoop == pytest.approx(-2 * unit, rel=0.02)
    assert rim_radial == pytest.approx(2 * nu * unit, abs=tolerance)
    # The length of the rim itself says the same without any triangle.
    assert np.sin(slope) * RADIUS / a - 1 == pytest.approx(-2 * unit, rel=0.02)
    # And in between, vertex by vertex: u = r ((1 - nu) a² - (3 - nu) r²) / 16R².
    r, u = displacement(flat)
    closed = r * ((1 - nu) - (3 - nu) * (r / a) ** 2) * unit
    assert np.allclose(u, closed, atol=tolerance * a)


@pytest.mark.parametrize("poisson_ratio", [0.0, 0.45])
def test_energy_of_the_disc_on_a_sphere(poisson_ratio: float) -> None:
    """[MF] U = pi E h a^6 / (384 R^4), without nu: within 2 %."""
    film = film_of(poisson_ratio=poisson_ratio)
    flat = flatten(cap(RINGS, angle=0.1, radius=RADIUS), film)
    a = radial_profile(flat)[0]
    stiffness = film.youngs_modulus_mpa * film.thickness_um * 1e-3
    assert flat.energy_mj == pytest.approx(np.pi * stiffness * a**6 / (384 * RADIUS**4), rel=0.02)


@pytest.mark.parametrize("curvatures", [(1, -1), (2, 0.5), (1.5, -0.4), (1, 1)])
def test_quadratic_panels_feel_their_gaussian_curvature_only(
    curvatures: tuple[float, float],
) -> None:
    """[MF] with K for 1/R²: mean rim strain -K a²/8, centre (1 - nu) K a²/16; signs flip.

    For z = (k1 x² + k2 y²)/2 the equations of Föppl and von Kármán hold the curvatures only in
    K = k1 k2.
    """
    a, nu = 60.0, 0.45
    k1, k2 = (k / RADIUS for k in curvatures)
    flat_disc = disc(20, radius=a)
    x, y = flat_disc.vertices_mm[:, 0], flat_disc.vertices_mm[:, 1]
    mesh = Mesh(np.column_stack((x, y, (k1 * x**2 + k2 * y**2) / 2)), flat_disc.faces)
    flat = flatten(mesh, film_of(poisson_ratio=nu))
    rim = sheet_loops(mesh)[0]

    def length(points: FloatArray) -> float:
        return float(np.linalg.norm(np.roll(points, -1, axis=0) - points, axis=1).sum())

    rim_strain = length(mesh.vertices_mm[rim]) / length(flat.points_mm[rim]) - 1
    assert rim_strain == pytest.approx(-k1 * k2 * a**2 / 8, rel=0.02)
    inner = np.linalg.norm(flat.points_mm[mesh.faces].mean(axis=1), axis=1) < 0.15 * a
    centre = (flat.strain.greatest[inner] + flat.strain.least[inner]).mean() / 2 - 1
    # Averaged over r < 0.15 a the closed form is 2 % below its centre value.
    assert centre == pytest.approx((1 - nu) * k1 * k2 * a**2 / 16, rel=0.05)


def test_strong_aversion_keeps_the_rim_and_stretches_the_inside() -> None:
    """The limit of strong aversion: no compression anywhere.

    Derived from the equations of [MF] with the constraint u >= 0 (hoop strain not negative):
    u = (3 - nu)(a² r - r³)/16R², so that the rim keeps its length, the centre is stretched by
    (3 - nu) a²/16R² and the rim radially by (1 + nu) a²/8R². The constraint acts at the rim
    alone, where the radial stress (1 + nu) E a²/8R² / (1 - nu²) presses against it.
    """
    nu = 0.3
    flat = flatten(
        cap(16, angle=0.1, radius=RADIUS), film_of(poisson_ratio=nu), finger_aversion=3000.0
    )
    a, squared, radial, _ = radial_profile(flat)
    unit = (a / RADIUS) ** 2 / 16.0
    assert flat.converged
    r, u = displacement(flat)
    largest = (3 - nu) * unit * a * 2 / np.sqrt(27)
    assert np.allclose(u, (3 - nu) * unit * r * (1 - (r / a) ** 2), atol=0.05 * largest)
    centre, rim = at_centre_and_rim(squared, radial)
    assert centre == pytest.approx((3 - nu) * unit, rel=0.03)
    assert rim == pytest.approx(2 * (1 + nu) * unit, rel=0.05)


def test_freely_wrinkling_film_keeps_its_meridians() -> None:
    """[GD] without rim tension the whole disc wrinkles and meridians keep their length.

    Compression at no cost is an aversion towards 0 (nu = 0, where the two strains decouple).
    The map is then the azimuthal equidistant one [Sn], which by [Mi] is the least distorted of
    all: ln(max/min) = ln(t / sin t).
    """
    angle = np.radians(30.0)
    mesh = cap(16, angle=angle, radius=RADIUS)
    frames = frames_of_mesh(mesh)
    energy = FlatEnergy(frames, HenckyLaw(0.0, 1e-4))
    precondition = PinnedFactor(frames.laplacian()).solve
    descent = descend(
        energy,
        start_shape(mesh, energy, sheet_loops(mesh), precondition),
        precondition,
        max_steps=3000,
        each_step=quiet,
    )
    points = descent.points - descent.points[0]
    from_pole = np.arccos(mesh.vertices_mm[:, 2] / RADIUS) * RADIUS
    assert np.allclose(np.abs(points), from_pole, rtol=0.005)
    strain = strain_of(mesh, np.column_stack((points.real, points.imag)))
    spread = np.log(strain.greatest.max() / strain.least.min())
    assert spread == pytest.approx(0.0461176, rel=0.05)


@pytest.mark.parametrize(("degrees", "least"), [(30, 0.0461176), (60, 0.1899586)])
@pytest.mark.parametrize("aversion", [1.0, 10.0])
def test_no_flattening_of_a_cap_beats_the_least_distortion(
    degrees: float, least: float, aversion: float
) -> None:
    """[Mi] ln(max/min scale) of any map of a cap is at least ln(t / sin t)."""
    mesh = cap(RINGS, angle=np.radians(degrees), radius=RADIUS)
    strain = flatten(mesh, film_of(), finger_aversion=aversion).strain
    assert np.log(strain.greatest.max() / strain.least.min()) >= least * 0.98


@pytest.mark.parametrize(("degrees", "spread"), [(30, 0.0693365), (60, 0.2876821)])
def test_conformal_start_of_a_cap_is_stereographic(degrees: float, spread: float) -> None:
    """[Sn] radius 2 R tan(t/2), scale sec²(t/2); [Mi] the least spread of any conformal map."""
    angle = np.radians(degrees)
    mesh = cap(RINGS, angle=angle, radius=RADIUS)
    points = conformal_start(closed_disc(mesh, sheet_loops(mesh)))
    points = points - points[0]
    colatitude = np.arccos(np.clip(mesh.vertices_mm[:, 2] / RADIUS, -1, 1))
    law = np.tan(colatitude / 2) / np.tan(angle / 2)
    rim = np.abs(points[sheet_loops(mesh)[0]]).mean()
    assert np.allclose(np.abs(points) / rim, law, atol=0.002)
    strain = strain_of(mesh, np.column_stack((points.real, points.imag)))
    assert np.log(strain.greatest / strain.least).max() < 0.02  # it keeps angles
    scale = np.sqrt(strain.greatest * strain.least)
    assert np.log(scale.max() / scale.min()) == pytest.approx(spread, rel=0.06)
    # Constant scale along the rim is what sets this conformal map apart.
    sides = np.abs(np.roll(points[sheet_loops(mesh)[0]], -1) - points[sheet_loops(mesh)[0]])
    assert np.ptp(sides) < 0.002 * sides.mean()


def quiet(step: int, near: float) -> None:
    """Nobody watches."""
