"""A scan put upright: the truth is the turn that the scan was given."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import zoo
from layflat.base import MeshError
from layflat.surface import Corrections, Mesh, align, cut_floor, find_floor, mirror_check, sample
from layflat.surface.plane import Plane, plane_through
from layflat.surface.topology import manifold_fault
from surface.stood import joined, moved, plate, shell, turn

SHELL = shell()
ON_FLOOR = joined(SHELL, plate(7000.0, 4000.0, at=(500.0, -300.0), noise=0.4))
SHIFT = np.array([1200.0, -340.0, 77.0])


@settings(max_examples=3, deadline=None)
@given(seed=st.integers(0, 10**6))
def test_a_turned_scan_on_a_floor_comes_back_upright(seed: int) -> None:
    rotation = turn(seed)
    found = align(moved(ON_FLOOR, rotation, SHIFT))
    # A hundredth of a degree is 0.3 mm over a wheelbase; forward as well as left and up.
    assert np.allclose(found.rotation @ rotation, np.eye(3), atol=2e-4)
    assert (found.floor_from, found.mirror_from, found.front_from) == ("found", "found", "guessed")
    assert found.is_sure
    back = found.to_vehicle(moved(SHELL, rotation, SHIFT).vertices_mm)
    assert np.allclose(back[:, 1:], SHELL.vertices_mm[:, 1:], atol=0.7)
    assert np.allclose(found.from_vehicle(back), moved(SHELL, rotation, SHIFT).vertices_mm)


def test_a_transform_is_rigid_and_its_residuals_are_the_noise() -> None:
    found = align(ON_FLOOR)
    assert np.allclose(found.rotation @ found.rotation.T, np.eye(3), atol=1e-12)
    assert np.linalg.det(found.rotation) == pytest.approx(1.0)
    assert found.floor is not None
    # Linear interpolation between noisy corners leaves half of the variance.
    assert 0.15 < found.floor.rms_mm < 0.45
    assert found.floor.share == pytest.approx(28.0 / (ON_FLOOR.area_mm2 / 1e6), abs=0.01)
    assert found.mirror.share > 0.97
    assert found.lean_deg < 0.01


def test_without_a_floor_the_level_is_guessed_and_not_sure() -> None:
    found = align(moved(SHELL, turn(4), SHIFT))
    assert found.floor is None
    assert found.floor_from == "guessed"
    assert not found.is_sure
    # The middle is found all the same, and up is up by and large.
    assert abs((found.rotation @ turn(4))[1] @ [0, 1, 0]) > 1 - 1e-6
    assert (found.rotation @ turn(4))[2] @ [0, 0, 1] > np.cos(np.radians(15))


def test_what_a_person_picks_goes_before_what_is_found() -> None:
    level = np.array([[0.0, 0.0, 0.0], [1000.0, 0.0, 10.0], [0.0, 1000.0, 0.0]])
    found = align(ON_FLOOR, Corrections(floor_mm=level))
    assert found.floor_from == "picked"
    assert np.degrees(np.arccos(found.rotation[2] @ [0, 0, 1])) == pytest.approx(0.57294, abs=1e-4)
    pair = np.array([[1000.0, -880.0, 500.0], [1000.0, 885.0, 503.0]])
    turned = align(ON_FLOOR, Corrections(pair_mm=pair))
    # Left is now at negative y, so the front is at the other end; the pick is refined.
    assert turned.front_from == "picked"
    assert np.allclose(turned.rotation, np.diag([-1.0, -1.0, 1.0]), atol=3e-4)
    flipped = align(ON_FLOOR, Corrections(flip=True))
    assert np.allclose(flipped.rotation, np.diag([-1.0, -1.0, 1.0]), atol=3e-4)


def test_a_pair_that_is_no_mirror_image_is_taken_as_it_is() -> None:
    pair = np.array([[1500.0, 800.0, 500.0], [900.0, -800.0, 500.0]])
    found = align(ON_FLOOR, Corrections(pair_mm=pair))
    assert found.rotation[1] @ (pair[0] - pair[1]) == pytest.approx(
        np.linalg.norm(pair[0] - pair[1]), rel=1e-3
    )
    assert not found.is_sure


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"floor_mm": np.zeros((3, 3))}, "one line"),
        ({"floor_mm": np.ones((2, 3))}, "Three points"),
        ({"pair_mm": np.zeros((2, 3))}, "less than 100 mm apart"),
        (
            {
                "pair_mm": np.array([[0, 0, 0], [0, 0, 900.0]]),
                "floor_mm": np.array([[0, 0, 0], [900.0, 0, 0], [0, 900.0, 0]]),
            },
            "over each other",
        ),
        ({"floor_mm": np.array([[0, 0, 600.0], [900, 0, 600], [0, 500, 600]])}, "across the veh"),
        ({"floor_mm": np.full((3, 3), np.nan)}, "Three points"),
    ],
)
def test_what_contradicts_itself_is_refused(given: dict[str, np.ndarray], words: str) -> None:
    with pytest.raises(MeshError, match=words):
        align(SHELL, Corrections(**given))


def test_a_roof_is_no_floor() -> None:
    # A box that is open below has its largest plane on top; the rest lies under it.
    top = plate(3000.0, 1600.0, count=15)
    side = moved(
        plate(3000.0, 1200.0, count=15),
        turn(0) * 0 + [[1, 0, 0], [0, 0, -1], [0, 1, 0]],
        np.array([0.0, -800.0, -600.0]),
    )
    assert find_floor(sample(joined(top, side), 4000)) is None
    low = moved(top, np.eye(3), np.array([0.0, 0.0, -1300.0]))
    found = find_floor(sample(joined(top, side, low), 4000))
    assert found is not None
    assert found.plane.normal @ [0, 0, 1] == pytest.approx(1.0)
    assert found.plane.offset_mm == pytest.approx(-1300.0)


def test_the_floor_is_cut_and_what_goes_is_listed() -> None:
    dust = plate(20.0, 20.0, count=3)
    scan = joined(SHELL, plate(6000.0, 3000.0), moved(dust, np.eye(3), np.array([3000.0, 0, 900])))
    cut = cut_floor(scan, Plane(np.array([0.0, 0, 1]), 0.0), within_mm=10.0)
    assert len(cut.mesh.faces) == len(SHELL.faces)
    assert np.array_equal(cut.kept, np.arange(len(SHELL.faces)))
    assert [(item.kind, round(item.area_mm2)) for item in cut.removed] == [
        ("floor", 18_000_000),
        ("dust", 400),
    ]
    assert cut.removed[1].at_mm == (3000.0, 0.0, 900.0)
    assert cut.mesh.area_mm2 + cut.removed_mm2 == pytest.approx(scan.area_mm2)
    # Higher up, triangles go whole: nothing of what is left reaches below.
    high = cut_floor(scan, Plane(np.array([0.0, 0, 1]), 0.0), within_mm=300.0)
    assert high.mesh.vertices_mm[:, 2].min() > 300.0
    assert high.mesh.area_mm2 + high.removed_mm2 == pytest.approx(scan.area_mm2)
    # Without a floor only dust goes.
    assert cut_floor(scan, None, within_mm=0.0).pieces == 1
    with pytest.raises(MeshError, match="choose 0 to 300"):
        cut_floor(scan, None, within_mm=301.0)
    with pytest.raises(MeshError, match="lies all of the scan"):
        cut_floor(plate(500.0, 500.0), Plane(np.array([0.0, 0, 1]), 0.0), within_mm=5.0)


def test_fans_that_the_cut_leaves_at_one_vertex_are_parted() -> None:
    scan = zoo.sheet(5, side_mm=400.0, height=lambda x, y: 100.0 + 0.0 * (x + y))
    low = np.array(scan.vertices_mm)
    # Two places beside the middle, across from each other, reach down to the floor.
    low[[7, 17], 2] = 0.0
    cut = cut_floor(Mesh(low, scan.faces), Plane(np.array([0.0, 0, 1]), 0.0), within_mm=10.0)
    assert manifold_fault(scan.faces[cut.kept]) == "it touches itself at 1 of its vertices"
    assert manifold_fault(cut.mesh.faces) is None
    assert np.array_equal(cut.mesh.vertices_mm[cut.mesh.faces], low[scan.faces[cut.kept]])


def test_a_dent_on_one_side_is_found_by_the_other() -> None:
    middle = Plane(np.array([0.0, 1.0, 0.0]), 0.0)
    even = mirror_check(SHELL, middle)
    assert even.rms_mm < 1e-6
    assert even.share == pytest.approx(1.0, abs=0.02)
    bent = mirror_check(shell(dent_mm=12.0), middle)
    assert 9.0 < abs(bent.worst_mm) < 12.5
    x, _, z = bent.worst_at_mm
    assert abs(x - 300.0) < 120.0
    assert abs(z - 500.0) < 120.0
    # The dented side lies under the other, and that one stands out over it.
    off, side = bent.off_mm, shell(dent_mm=12.0).vertices_mm[:, 1]
    assert np.nanmin(off[side > 100]) < -9.0
    assert np.nanmax(off[side < -100]) > 9.0
    with pytest.raises(MeshError, match="nothing in common"):
        mirror_check(SHELL, Plane(np.array([0.0, 1.0, 0.0]), 5000.0))


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 10**6))
def test_mirroring_twice_is_nothing(seed: int) -> None:
    rng = np.random.default_rng(seed)
    plane, points = Plane(rng.normal(size=3), float(rng.normal())), rng.normal(size=(5, 3))
    assert np.allclose(plane.mirrored(plane.mirrored(points)), points)
    assert np.allclose(plane.heights_mm(plane.mirrored(points)), -plane.heights_mm(points))
    on = points - plane.heights_mm(points)[:, None] * plane.normal
    assert abs(plane_through(on).normal @ plane.normal) == pytest.approx(1.0)


def test_samples_are_spread_by_area() -> None:
    small, large = (
        plate(100.0, 100.0),
        moved(plate(300.0, 100.0), np.eye(3), np.array([0, 900.0, 0])),
    )
    found = sample(joined(small, large), 4000)
    assert (found.points_mm[:, 1] > 400).mean() == pytest.approx(0.75, abs=0.001)
    assert np.array_equal(found.points_mm, sample(joined(small, large), 4000).points_mm)
    with pytest.raises(MeshError, match="no surface"):
        sample(Mesh(np.zeros((0, 3)), np.zeros((0, 3))), 10)
