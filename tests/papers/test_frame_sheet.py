"""The printed frame: its boards are read from the page and its rules are as long as they say."""

import datetime
import io

import cv2
import numpy as np
import pytest
from PIL import Image

from layflat.papers import Head, Paper, frame_document
from layflat.photo import PhotoError, board_sheet

PPI = 160.0


def document(paper: Paper, sheets: int) -> object:
    day = datetime.date(2026, 5, 4)
    head = Head(
        workshop="Lampwick Yard", job="Frame", number="", vehicle="", dated=day, paper=paper
    )
    return frame_document(head, sheets=sheets)


@pytest.mark.parametrize(("paper", "size_mm"), [
    (Paper.A4, (297.0, 210.0)), (Paper.LETTER, (279.4, 215.9)),
])  # fmt: skip
def test_a_page_is_one_board_at_true_size(paper: Paper, size_mm: tuple[float, float]) -> None:
    pages = document(paper, 3).pages(ppi=PPI)  # type: ignore[attr-defined]
    assert len(pages) == 3
    page = np.asarray(Image.open(io.BytesIO(pages[2])).convert("L"))
    assert page.shape[::-1] == tuple(round(each / 25.4 * PPI) for each in size_mm)
    codes = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_250)
    board = cv2.aruco.CharucoBoard((10, 4), 25.0, 18.5, codes, np.arange(40, 60))
    corners, ids, _, _ = cv2.aruco.CharucoDetector(board).detectBoard(page)
    assert len(ids) == 27
    # The page as pixels sets a picture on whole pixels.
    mm = corners.reshape(-1, 2) * 25.4 / PPI
    assert np.ptp(mm[:, 0]) == pytest.approx(200.0, abs=25.4 / PPI)
    assert np.ptp(mm[:, 1]) == pytest.approx(50.0, abs=25.4 / PPI)
    # 10 mm of margin above the board, and as much on the left as on the right.
    assert mm[:, 1].min() == pytest.approx(10.0 + 25.0, abs=0.1)
    assert mm[:, 0].mean() == pytest.approx(0.5 * size_mm[0], abs=0.1)
    assert board_sheet(3).corners_mm.shape == (27, 2)

    # The long rule: its first and last lines reach furthest down, 12.6 mm below the board.
    row = page[round((110.0 + 8.0 + 4.0) / 25.4 * PPI)]
    dark = np.flatnonzero(row[: round(0.85 * len(row))] < 200) * 25.4 / PPI
    assert dark.max() - dark.min() == pytest.approx(200.0, abs=0.3)


def test_there_are_twelve_sheets_at_most() -> None:
    with pytest.raises(PhotoError, match="1 to 12"):
        document(Paper.A4, 13)
