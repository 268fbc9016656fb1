"""The same panel on another car: against scipy's Procrustes, found again, and carried over."""

import numpy as np
import pytest
from scipy.spatial import procrustes
from scipy.spatial.transform import Rotation

from layflat.base import InputError
from layflat.pattern import place
from layflat.revise import Known, aligned, propose, start_from
from layflat.revise.align import rigid
from revise.panel import outline_of, panel

LANDMARKS = {"a": (0.0, 0.0), "b": (600.0, 0.0), "c": (0.0, 400.0), "d": (200.0, 200.0)}


def test_the_rigid_fit_is_that_of_scipy() -> None:
    # scipy.spatial.transform.Rotation.align_vectors; scipy.spatial.procrustes scales too, and is
    # met where the size is the same, so that its disparity is the square of the rest.
    rng = np.random.default_rng(5)
    source = rng.normal(size=(30, 2)) * 100
    turn, move = rigid(source, source @ np.array([[0.8, 0.6], [-0.6, 0.8]]) + 5.0, np.ones(30))
    assert np.allclose(source @ turn.T + move, source @ np.array([[0.8, 0.6], [-0.6, 0.8]]) + 5.0)
    target = source @ np.array([[0.8, 0.6], [-0.6, 0.8]]) + rng.normal(size=(30, 2))
    weights = rng.uniform(0.1, 2.0, 30)
    turn, move = rigid(source, target, weights)
    share = (weights / weights.sum())[:, None]
    one, two = (np.column_stack((p - (share * p).sum(0), np.zeros(30))) for p in (source, target))
    peer, _ = Rotation.align_vectors(two, one, weights=weights)
    assert np.allclose(turn, peer.as_matrix()[:2, :2], atol=1e-9)
    even, shift = rigid(source, target, np.ones(30))
    _, _, disparity = procrustes(target, source)
    left = target - (source @ even.T + shift)
    size = np.sum((target - target.mean(0)) ** 2)
    assert np.sum(left**2) / size == pytest.approx(disparity, rel=0.02)


def test_a_mirror_image_is_not_taken_for_a_turn() -> None:
    rng = np.random.default_rng(6)
    source = rng.normal(size=(20, 2))
    turn, _ = rigid(source, source * (-1.0, 1.0), np.ones(20))
    assert np.linalg.det(turn) == pytest.approx(1.0)


@pytest.mark.parametrize("mirrored", [False, True])
def test_a_turned_and_moved_panel_is_found_again(mirrored: bool) -> None:
    moved = place(panel(), turn_deg=137.0, x_mm=250.0, y_mm=-90.0, mirrored=mirrored)
    found = aligned(panel(), moved, mirrored=mirrored)
    assert found.turn_deg == pytest.approx(137.0, abs=1e-3)
    assert (found.x_mm, found.y_mm) == pytest.approx((250.0, -90.0), abs=1e-2)
    assert found.most_mm < 0.01
    assert len(found.misfit_mm) == len(found.stations_mm)


def test_the_nearest_is_proposed_first_with_its_misfit() -> None:
    # A turn that both can share would hide who is larger: 3 % are 18 mm on 600.
    template = place(panel(size=1.03), turn_deg=20.0)
    known = [Known("small", panel(size=0.9)), Known("same", panel(), LANDMARKS)]
    first, *others = propose(template, known, may_mirror=True)
    assert first.known.name == "same"
    assert not first.alignment.mirrored
    assert 1.0 < first.alignment.rms_mm < 9.0
    assert (first.alignment.misfit_mm < 0.5).mean() > 0.8
    assert [each.alignment.rms_mm for each in others] == sorted(
        each.alignment.rms_mm for each in others
    )
    assert "misses by" in first.sentence()
    with pytest.raises(InputError, match="no known pattern"):
        propose(template, [])


def test_a_start_lies_on_its_landmarks_and_keeps_straight_lines_and_circles() -> None:
    base = panel()
    other = panel(size=1.02)
    (proposal,) = propose(other, [Known("known", base, LANDMARKS)], landmarks=LANDMARKS)
    goals = {
        name: (1.02 * x, 1.02 * y + (3.0 if name == "d" else 0.0))
        for name, (x, y) in LANDMARKS.items()
    }
    started = start_from(proposal, goals)
    corners = started.pattern.outline.points_mm[started.pattern.outline_corners]
    for corner, name in zip(corners, "abc", strict=True):
        assert corner == pytest.approx(goals[name], abs=1e-6)
    assert len(outline_of(started.pattern).straights) == 3
    assert (started.pattern.cut_outs[0].bulges == base.cut_outs[0].bulges).all()
    assert "a start only" in started.said[0]
    few = start_from(proposal, {"a": (0.0, 0.0)})
    assert "not deformed" in few.said[0]
    assert few.pattern.name == base.name


def test_a_landmark_that_is_no_place_is_refused() -> None:
    with pytest.raises(InputError, match="not finite"):
        aligned(panel(), panel(), landmarks={"a": (np.nan, 0)}, template_landmarks=LANDMARKS)
