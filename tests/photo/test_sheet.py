"""The frame that is printed, against OpenCV's own ChArUco boards."""

import cv2
import numpy as np
import pytest

from layflat.photo import MOST_SHEETS, PhotoError, board_sheet, printed_frame
from layflat.photo.sheet import MARKER_MM, MARKERS, SQUARE_MM, SQUARES, black_cells

DICTIONARY = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_250)


def opencv_board(number: int) -> cv2.aruco.CharucoBoard:
    ids = np.arange(MARKERS * (number - 1), MARKERS * number)
    return cv2.aruco.CharucoBoard(SQUARES, SQUARE_MM, MARKER_MM, DICTIONARY, ids)


def upwards(points: np.ndarray, high: float) -> np.ndarray:
    return np.column_stack((points[:, 0], high - points[:, 1]))


@pytest.mark.parametrize("number", [1, 7, MOST_SHEETS])
def test_corners_and_markers_lie_where_opencvs_board_has_them(number: int) -> None:
    sheet, board = board_sheet(number), opencv_board(number)
    high = sheet.board_mm[1]
    assert np.allclose(sheet.corners_mm, upwards(board.getChessboardCorners(), high), atol=1e-4)
    ids = board.getIds().ravel().tolist()
    assert ids == list(sheet.markers)
    for marker, corners in zip(ids, board.getObjPoints(), strict=True):
        assert np.allclose(sheet.markers[marker], upwards(np.asarray(corners), high), atol=1e-4)


def test_black_is_where_opencv_draws_it() -> None:
    drawn = opencv_board(3).generateImage((2400, 960), marginSize=0)  # 9.6 px for each mm
    mine = np.full((960, 2400), 255, dtype=np.uint8)
    for x, y, w, h in black_cells(3):
        rows = slice(round((100 - y - h) * 9.6), round((100 - y) * 9.6))
        mine[rows, round(x * 9.6) : round((x + w) * 9.6)] = 0
    assert np.mean(mine != drawn) < 0.006  # its modules end on whole pixels


def test_every_marker_is_on_one_sheet_only() -> None:
    frame = printed_frame()
    ids = [marker for sheet in frame.sheets for marker in sheet.markers]
    assert len(ids) == len(set(ids)) == MARKERS * MOST_SHEETS <= 250
    assert frame.sheet_of(45) is frame.sheets[2]
    assert frame.sheet_of(249) is None


@pytest.mark.parametrize("count", [0, 13])
def test_there_are_no_other_sheets(count: int) -> None:
    with pytest.raises(PhotoError, match="1 to 12"):
        printed_frame(count)
    with pytest.raises(PhotoError, match="1 to 12"):
        board_sheet(count)
