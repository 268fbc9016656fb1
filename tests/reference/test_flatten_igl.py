"""libigl's scalable locally injective mappings as a second opinion on the flattening.

Source: M. Rabinovich, R. Poranne, D. Panozzo, O. Sorkine-Hornung, Scalable Locally Injective
Mappings, ACM Trans. Graph. 36 (2017), as implemented in libigl (MPL-2.0). Its energy LOG_ARAP is
the sum over triangles of the area on the surface times log² of both singular values: for a film
without Poisson effect and without aversion, ours times 2 (1 - nu²) / E h.
"""

import igl
import numpy as np
import pytest

from film.shapes import cap, car_like, film_of, ring
from layflat.film import flatten, strain_of
from layflat.surface import Mesh


def saddle_with_an_opening() -> Mesh:
    return ring(lambda x, y: x * y / 700, inner=80, outer=300, around=36, across=6)


@pytest.mark.parametrize(
    "mesh",
    [car_like(22, 18), cap(10, angle=1.2, radius=300.0), saddle_with_an_opening()],
    ids=["panel", "cap", "saddle with an opening"],
)
def test_energy_and_shape_agree_with_slim(mesh: Mesh) -> None:
    film = film_of(poisson_ratio=0.0)
    ours = flatten(mesh, film)
    start = ours.points_mm * [1.25, 0.8]  # far from the minimum, nothing inverted
    data = igl.slim_precompute(
        mesh.vertices_mm,
        mesh.faces.astype(np.int32),
        start,
        igl.MappingEnergyType.LOG_ARAP,
        np.zeros(0, np.int32),
        np.zeros((0, 2)),
        0.0,
    )
    points = igl.slim_solve(data, 300)
    strain = strain_of(mesh, points)
    log_squares = np.log(strain.greatest) ** 2 + np.log(strain.least) ** 2
    stiffness = film.youngs_modulus_mpa * film.thickness_um * 1e-3
    energy = 0.5 * stiffness * float(mesh.face_areas_mm2 @ log_squares)
    assert ours.energy_mj <= energy * (1 + 1e-6)
    assert ours.energy_mj == pytest.approx(energy, rel=1e-3)
    assert np.allclose(ours.strain.greatest, strain.greatest, atol=0.003)


def test_areas_agree_with_igl() -> None:
    mesh = car_like()
    flat = flatten(mesh, film_of())
    surface = igl.doublearea(mesh.vertices_mm, mesh.faces).sum() / 2
    assert mesh.area_mm2 == pytest.approx(surface, rel=1e-12)
    pattern = igl.doublearea(flat.points_mm, mesh.faces).sum() / 2
    assert flat.pattern_area_mm2 == pytest.approx(pattern, rel=1e-9)


def test_no_triangle_is_flipped_for_igl() -> None:
    flat = flatten(cap(12, angle=2.4, radius=100.0), film_of())
    assert len(igl.flipped_triangles(flat.points_mm, flat.mesh.faces)) == 0
