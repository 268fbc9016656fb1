"""Sheets in a picture: which markers are seen, whose they are, where corners should be."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from layflat.base import FloatArray
from layflat.photo.plane_map import through
from layflat.photo.records import Frame, Mask, Sheet

_SMALLEST = 0.008
"""The least perimeter of a marker that is looked for, as a share of the picture's long side."""
_FIRST_WINDOWS = (23, 23, 10)
_ALL_WINDOWS = (7, 59, 13)
"""Widths in pixels of the windows in which light is judged: least, most, step."""
_LEAST_MARKERS = 3
_NEAR = 0.45
"""How far a marker may lie off a plane without lens, in sides of a marker; a lens bends."""
_NEAR_BENT = 0.15
"""How far off when the lens is allowed for."""
_LEAST_BEND = 16
"""Points from which the bend of a lens can be told from noise."""
_LEAST_STEADY = 10
_STEADY = 0.15
_STEADY_PX = 2.0
"""How far a corner may lie from the sheet through the others."""
_NEAR_PX = 4.0
"""A marker's own corners are read to two or three pixels only, all of them outwards."""


@dataclass(frozen=True, eq=False, kw_only=True)
class SeenSheet:
    """A sheet as a picture shows it.

    Attributes:
        sheet: which one.
        corners_px: (k, 2) float64: where the board's corners should be, to a pixel or two.
        slopes: (k, 2, 2) float64: pixels for each mm along and across the board there.
        markers: how many of its markers were read.
        marker_px: the side of a marker, as the picture shows it.
        copy: whether the picture shows this sheet once already.
    """

    sheet: Sheet
    corners_px: FloatArray
    slopes: FloatArray
    markers: int
    marker_px: float
    copy: bool = False


def find_markers(grey: NDArray[np.uint8], *, thorough: bool) -> list[tuple[int, FloatArray]]:
    """Ids and (4, 2) corners in pixels, clockwise from the top left one as the sheet is read.

    Args:
        grey: (H, W) uint8.
        thorough: look with windows of many widths, which takes three times as long.
    """
    import cv2

    parameters = cv2.aruco.DetectorParameters()
    parameters.minMarkerPerimeterRate = _SMALLEST
    least, most, step = _ALL_WINDOWS if thorough else _FIRST_WINDOWS
    parameters.adaptiveThreshWinSizeMin = least
    parameters.adaptiveThreshWinSizeMax = most
    parameters.adaptiveThreshWinSizeStep = step
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_250)
    found: tuple[Any, ...] = cv2.aruco.ArucoDetector(dictionary, parameters).detectMarkers(grey)
    corners, ids = found[:2]
    if ids is None:
        return []
    return [
        (int(number), np.asarray(each, dtype=np.float64).reshape(4, 2))
        for number, each in zip(np.ravel(ids), corners, strict=True)
    ]


def find_sheets(frame: Frame, markers: list[tuple[int, FloatArray]]) -> list[SeenSheet]:
    """The sheets whose markers lie together as on a board, in the order of their numbers.

    A sheet of which a picture shows two is among them twice, the second as a copy.
    """
    found: list[SeenSheet] = []
    for sheet in frame.sheets:
        mine = [(number, corners) for number, corners in markers if number in sheet.markers]
        copy = False
        while len(mine) >= _LEAST_MARKERS:
            seen, mine = _together(sheet, mine, copy=copy)
            if seen is None:
                break
            if not copy or _apart(seen, found[-1]):
                found.append(seen)
            copy = True
    return found


def _together(
    sheet: Sheet, markers: list[tuple[int, FloatArray]], *, copy: bool
) -> tuple[SeenSheet | None, list[tuple[int, FloatArray]]]:
    """The sheet through the markers that most others go with, and the markers that are left."""
    import cv2

    board = np.stack([sheet.markers[number] for number, _ in markers])
    seen = np.stack([corners for _, corners in markers])
    sides = np.mean(np.hypot(*np.moveaxis(seen - np.roll(seen, 1, axis=1), 2, 0)), axis=1)
    side = float(np.median(sides))
    matrix: Any
    matrix, _ = cv2.findHomography(
        board.reshape(-1, 2), seen.reshape(-1, 2), cv2.RANSAC, max(_NEAR * side, _NEAR_PX)
    )
    if matrix is None:
        return None, []
    near = _misses(through(matrix, board.reshape(-1, 2)), seen) < max(_NEAR * side, _NEAR_PX)
    for _ in range(2):
        if near.sum() < _LEAST_MARKERS:
            return None, []
        matrix, _ = cv2.findHomography(board[near].reshape(-1, 2), seen[near].reshape(-1, 2))
        bend = _bend(matrix, board[near].reshape(-1, 2), seen[near].reshape(-1, 2))
        near = _misses(_bent(matrix, bend, board.reshape(-1, 2)), seen) < max(
            _NEAR_BENT * side, _NEAR_PX
        )
    if near.sum() < _LEAST_MARKERS:
        return None, []
    corners, slopes = _predicted(sheet, matrix, bend)
    result = SeenSheet(
        sheet=sheet,
        corners_px=corners,
        slopes=slopes,
        markers=int(near.sum()),
        marker_px=side,
        copy=copy,
    )
    return result, [marker for marker, used in zip(markers, near, strict=True) if not used]


def steadied(seen: SeenSheet, pixels: FloatArray, good: Mask) -> tuple[SeenSheet, Mask]:
    """The sheet through most of the corners that were found, and which corners lie near it.

    Args:
        seen: the sheet as its markers told.
        pixels: (k, 2) float64: its corners as they were found.
        good: (k,) bool: which of them may be trusted.
    """
    import cv2

    if np.count_nonzero(good) < _LEAST_STEADY:
        return seen, np.zeros(len(good), dtype=np.bool_)
    board = seen.sheet.corners_mm
    limit = max(_STEADY * seen.marker_px, _STEADY_PX)
    matrix: Any
    matrix, _ = cv2.findHomography(board[good], pixels[good], cv2.RANSAC, limit)
    if matrix is None:
        return seen, np.zeros(len(good), dtype=np.bool_)
    near = good & (np.hypot(*(through(matrix, board) - pixels).T) < limit)
    bend = np.zeros((6, 2))
    for _ in range(2):
        if np.count_nonzero(near) < _LEAST_STEADY:
            return seen, np.zeros(len(good), dtype=np.bool_)
        matrix, _ = cv2.findHomography(board[near], pixels[near])
        bend = _bend(matrix, board[near], pixels[near])
        near = good & (np.hypot(*(_bent(matrix, bend, board) - pixels).T) < _STEADY_PX)
    corners, slopes = _predicted(seen.sheet, matrix, bend)
    return replace(seen, corners_px=corners, slopes=slopes), near


def _predicted(sheet: Sheet, matrix: FloatArray, bend: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Where a sheet's corners should be, and pixels for each mm there."""
    step = 0.5
    shifts = np.array([(step, 0.0), (-step, 0.0), (0.0, step), (0.0, -step)])
    around = [_bent(matrix, bend, sheet.corners_mm + shift) for shift in shifts]
    slopes = np.stack((around[0] - around[1], around[2] - around[3]), axis=2) / (2.0 * step)
    return _bent(matrix, bend, sheet.corners_mm), slopes


def _apart(one: SeenSheet, other: SeenSheet) -> bool:
    """Whether two sheets do not lie on each other."""
    distance = np.hypot(*(one.corners_px.mean(axis=0) - other.corners_px.mean(axis=0)))
    wide = other.corners_px.max(axis=0) - other.corners_px.min(axis=0)
    return bool(distance > 0.5 * np.hypot(*wide))


def _misses(predicted: FloatArray, seen: FloatArray) -> FloatArray:
    """(m,) how far the corners of a marker lie off at most."""
    misses = np.linalg.norm(predicted.reshape(seen.shape) - seen, axis=2).max(axis=1)
    return np.asarray(misses, dtype=np.float64)


def _bend(matrix: FloatArray, board: FloatArray, seen: FloatArray) -> FloatArray:
    """(6, 2): what a lens adds to the homography, as a polynomial of second degree.

    Few points tell nothing of it.
    """
    if len(board) < _LEAST_BEND:
        return np.zeros((6, 2))
    bend = np.linalg.lstsq(_powers(board), seen - through(matrix, board), rcond=None)[0]
    return np.asarray(bend, dtype=np.float64)


def _bent(matrix: FloatArray, bend: FloatArray, board: FloatArray) -> FloatArray:
    bent: FloatArray = through(matrix, board) + _powers(board) @ bend
    return bent


def _powers(board: FloatArray) -> FloatArray:
    x, y = 0.01 * board[:, 0], 0.01 * board[:, 1]
    return np.column_stack((np.ones_like(x), x, y, x * x, x * y, y * y))


def mirrored(frame: Frame, grey: NDArray[np.uint8]) -> bool:
    """Whether the picture turned over shows sheets."""
    flipped = np.ascontiguousarray(grey[:, ::-1])
    return bool(find_sheets(frame, find_markers(flipped, thorough=False)))
