"""Left and right: exact images, dents of known depth, noise, moved bodies, other meshes."""

from dataclasses import replace

import numpy as np
import pytest

from film.shapes import car_like, car_like_height, film_of, graph, moved
from layflat.base import FloatArray, SettingError
from layflat.film import flatten, strain_of
from layflat.fit import Pair, compare_pair, shared_flat, shared_pattern
from layflat.pattern import EdgeFinish, Finish, from_flat, pattern_area_mm2
from layflat.surface import Mesh, Region, whole_region

PANEL = car_like()
MIRROR = np.array([1.0, -1.0, 1.0])
SHIFT = np.array([120.0, -900.0, 40.0])


def region(mesh: Mesh) -> Region:
    return whole_region(mesh, name="The panel")


def image(mesh: Mesh = PANEL, *, by: FloatArray | float = 0.0) -> Mesh:
    """The panel on the other side, some of it moved."""
    return Mesh((mesh.vertices_mm + by) * MIRROR + SHIFT, mesh.faces[:, ::-1])


def dent(*, depth_mm: float, at: tuple[float, float], radius_mm: float) -> FloatArray:
    """A dent straight down, cos² in the distance from its middle."""
    x, y, _ = PANEL.vertices_mm.T
    away = np.minimum(np.hypot(x - at[0], y - at[1]) / radius_mm, 1.0)
    return np.outer(-depth_mm * np.cos(0.5 * np.pi * away) ** 2, (0.0, 0.0, 1.0))


def pair(right: Mesh, left: Mesh = PANEL, **options: float) -> Pair:
    return compare_pair(region(left), region(right), **options)  # type: ignore[arg-type]


def test_an_exact_image_differs_by_nothing() -> None:
    found = pair(image())
    assert found.surface.greatest_mm < 1e-9
    assert found.outline.greatest_mm < 1e-9
    assert found.shared
    assert "share one pattern" in found.sentence
    normal = found.mirroring.normal
    assert np.abs(normal) == pytest.approx([0, 1, 0], abs=1e-9)
    assert found.mirroring.offset_mm * normal[1] == pytest.approx(-450.0, abs=1e-6)
    assert found.mirroring.twist < 1e-6
    # The image was moved along its plane as well.
    assert found.mirroring.glide_mm(np.zeros(3)) == pytest.approx(np.hypot(120, 40), abs=1e-6)


@pytest.mark.parametrize("seed", [1, 2])
def test_where_the_panels_stand_does_not_matter(seed: int) -> None:
    found = pair(moved(image(), seed=seed), moved(PANEL, seed=seed + 10))
    assert found.surface.greatest_mm < 1e-9
    assert found.outline.greatest_mm < 1e-9


def test_the_order_does_not_matter() -> None:
    right = image(by=dent(depth_mm=3.0, at=(200.0, 100.0), radius_mm=160.0))
    one, other = pair(right), pair(PANEL, right)
    assert one.surface.greatest_mm == pytest.approx(other.surface.greatest_mm, abs=1e-6)
    assert one.surface.rms_mm == pytest.approx(other.surface.rms_mm, abs=1e-6)
    assert one.outline.greatest_mm == pytest.approx(other.outline.greatest_mm, abs=1e-6)
    back = other.mirroring.of(one.mirroring.of(PANEL.vertices_mm))
    assert np.abs(back - PANEL.vertices_mm).max() < 1e-4


@pytest.mark.parametrize("depth_mm", [3.0, -3.0])
def test_a_dent_is_found_with_its_depth_its_place_and_its_size(depth_mm: float) -> None:
    fine = car_like(80, 64)
    x, y, _ = fine.vertices_mm.T
    away = np.minimum(np.hypot(x - 210.0, y - 120.0) / 150.0, 1.0)
    push = np.outer(-depth_mm * np.cos(0.5 * np.pi * away) ** 2, (0.0, 0.0, 1.0))
    found = pair(image(fine, by=push), fine)
    middle = int(np.argmin(np.hypot(x - 210.0, y - 120.0)))
    # The dent goes straight down; off a sloping panel it measures less, by the slope's cosine.
    across = found.surface.greatest_mm
    assert 0.93 * abs(depth_mm) < across <= abs(depth_mm) * 1.005
    place = fine.vertices_mm[middle] * MIRROR + SHIFT
    assert np.linalg.norm(found.surface.where_mm - place) < 30.0
    worst = int(np.abs(found.stands_out_mm).argmax())
    assert np.sign(found.stands_out_mm[worst]) == -np.sign(depth_mm)
    # cos² falls to a quarter (0.75 of 3 mm) at two thirds of the radius.
    assert found.beyond_mm2 == pytest.approx(np.pi * 100.0**2, rel=0.12)
    assert found.outline.greatest_mm < 0.02
    assert not found.shared
    assert "need a pattern each: their surfaces differ by" in found.sentence
    x, y, z = found.surface.where_mm
    assert f"({x:.0f}, {y:.0f}, {z:.0f}) mm on" in found.sentence


def test_an_outline_that_is_cut_otherwise_is_found() -> None:
    edge = PANEL.vertices_mm[:, 0] > 699.0
    longer = np.outer(np.where(edge, 4.0, 0.0), (1.0, 0.0, 0.0))
    found = pair(image(by=longer))
    assert found.outline.greatest_mm == pytest.approx(4.0, abs=0.6)
    assert found.outline.where_mm[0] > 600.0
    assert not found.shared
    assert "outlines differ" in found.sentence or "surfaces differ" in found.sentence


def test_noise_gives_its_own_size_and_no_dent() -> None:
    noise = np.random.default_rng(4).normal(0.0, 0.1, (len(PANEL.vertices_mm), 3))
    found = pair(image(by=noise))
    assert found.surface.rms_mm == pytest.approx(0.1, rel=0.35)
    assert found.shared
    assert found.mirroring.twist < 1e-3


def test_another_mesh_of_the_same_surface_is_the_same_panel() -> None:
    sizes = {"width": 1400.0, "depth": 1100.0}
    one = graph(car_like_height, across=90, along=75, **sizes)
    other = graph(car_like_height, across=101, along=83, **sizes)
    found = pair(image(other), one)
    # What chords of 15 mm cut off the creases: 15² / 8 times their curvature, 50 / 60² per mm.
    assert found.surface.greatest_mm < 15**2 / 8 * 50 / 60**2 + 0.1
    assert found.surface.rms_mm < 0.1
    assert found.shared


def test_a_panel_that_is_no_image_is_told_apart() -> None:
    same_hand = Mesh(PANEL.vertices_mm + SHIFT, PANEL.faces)
    found = pair(same_hand)
    assert not found.shared
    assert found.surface.greatest_mm > 3.0


def test_a_panel_that_is_its_own_image_is_mirrored_in_the_body_s_plane() -> None:
    def dome(x: FloatArray, y: FloatArray) -> FloatArray:
        return -(x**2) / 900.0 - y**2 / 700.0

    cap = graph(dome, width=300.0, depth=200.0, across=24, along=20)
    left = Mesh(cap.vertices_mm + np.array([0.0, 900.0, 0.0]), cap.faces)
    found = pair(Mesh(left.vertices_mm * MIRROR, left.faces[:, ::-1]), left)
    assert np.abs(found.mirroring.normal) == pytest.approx([0, 1, 0], abs=1e-7)
    assert found.mirroring.glide_mm(left.vertices_mm[0]) < 1e-4


def test_openings_on_one_side_only_are_told() -> None:
    # Both triangles of each cell go together, or the rim would touch itself.
    cells = PANEL.vertices_mm[PANEL.faces].mean(axis=1).reshape(2, -1, 3).mean(axis=0)
    keep = np.tile(np.abs(cells[:, :2]).max(axis=1) > 150.0, 2)
    holed = Mesh(PANEL.vertices_mm, PANEL.faces[keep])
    found = compare_pair(region(_used(holed)), region(image()))
    assert not found.shared
    assert "more openings" in found.sentence


def _used(mesh: Mesh) -> Mesh:
    used, faces = np.unique(mesh.faces, return_inverse=True)
    return Mesh(mesh.vertices_mm[used], faces.reshape(-1, 3))


@pytest.mark.parametrize("tolerance_mm", [0.0, -1.0, float("nan"), 50.0])
def test_a_tolerance_that_makes_no_sense_is_refused(tolerance_mm: float) -> None:
    with pytest.raises(SettingError, match="tolerance for left and right"):
        pair(image(), tolerance_mm=tolerance_mm)


def test_the_shared_pattern_fits_the_other_side() -> None:
    small = car_like(14, 12)
    film = film_of()
    left, right = region(small), region(image(small))
    flat = flatten(small, film)
    found = compare_pair(left, right)
    other = shared_flat(flat, found.mirroring)
    # On the right mesh itself: same film, same strain, every triangle the right way round.
    on_right = replace(other, mesh=right.mesh)
    assert np.abs(other.mesh.vertices_mm - right.mesh.vertices_mm).max() < 1e-8
    assert other.inverted_triangles == 0
    strain = strain_of(right.mesh, on_right.points_mm)
    assert np.allclose(strain.greatest, flat.strain.greatest, atol=1e-9)
    turned = np.abs(np.sum(strain.direction * other.strain.direction, axis=1))
    apart = flat.strain.greatest - flat.strain.least > 1e-4
    assert turned[apart] == pytest.approx(1.0, abs=1e-6)
    made = from_flat(flat, left, name="left", finishes=lambda _: EdgeFinish(Finish.FLUSH))
    mirrored = shared_pattern(made.pattern, name="right")
    assert mirrored.name == "right"
    assert pattern_area_mm2(mirrored) == pytest.approx(pattern_area_mm2(made.pattern), rel=1e-12)
    own = from_flat(on_right, right, name="right", finishes=lambda _: EdgeFinish(Finish.FLUSH))
    assert pattern_area_mm2(own.pattern) == pytest.approx(pattern_area_mm2(mirrored), rel=1e-4)
