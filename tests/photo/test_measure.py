"""From pictures to the plane: accuracy against the renderer's truth, and bad pictures refused."""

from dataclasses import replace
from functools import cache

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from layflat.base import StoppedError
from layflat.photo import MEASURE_AT_MM, PhotoError, Reading, Span, measure, photo_of
from layflat.photo.ground import laid_out
from layflat.photo.measure import Measured
from layflat.photo.readings import scale_of
from layflat.photo.refuse import require_upright
from layflat.photo.solved import on_plane
from photo.flatbed import linear
from photo.framed import around, errors_mm, table
from photo.rendered import Camera, camera, render

Picture = NDArray[np.uint8]
PLACES = around(620.0, 330.0)
SIZE = (1280, 960)


@cache
def shot(side: int) -> tuple[Picture, Camera]:
    """The frame from either side of the table, by one camera."""
    tilt, towards, roll, lens = ((20.0, -90.0, 0.0, "main"), (30.0, 60.0, 20.0, "main"))[side]
    seen_by = camera(
        SIZE, over_mm=(860.0, 560.0), tilt_deg=tilt, towards_deg=towards, roll_deg=roll, lens=lens
    )
    return render(table(PLACES), seen_by, seed=side), seen_by


def measured(*pictures: Picture, **how: object) -> Measured:
    photos = [
        photo_of(np.ascontiguousarray(picture), name=f"picture {number}.jpg")
        for number, picture in enumerate(pictures, start=1)
    ]
    return measure(photos, **how)  # type: ignore[arg-type]


@cache
def one() -> Measured:
    return measured(shot(0)[0])


def without(picture: Picture, seen_by: Camera, *numbers: int) -> Picture:
    """The picture with sheets painted over in the table's colour."""
    changed = picture.copy()
    for number in numbers:
        paper = np.array([(-23.0, -32.0), (273.0, -32.0), (273.0, 112.0), (-23.0, 112.0)])
        seen = seen_by.project(on_plane(PLACES[number - 1], 0.0, paper))
        cv2.fillConvexPoly(changed, np.rint(seen).astype(np.int32), (70, 60, 50))
    return changed


def test_a_picture_gives_the_plane_to_a_small_part_of_its_pixels() -> None:
    found, seen_by = one(), shot(0)[1]
    errors, doubts = errors_mm(found, [seen_by])
    assert found.sheets == (1, 2, 3, 4, 5, 6)
    assert found.plane.mm_per_px > 0.6
    assert np.sqrt(np.mean(errors**2)) < 0.06
    assert np.mean(errors <= 2.45 * np.hypot(doubts, 0.01)) > 0.95  # 95 of 100 in the plane
    assert found.reprojection_px < 0.06
    assert found.tilts_deg[0] == pytest.approx(20.0, abs=1.0)
    assert found.repeat_mm is None
    assert any("No ruler reading" in note for note in found.notes)
    assert found.scale.doubt == found.plane.scale_doubt == 0.003


def test_the_planes_picture_shows_the_boards_true_to_scale() -> None:
    plane = one().plane
    grey = (255 * np.sqrt(plane.grey)).astype(np.uint8)
    codes = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_250)
    board = cv2.aruco.CharucoBoard((10, 4), 25.0, 18.5, codes, np.arange(20))
    corners, ids, _, _ = cv2.aruco.CharucoDetector(board).detectBoard(grey)
    mm = plane.to_mm(corners.reshape(-1, 2).astype(np.float64))
    true = board.getChessboardCorners()[ids.ravel(), :2] * (1.0, -1.0)
    apart = [np.linalg.norm(each[:, None] - each[None], axis=2) for each in (mm, true)]
    assert len(mm) >= 9
    assert np.abs(apart[0] - apart[1]).max() < 0.4  # OpenCV reads them to a tenth of 0.8 mm pixels
    inner = plane.to_px(mm).astype(int)
    assert not plane.seen[inner[:, 1], inner[:, 0]].any()  # a sheet hides the table
    rows, columns = plane.seen.shape
    assert plane.seen[rows // 2, columns // 2]
    assert plane.grey[rows // 2, columns // 2] > 0.4


def test_two_pictures_are_joined_and_repeat() -> None:
    (first, camera_1), (second, camera_2) = shot(0), shot(1)
    at = np.array([MEASURE_AT_MM])
    apart = on_plane(PLACES[0], 0.0, at) - on_plane(PLACES[1], 0.0, at)
    readings = [Reading(sheet=1, mm=200.0), Reading(sheet=2, mm=80.0, across=True)]
    spans = [Span(first=1, second=2, mm=float(np.hypot(*apart[0])))]
    both = measured(first, second, readings=readings, spans=spans)
    errors, _ = errors_mm(both, [camera_1, camera_2])
    assert np.sqrt(np.mean(errors**2)) < 0.06
    assert both.repeat_mm is not None
    assert both.repeat_mm < 0.15
    assert both.notes == ()
    assert both.scale.scale == pytest.approx(1.0, abs=2e-4)
    assert both.scale.doubt < 0.001
    # What stands 5 mm up is seen where the renderer's cameras have it.
    for view, picture, seen_by in zip(
        both.views, (first, second), (camera_1, camera_2), strict=True
    ):
        flat = np.array([[-90.0, 40.0, 0.0], [120.0, -70.0, 0.0], [10.0, 95.0, 0.0]])
        low, high = (
            both.ground.from_picture(view.picture, seen_by.project(flat + np.array([0.0, 0.0, up])))
            for up in (0.0, 5.0)
        )
        np.testing.assert_allclose(view.leans_at(low), (high - low) / 5.0, atol=0.006)
        column, row = np.rint(seen_by.project(flat)[0]).astype(int)
        assert view.sees(low[None]).all()
        assert view.light_at(low[None])[0, 0] == pytest.approx(
            linear(picture)[row, column], abs=0.05
        )
        assert (view.doubt_at(low) < 0.1).all()
    with pytest.raises(PhotoError, match=r"picture 2\.jpg shows none of the sheets"):
        measured(without(first, camera_1, 4, 5, 6), without(second, camera_2, 1, 2, 3))


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda p: p[:, ::-1], "is mirrored"),
        (lambda p: (0.03 * p).astype(np.uint8), "too dark"),
        (lambda p: np.clip(8.0 * p + 60.0, 0, 255).astype(np.uint8), "overexposed"),
        (lambda p: np.full_like(p, 120), "hardly any difference"),
        (lambda p: cv2.GaussianBlur(p, (0, 0), 4.0), "is blurred"),
        (lambda p: cv2.filter2D(p, -1, np.full((1, 15), 1 / 15)), "is blurred"),
        (lambda p: cv2.resize(p, (1300, 1000))[400:, 200:], "only 1100 × 600 pixels"),
        (lambda p: np.pad(p, ((480, 480), (640, 640), (0, 0)), "edge")[::2, ::2], "too small"),
        (lambda p: without(p, shot(0)[1], 1, 2, 3, 4, 5, 6), "shows no sheet of the frame"),
        (lambda p: without(p, shot(0)[1], 2, 3, 4, 5, 6), "shows sheet 1 only"),
        (lambda p: np.vstack((p[:, :700], p[:, :700])), "more than once"),
    ],
)  # fmt: skip
def test_bad_pictures_are_refused_and_the_reason_is_told(spoil: object, words: str) -> None:
    with pytest.raises(PhotoError, match=words) as caught:
        measured(spoil(shot(0)[0]))  # type: ignore[operator]
    assert str(caught.value).endswith(".")


def test_a_picture_from_the_side_is_refused() -> None:
    solved = one().ground.solved
    require_upright(solved)
    for tilt_deg in (39.0, 45.0):
        # Straight down is half a turn about an axis in the table; tilted, about one beside it.
        turn = np.array([np.radians(180.0 - tilt_deg), 0.0, 0.0])
        tilted = replace(solved, poses=np.concatenate((turn, solved.poses[0, 3:]))[None])
        if tilt_deg < 42.0:
            require_upright(tilted)
            continue
        with pytest.raises(PhotoError, match="taken from the side, 45°"):
            require_upright(tilted)


def test_rulers_tell_the_scale_or_that_they_cannot() -> None:
    cases = (
        ([194.1], "scaled to fit the page"),
        ([200.1, 198.2], "contradict each other"),
        ([7.87], "in millimetres"),
        ([float("nan")], "in millimetres"),
    )
    for lengths, words in cases:
        readings = [Reading(sheet=number + 1, mm=mm) for number, mm in enumerate(lengths)]
        with pytest.raises(PhotoError, match=words):
            scale_of(one().ground.solved, readings, ())
    agreeing = [Reading(sheet=number, mm=mm) for number, mm in ((1, 194.1), (2, 193.9), (5, 194.0))]
    solved = one().ground.solved
    found = scale_of(solved, agreeing, ())
    assert found.scale == pytest.approx(0.97, abs=1e-4)
    assert any("97.00 %" in note for note in found.notes)
    # The plane shrinks with the scale.
    sizes = [np.ptp(laid_out(solved, scale=each).hull_mm, axis=0) for each in (0.97, 1.0)]
    assert sizes[0] / sizes[1] == pytest.approx(0.97, abs=1e-3)
    with pytest.raises(PhotoError, match="names sheet 9"):
        scale_of(solved, (), [Span(first=1, second=9, mm=700.0)])


def test_none_too_many_and_a_stop() -> None:
    with pytest.raises(PhotoError, match="0 pictures"):
        measure([])
    photo = photo_of(shot(0)[0], name="it")
    with pytest.raises(PhotoError, match="13 pictures"):
        measure([photo] * 13)

    def stop(step: str, fraction: float) -> None:
        raise StoppedError

    with pytest.raises(StoppedError):
        measure([photo], progress=stop)
