"""The flattening of a measured surface, with a published flat map of it as a second opinion.

Source: the outer (pial) surface of the cerebral cortex of the template fsaverage5, made from
magnetic resonance scans of forty heads, and its flat map: B. Fischl, M. I. Sereno, R. B. H.
Tootell, A. M. Dale, High-resolution intersubject averaging and a coordinate system for the
cortical surface, Human Brain Mapping 8 (1999) 272-284. Both are files of the package nilearn, which
requirements/testdata.txt pins. Nothing on a vehicle is folded half as much.
"""

import numpy as np
import potpourri3d
import pytest

from cortex import gifti
from film.shapes import film_of
from layflat.base import FloatArray, IntArray
from layflat.film import flatten, overlaps, strain_of, stretch_summary
from layflat.surface import Mesh

RADIUS_MM = 40.0


@pytest.fixture(scope="module")
def cortex() -> tuple[FloatArray, IntArray, FloatArray]:
    """Points in mm, triangles that both surfaces have, and the published flat map's points."""
    points, _ = gifti("pial_left.gii.gz")
    flat, faces = gifti("flat_left.gii.gz")
    return points.astype(np.float64), faces.astype(np.int64), flat[:, :2].astype(np.float64)


def piece_round(vertex: int, points: FloatArray, faces: IntArray) -> tuple[Mesh, IntArray]:
    """The triangles within a geodesic radius of *vertex*, and the vertices that they use."""
    near = potpourri3d.MeshHeatMethodDistanceSolver(*compacted(points, faces)[:2]).compute_distance(
        int(np.searchsorted(np.unique(faces), vertex))
    )
    distance = np.full(len(points), np.inf)
    distance[np.unique(faces)] = near
    kept = faces[(distance[faces] < RADIUS_MM).all(axis=1)]
    inside, renumbered, used = compacted(points, kept)
    return Mesh(inside, renumbered), used


def compacted(points: FloatArray, faces: IntArray) -> tuple[FloatArray, IntArray, IntArray]:
    used, renumbered = np.unique(faces, return_inverse=True)
    return points[used], renumbered.reshape(-1, 3), used


@pytest.mark.parametrize("vertex", [100, 500, 1234, 3000])
def test_a_piece_of_cortex(vertex: int, cortex: tuple[FloatArray, IntArray, FloatArray]) -> None:
    points, faces, published = cortex
    mesh, used = piece_round(vertex, points, faces)
    assert 1000 < len(mesh.faces) < 2000
    flat = flatten(mesh, film_of())
    assert flat.converged
    assert flat.steps < 60
    assert flat.inverted_triangles == 0
    assert overlaps(flat) == ()
    # Area is kept on the whole, and most of the surface is laid with moderate stretch.
    assert flat.pattern_area_mm2 == pytest.approx(mesh.area_mm2, rel=0.02)
    summary = stretch_summary(flat)
    assert 0.6 < summary.least_p01 < summary.greatest_p99 < 1.4
    assert flat.energy_mj < energy_of_best_size(mesh, published[used])


def energy_of_best_size(mesh: Mesh, points_mm: FloatArray) -> float:
    """The energy of another flat shape in mJ, at the scale that makes it least."""
    strain = strain_of(mesh, points_mm)
    e1, e2 = np.log(strain.greatest), np.log(strain.least)
    areas = mesh.face_areas_mm2
    # A change of scale by exp(s) lowers both log strains by s: least at their mean.
    mean = float(areas @ (e1 + e2)) / (2 * areas.sum())
    e1, e2 = e1 - mean, e2 - mean
    film = film_of()
    nu = film.poisson_ratio
    stiffness = film.youngs_modulus_mpa * film.thickness_um * 1e-3 / (1 - nu**2)
    return 0.5 * stiffness * float(areas @ (e1**2 + e2**2 + 2 * nu * e1 * e2))
