"""The flange beyond an edge: angle, depth, and whether there is one, on metal that is known."""

import numpy as np
import pytest

from flanged import flanged, stations
from layflat.fit.flange import LEAST_FLANGE_MM, REACH_MM, Beyond, measure_flange
from layflat.surface import prepare

ROUND, HOLLOW = 80.0, -80.0


@pytest.mark.parametrize("radius", [None, ROUND, HOLLOW])
@pytest.mark.parametrize("depth", [4.0, 12.0])
@pytest.mark.parametrize("angle", [30.0, 90.0, 150.0])
def test_a_clean_flange_is_measured_exactly(
    angle: float, depth: float, radius: float | None
) -> None:
    metal = flanged(angle_deg=angle, depth_mm=depth, radius_mm=radius)
    found = measure_flange(metal.mesh, *stations(metal))
    assert set(found.beyond) == {Beyond.FLANGE}
    assert np.degrees(found.angle_rad) == pytest.approx(angle, abs=0.05)
    assert found.depth_mm == pytest.approx(depth, abs=0.02)
    assert found.bend_mm == pytest.approx(0.0, abs=0.02)
    assert found.metal_mm == pytest.approx(depth, abs=0.02)


@pytest.mark.parametrize(("depth", "degrees", "mm"), [(4.0, 5.0, 0.6), (12.0, 2.0, 0.5)])
@pytest.mark.parametrize("radius", [ROUND, HOLLOW])
@pytest.mark.parametrize("angle", [30.0, 90.0, 150.0])
def test_noise_of_a_scan_moves_angle_and_depth_by_little(
    angle: float, radius: float, depth: float, degrees: float, mm: float
) -> None:
    metal = flanged(angle_deg=angle, depth_mm=depth, radius_mm=radius, noise_mm=0.1, seed=4)
    found = measure_flange(metal.mesh, *stations(metal))
    assert set(found.beyond) == {Beyond.FLANGE}
    assert np.abs(np.degrees(found.angle_rad) - angle).max() < degrees
    assert np.abs(found.depth_mm - depth).max() < mm


def test_an_outline_traced_inside_the_bend_finds_it_all_the_same() -> None:
    metal = flanged(angle_deg=90.0, depth_mm=12.0, noise_mm=0.05, seed=1)
    points, along, normals = stations(metal)
    inside = points - 4.0 * np.cross(along, normals)
    found = measure_flange(metal.mesh, inside, along, normals)
    assert found.bend_mm == pytest.approx(4.0, abs=0.3)
    assert found.depth_mm == pytest.approx(12.0, abs=0.3)
    assert found.metal_mm == pytest.approx(16.0, abs=0.3)


@pytest.mark.parametrize("beyond", [2.5, 5.0, 60.0])
def test_metal_that_does_not_turn_is_no_flange_however_far_it_goes(beyond: float) -> None:
    metal = flanged(angle_deg=0.0, depth_mm=beyond, noise_mm=0.1, seed=2)
    found = measure_flange(metal.mesh, *stations(metal))
    assert set(found.beyond) == {Beyond.UNSEEN}
    assert np.isnan(found.angle_rad).all()
    assert found.metal_mm == pytest.approx(min(beyond, REACH_MM), abs=0.4)


def test_a_scan_that_ends_at_the_edge_is_not_metal_that_ends() -> None:
    metal = flanged(angle_deg=90.0, depth_mm=12.0)
    without = metal.without_flange(0.0, 1.0)
    found = measure_flange(without.mesh, *stations(without))
    assert set(found.beyond) == {Beyond.UNSEEN}
    assert found.metal_mm == pytest.approx(0.0, abs=0.02)


def test_where_the_flange_is_cut_away_beside_one_that_is_seen_the_metal_ends() -> None:
    metal = flanged(angle_deg=90.0, depth_mm=12.0, noise_mm=0.03, seed=5)
    notched = metal.without_flange(0.55, 0.8)
    points, along, normals = stations(notched)
    found = measure_flange(notched.mesh, points, along, normals)
    share = (points[:, 0] - points[0, 0]) / np.ptp(points[:, 0])
    words = np.array([str(word) for word in found.beyond])
    assert set(words[share < 0.45]) == {Beyond.FLANGE.value}
    assert set(words[(share > 0.62) & (share < 0.73)]) == {Beyond.ENDS.value}
    assert (found.depth_mm[(share > 0.62) & (share < 0.73)] == 0.0).all()


def test_a_turn_with_no_depth_behind_it_is_metal_that_ends() -> None:
    metal = flanged(angle_deg=90.0, depth_mm=0.8 * LEAST_FLANGE_MM, spacing_mm=0.8)
    found = measure_flange(metal.mesh, *stations(metal))
    assert set(found.beyond) == {Beyond.ENDS}


def test_a_prepared_body_and_another_numbering_give_the_same() -> None:
    metal = flanged(angle_deg=60.0, depth_mm=9.0, noise_mm=0.05, seed=3)
    place = stations(metal)
    found = measure_flange(metal.mesh, *place)
    for body in (prepare(metal.mesh), metal.shuffled(seed=8).mesh):
        again = measure_flange(body, *place)
        assert again.angle_rad == pytest.approx(found.angle_rad, abs=1e-3)
        assert again.depth_mm == pytest.approx(found.depth_mm, abs=1e-3)
