"""The adjustment: truth found, strays and bad sheets left out, the covariance by Monte Carlo."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from layflat.photo import PhotoError, printed_frame
from layflat.photo.ground import doubt_of, laid_out
from layflat.photo.lens import project
from layflat.photo.measure import rigid
from layflat.photo.refuse import require_fit, require_round
from layflat.photo.sheets_checked import without_bad_sheets
from layflat.photo.solve import solve
from layflat.photo.solved import Sighting, on_plane
from photo.framed import around

SIZE = (4000, 3000)
LENS = np.array([np.log(3000.0), 2010.0, 1490.0, -0.12, 0.05, 0.0005, -0.0004, -0.01])
PLACES = around(1350.0, 850.0, sheets=8)
ASPECT = 0.0008
NOISE_PX = 0.05


def pose(tilt_deg: float, side_deg: float, *, roll_deg: float = 0.0) -> np.ndarray:
    """A camera 1.5 m from the middle of the table, which it looks at."""
    tilt, side, roll = np.radians((tilt_deg, side_deg, roll_deg))
    out = np.array([np.sin(tilt) * np.cos(side), np.sin(tilt) * np.sin(side), np.cos(tilt)])
    right = np.cross(-out, (np.sin(roll), np.cos(roll), 0.0))
    right /= np.linalg.norm(right)
    turn = np.stack((right, np.cross(-out, right), -out))
    return np.concatenate((cv2.Rodrigues(turn)[0].ravel(), -turn @ (1500.0 * out)))


POSES = [pose(20.0, 20.0), pose(32.0, 120.0, roll_deg=10.0), pose(10.0, -60.0, roll_deg=90.0)]


def sighting(number: int, rng: np.random.Generator, places: np.ndarray = PLACES) -> Sighting:
    frame = printed_frame()
    sheets, corners, boards, pixels = [], [], [], []
    for sheet, place in zip(frame.sheets, places, strict=False):
        seen = project(LENS, POSES[number], on_plane(place, ASPECT, sheet.corners_mm))
        inside = np.all((seen > 10) & (seen < np.array(SIZE) - 10), axis=1)
        sheets.append(np.full(inside.sum(), sheet.number))
        corners.append(np.flatnonzero(inside))
        boards.append(sheet.corners_mm[inside])
        pixels.append(seen[inside])
    at = np.vstack(pixels)
    return Sighting(
        name=f"picture {number + 1}", camera="phone", width_px=SIZE[0], height_px=SIZE[1],
        focal_px=2900.0, sheet=np.concatenate(sheets), corner=np.concatenate(corners),
        board_mm=np.vstack(boards), pixels=at + rng.normal(0.0, NOISE_PX, at.shape),
        sigma_px=np.full(len(at), NOISE_PX),
    )  # fmt: skip


GRID = np.column_stack([
    each.ravel() for each in np.meshgrid(np.linspace(-640, 640, 7), np.linspace(-400, 400, 5))
])  # fmt: skip


def placed(solved, picture: int = 0) -> np.ndarray:  # type: ignore[no-untyped-def]
    """Where the solution puts what truly lies on GRID, as one picture shows it."""
    ground = laid_out(solved, scale=1.0)
    return ground.from_picture(picture, project(LENS, POSES[picture], GRID))


def off_mm(solved) -> np.ndarray:  # type: ignore[no-untyped-def]
    found = placed(solved)
    return np.hypot(*(rigid(found, GRID) - GRID).T)


def test_three_pictures_give_lens_sheets_and_printer() -> None:
    rng = np.random.default_rng(1)
    solved = solve([sighting(number, rng) for number in range(3)])
    assert off_mm(solved).max() < 0.05
    assert solved.lenses[0].focal_px == pytest.approx(3000.0, rel=1e-3)
    assert solved.aspect == pytest.approx(ASPECT, abs=2e-4)
    assert solved.reprojection_px() == pytest.approx(NOISE_PX * np.sqrt(2.0), rel=0.1)
    assert solved.variance == pytest.approx(1.0, abs=0.15)


def test_without_notes_of_the_focal_length_the_same_is_found() -> None:
    rng = np.random.default_rng(2)
    solved = solve([replace(sighting(0, rng), focal_px=None)])
    assert off_mm(solved).max() < 0.3
    assert solved.lenses[0].focal_px == pytest.approx(3000.0, rel=0.03)


def test_opencvs_calibration_is_a_second_opinion() -> None:
    """`cv2.calibrateCamera` is told where the sheets lie; the adjustment finds that out."""
    rng = np.random.default_rng(3)
    pictures = [sighting(number, rng) for number in range(3)]
    solved = solve(pictures)
    solid = [
        np.vstack([
            np.append(on_plane(PLACES[sheet - 1], ASPECT, board[None])[0], 0.0)
            for sheet, board in zip(each.sheet, each.board_mm, strict=True)
        ]).astype(np.float32)
        for each in pictures
    ]  # fmt: skip
    start = np.array([(2900.0, 0, 1999.5), (0, 2900.0, 1499.5), (0, 0, 1.0)])
    flags = cv2.CALIB_USE_INTRINSIC_GUESS | cv2.CALIB_FIX_ASPECT_RATIO
    rms, matrix, lens, _, _ = cv2.calibrateCamera(
        solid, [each.pixels.astype(np.float32) for each in pictures], SIZE, start, None, flags=flags
    )
    assert rms == pytest.approx(solved.reprojection_px(), rel=0.05)
    assert solved.lenses[0].focal_px == pytest.approx(matrix[0, 0], rel=1e-3)
    # The bend at the radius of the outer corners, in pixels.
    square = 0.5**2
    theirs, ours = lens.ravel(), solved.lenses[0].values[3:]
    bends = [
        each[0] * square + each[1] * square**2 + each[4] * square**3 for each in (theirs, ours)
    ]
    assert 3000.0 * 0.5 * abs(bends[0] - bends[1]) < 1.0


def test_the_covariance_is_that_of_many_trials() -> None:
    """A. Criminisi, I. Reid and A. Zisserman (1999) check first order by Monte Carlo as well."""
    rng = np.random.default_rng(4)
    runs = [solve([sighting(0, rng)]) for _ in range(12)]
    found = np.stack([rigid(placed(each), GRID) for each in runs])
    ground = laid_out(runs[0], scale=1.0)
    at = ground.from_picture(0, project(LENS, POSES[0], GRID))
    stated = doubt_of(ground, at, np.ones((1, len(at))))
    spread = np.sqrt(np.mean((found - GRID) ** 2, axis=0)).max(axis=1)
    assert np.median(spread / stated) == pytest.approx(1.0, abs=0.3)
    inside = np.abs(found - GRID) <= 1.96 * stated[None, :, None]
    assert inside.mean() > 0.93


def test_stray_corners_do_no_harm() -> None:
    rng = np.random.default_rng(5)
    one = sighting(0, rng)
    stray = rng.choice(len(one.pixels), 12, replace=False)
    one.pixels[stray] += rng.normal(0.0, 3.0, (12, 2)) + 2.0
    solved = solve([one])
    assert len(solved.sightings[0].pixels) <= len(one.pixels) - 11
    assert off_mm(solved).max() < 0.3


def test_a_sheet_of_another_size_and_a_moved_one_are_left_out_by_name() -> None:
    rng = np.random.default_rng(6)
    one = sighting(0, rng)
    one = one.kept(one.sheet <= 5)
    mine = one.sheet == 3
    fitted = on_plane(PLACES[2], ASPECT, 0.97 * one.board_mm[mine])
    one.pixels[mine] = project(LENS, POSES[0], fitted)
    solved, notes = without_bad_sheets([one], aspect=None)
    assert 3 not in solved.sheets
    assert len(notes) == 1
    assert "Sheet 3 was printed at 97.0 %" in notes[0]
    assert off_mm(solved).max() < 0.4

    moved = PLACES.copy()
    moved[4] += (5.0, 2.0, 0.01)
    pictures = [sighting(0, rng, PLACES[:6]), sighting(1, rng, moved[:6])]
    solved, notes = without_bad_sheets(pictures, aspect=None)
    assert 5 not in solved.sheets
    assert "Sheet 5 was moved" in notes[0]
    assert off_mm(solved).max() < 0.2


def test_frames_that_are_none_are_refused() -> None:
    rng = np.random.default_rng(7)
    one, two = sighting(0, rng), sighting(1, rng)
    with pytest.raises(PhotoError, match="picture 2 shows none of the sheets"):
        solve([one.kept(one.sheet <= 4), two.kept(two.sheet > 4)])
    with pytest.raises(PhotoError, match="show 2 sheets"):
        without_bad_sheets([one.kept(one.sheet <= 2)], aspect=None)
    row = np.array([(-450.0, 0.0, 0.0), (-150.0, 0.0, 0.0), (150.0, 0.0, 0.0)])
    with pytest.raises(PhotoError, match="one row"):
        require_round(solve([sighting(0, rng, row)]))
    everything_moved = PLACES + rng.normal(0.0, (4.0, 4.0, 0.02), PLACES.shape)
    solved = solve([one, sighting(1, rng, everything_moved)])
    with pytest.raises(PhotoError, match="moved between them"):
        require_fit(solved, [0.07, 0.07])
    with pytest.raises(PhotoError, match="plain photograph"):
        require_fit(solved, [5.0, 5.0])
