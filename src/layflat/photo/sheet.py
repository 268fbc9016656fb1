"""The frame that is printed: boards of black squares and markers, one on each sheet.

A board is a chessboard whose white squares carry markers of OpenCV's dictionary of 4 × 4 bits
(`DICT_4X4_250`): the markers say which sheet and which square it is, the squares' corners are what
is measured, since a corner between two black squares can be found finer than a marker's. The
layout is that of OpenCV's own `CharucoBoard`, y turned up; a test compares them.
"""

from functools import cache

import numpy as np

from layflat.base import FloatArray
from layflat.photo.records import Frame, PhotoError, Sheet

SQUARES = (10, 4)
"""Squares of a board along and across."""
SQUARE_MM = 25.0
MARKER_MM = 18.5
MARKERS = SQUARES[0] * SQUARES[1] // 2
"""Markers on a sheet."""
MOST_SHEETS = 12
RULER_MM = 200.0
"""The printed ruler along a sheet, from the middle of its first line to that of its last."""
RULER_ACROSS_MM = 80.0
"""The printed ruler across."""
MARGIN_MM = 10.0
"""White paper between the board and the upper edge of the sheet."""
MEASURE_AT_MM = (125.0, 105.0)
"""The cross from which a tape measures to other sheets: over the middle of the board."""
A4_MM = (297.0, 210.0)
LETTER_MM = (279.4, 215.9)


def board_sheet(number: int) -> Sheet:
    """The sheet with this number, from 1 to `MOST_SHEETS`.

    Raises:
        PhotoError: there is no sheet with that number.
    """
    if not 1 <= number <= MOST_SHEETS:
        raise PhotoError(f"There is no sheet {number}; sheets go from 1 to {MOST_SHEETS}.")
    wide, high = SQUARES[0] * SQUARE_MM, SQUARES[1] * SQUARE_MM
    half = 0.5 * MARKER_MM
    square = np.array([(-half, half), (half, half), (half, -half), (-half, -half)])
    markers = {}
    for place, (row, column) in enumerate(white_squares()):
        middle = (np.array([column, -row]) + np.array([0.5, -0.5])) * SQUARE_MM + (0.0, high)
        markers[MARKERS * (number - 1) + place] = middle + square
    across, along = np.meshgrid(
        high - SQUARE_MM * np.arange(1, SQUARES[1]),
        SQUARE_MM * np.arange(1, SQUARES[0]),
        indexing="ij",
    )
    side = 0.5 * (A4_MM[0] - wide)
    below = MARGIN_MM + high - max(A4_MM[1], LETTER_MM[1])
    return Sheet(
        number=number,
        markers=markers,
        corners_mm=np.column_stack((along.ravel(), across.ravel())),
        board_mm=(wide, high),
        paper_mm=(-side, below, wide + side, high + MARGIN_MM),
    )


def white_squares() -> list[tuple[int, int]]:
    """Rows (from the top) and columns of the squares with markers, in the markers' order."""
    return [
        (row, column)
        for row in range(SQUARES[1])
        for column in range(SQUARES[0])
        if (row + column) % 2 == 1
    ]


@cache
def printed_frame(sheets: int = MOST_SHEETS) -> Frame:
    """The frame of the first *sheets* sheets.

    Raises:
        PhotoError: there are not so many sheets, or none.
    """
    if not 1 <= sheets <= MOST_SHEETS:
        raise PhotoError(f"A frame has 1 to {MOST_SHEETS} sheets, not {sheets}.")
    return Frame(sheets=tuple(board_sheet(number) for number in range(1, sheets + 1)))


def black_cells(number: int) -> list[tuple[float, float, float, float]]:
    """What is black on a board: x least, y least, width and height in mm, y up.

    Neighbouring modules of a marker are joined along its rows, so that no hairline shows.
    """
    import cv2

    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_250)
    sheet = board_sheet(number)
    high = sheet.board_mm[1]
    white = set(white_squares())
    cells = [
        (column * SQUARE_MM, high - (row + 1) * SQUARE_MM, SQUARE_MM, SQUARE_MM)
        for row in range(SQUARES[1])
        for column in range(SQUARES[0])
        if (row, column) not in white
    ]
    side = dictionary.markerSize + 2
    module = MARKER_MM / side
    for marker, corners in sheet.markers.items():
        black = cv2.aruco.generateImageMarker(dictionary, marker, side, borderBits=1) < 128
        left, top = corners[0]
        for row in range(side):
            edges = np.flatnonzero(np.diff(np.concatenate(([False], black[row], [False]))))
            cells += [
                (left + start * module, top - (row + 1) * module, (end - start) * module, module)
                for start, end in edges.reshape(-1, 2).tolist()
            ]
    return [tuple(float(value) for value in cell) for cell in cells]  # type: ignore[misc]


def black_loops(number: int) -> list[FloatArray]:
    """The same as closed loops (4, 2) in mm, counter-clockwise."""
    return [
        np.array([(x, y), (x + w, y), (x + w, y + h), (x, y + h)])
        for x, y, w, h in black_cells(number)
    ]
