"""Landmarks: crosses, dots and small squares that were drawn beside or inside the line.

A blob of ink by itself, 2.5 to 25 mm across, is told by its shape: two strokes that cross, a filled
disc, or a square (filled or drawn round). Its middle is found to a small part of a pixel: of a
cross where the two strokes' middle lines meet, of a dot and of a square the middle of the ink.
"""

import numpy as np
from scipy.spatial import KDTree

from layflat.base import FloatArray, counted
from layflat.photo.records import Landmark, LandmarkKind, Mask, Plane
from layflat.photo.working import Working

MOST_MM = 25.0
_LEAST_MM = 2.5
_DOT_MM, _SQUARE_MM = 12.0, 14.0
_INK_SHARE = 0.5
_APART_MM = 3.0
_STEP_MM = 0.2
_FLOOR_MM = 0.04
_SLIM = 0.35


def find_landmarks(
    plane: Plane, picture: Working, lines_mm: list[FloatArray], *, contrast: float
) -> tuple[list[Landmark], list[str]]:
    """The landmarks of a picture, and notes on blobs that are none.

    Args:
        plane, picture: the picture, whole and for the search.
        lines_mm: (n, 2) points of lines that are no landmarks; what touches them is none.
        contrast: the share of light that the pen takes away.
    """
    import cv2

    # Ink broader than the search's lines evens out with its surroundings; tone does not.
    broad = _broad_ink(picture)
    ink = ((broad > _INK_SHARE * contrast) & picture.counts).astype(np.uint8)
    count, labels, stats, middles = cv2.connectedComponentsWithStats(ink, connectivity=8)
    tree = KDTree(np.vstack(lines_mm)) if lines_mm else None
    found: list[Landmark] = []
    unknown = 0
    for number in range(1, count):
        x, y, w, h, area = (int(v) for v in stats[number])
        across = picture.cell_mm * np.array([w, h])
        if not (across.max() >= _LEAST_MM and across.max() <= MOST_MM and area >= 4):
            continue
        middle = picture.to_mm(middles[number][None])[0]
        rows, columns = np.nonzero(labels[y : y + h, x : x + w] == number)
        places = picture.to_mm(np.column_stack((columns + x, rows + y)).astype(np.float64))
        if tree is not None and float(np.min(tree.query(places)[0])) < _APART_MM:
            continue
        landmark = landmark_at(plane, middle, float(across.max()))
        if landmark is None:
            unknown += 1
        else:
            found.append(landmark)
    notes = []
    if unknown:
        are, were = ("is", "was") if unknown == 1 else ("are", "were")
        notes.append(
            f"{counted(unknown, 'spot')} of ink {are} neither a cross, a dot nor a square, and "
            f"{were} left out."
        )
    return found, notes


def _broad_ink(picture: Working) -> FloatArray:
    import cv2

    reach = 2 * round(0.5 * MOST_MM / picture.cell_mm) + 1
    grey = np.exp(picture.tone)
    kernel = np.ones((reach, reach), dtype=np.uint8)
    kind = cv2.MORPH_OPEN if picture.light_ink else cv2.MORPH_CLOSE
    around = cv2.morphologyEx(grey, kind, kernel)
    low, high = np.minimum(grey, around), np.maximum(grey, around)
    broad: FloatArray = np.asarray(1.0 - low / high, dtype=np.float64)
    return broad


def landmark_at(plane: Plane, middle: FloatArray, across: float) -> Landmark | None:
    """What a spot about a place (2,), so many mm across, is, from the plane's own pixels.

    The spot may be darker or lighter than what is round it; None if it is no landmark.
    """
    half = 0.5 * across + 4.0
    axis = np.arange(-half, half + 0.5 * _STEP_MM, _STEP_MM)
    x, y = np.meshgrid(axis, axis)
    light = plane.light_at(middle + np.stack((x, y), axis=2))
    rim = np.maximum(np.abs(x), np.abs(y)) > half - 1.5
    sheet = float(np.median(light[rim]))
    noise = float(np.std(light[rim]))
    lack = (sheet - light) / max(sheet, 1e-6)
    lack *= np.sign(lack.flat[np.argmax(np.abs(lack))])
    top = float(np.percentile(lack, 99.5))
    share = np.clip(lack / max(top, 1e-6), 0.0, 1.0)
    share = np.where(rim, 0.0, share)
    if not (top > 0.1 and noise < 0.2 * top * sheet):
        return None
    kind, at, doubt = _shape(x, y, share)
    if kind is None:
        return None
    where = middle + at
    # As many grains of noise as the ink's rim has pixels.
    grains = max(8.0, across / plane.mm_per_px)
    light_doubt = plane.mm_per_px * noise / (top * sheet) / np.sqrt(grains) * 3.0
    plane_doubt = float(plane.doubt_at(where[None])[0])
    return Landmark(
        kind=kind,
        at_mm=where,
        across_mm=across,
        doubt_mm=float(np.sqrt(light_doubt**2 + plane_doubt**2 + doubt**2 + _FLOOR_MM**2)),
    )


def _shape(
    x: FloatArray, y: FloatArray, share: FloatArray
) -> tuple[LandmarkKind | None, FloatArray, float]:
    """What ink on a grid is, where its middle lies from the grid's, and the doubt of that."""
    import cv2

    ink = share > 0.5
    none = (None, np.zeros(2), 0.0)
    if ink.sum() * _STEP_MM**2 < 2.0:
        return none
    filled = _filled(ink)
    outer, _ = cv2.findContours(filled.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    contour = max(outer, key=cv2.contourArea)
    (_, (side_one, side_two), _) = cv2.minAreaRect(contour)
    side_one, side_two = _STEP_MM * (side_one + 1.0), _STEP_MM * (side_two + 1.0)
    low, high = sorted((side_one, side_two))
    fill = float(filled.sum()) * _STEP_MM**2 / (low * high)
    hollow = float(ink.sum() / filled.sum())
    weight = np.where(filled, np.maximum(share, ~ink), share * (share > 0.08))
    centre = np.array([np.sum(weight * x), np.sum(weight * y)]) / np.sum(weight)
    round_ = low > 0.85 * high
    if round_ and 0.70 < fill < 0.845 and high <= _DOT_MM and hollow > 0.9:
        return "dot", centre, 0.0
    if round_ and fill >= 0.875 and high <= _SQUARE_MM:
        return "square", centre, 0.0
    if fill < 0.6 and hollow > 0.95:
        crossed = _crossing(x[ink], y[ink], share[ink], centre, high)
        if crossed is not None:
            return "cross", *crossed
    return none


def _filled(ink: Mask) -> Mask:
    from scipy.ndimage import binary_fill_holes

    filled: Mask = binary_fill_holes(ink)
    return filled


def _crossing(
    x: FloatArray, y: FloatArray, weight: FloatArray, centre: FloatArray, across: float
) -> tuple[FloatArray, float] | None:
    """Where two strokes meet, and how far their ink lies from two straight lines."""
    points = np.column_stack((x, y))
    at = centre
    for _ in range(4):
        arm = points - at
        far = np.hypot(*arm.T) > 0.22 * across
        if far.sum() < 20:
            return None
        angle = np.arctan2(arm[far, 1], arm[far, 0])
        # Four arms: the angle's fourfold tells how they are turned if they are square.
        turn = 0.25 * np.angle(np.sum(weight[far] * np.exp(4j * angle)))
        lines = []
        for quarter in (0.0, 0.5 * np.pi):
            off = np.angle(np.exp(2j * (angle - turn - quarter))) / 2.0
            mine = np.abs(off) < np.radians(35.0)
            if mine.sum() < 10:
                return None
            some, w = points[far][mine], weight[far][mine]
            middle = np.average(some, axis=0, weights=w)
            away = some - middle
            squares, axes = np.linalg.eigh((away * w[:, None]).T @ away)
            if squares[0] > _SLIM**2 * squares[1]:
                return None
            side = away @ axes[:, 1]
            if not (side.min() < -0.2 * across and side.max() > 0.2 * across):
                return None
            lines.append((middle, axes[:, 1]))
        (p, d), (q, e) = lines
        matrix = np.column_stack((d, -e))
        if abs(np.linalg.det(matrix)) < 0.8:
            return None
        at = p + np.linalg.solve(matrix, q - p)[0] * d
    if float(np.hypot(*(at - centre))) > 0.2 * across:
        return None
    return at, 0.0
