"""Spots that may be landmarks or holes: which to ask about, and where a hole's edge runs.

A landmark is drawn: a cross, or a dot or a square filled with the pen. A square that is only drawn
round may be the line of a small hole; a filled spot may be a hole through which the table shows.
"""

from collections.abc import Sequence

import numpy as np
from shapely import Point

from layflat.base import FloatArray, counted
from layflat.photo.candidates import Candidate
from layflat.photo.correct import Correction, spot_said
from layflat.photo.follow import Line, line_normals
from layflat.photo.landmarks import MOST_MM
from layflat.photo.profile import Model
from layflat.photo.records import Landmark, PhotoError, Plane

_HOLLOW = 0.25
_LIKE_TABLE = 0.3
_PALER, _DARKER = 0.1, 0.2
"""A spot filled with the pen takes away as much light as its line, or some more."""
_BESIDE_MM = 3.0
_LEAST_LIGHT = 1e-3


def asked(
    landmarks: Sequence[Landmark],
    plane: Plane,
    outline: Line,
    model: Model,
    corrections: Sequence[Correction],
) -> list[Landmark]:
    """The landmarks, those marked that may be holes and of which nobody said what they are.

    Args:
        landmarks: what was found.
        plane: the picture.
        outline: measured, counter-clockwise.
        model: whether it is a pen's line or the sheet's edge.
        corrections: what a person said.
    """
    beyond = outline.at_mm - _BESIDE_MM * line_normals(outline.at_mm, closed=True)
    table = _tone(plane, beyond)
    pen = float(np.median(np.abs(outline.contrast[outline.measured])))
    found = []
    for mark in landmarks:
        said = spot_said(mark.at_mm, corrections)
        is_open = said is None and mark.kind != "cross"
        hole = is_open and _may_be_hole(plane, mark, model, table=table, pen=pen)
        found.append(mark.asked_about() if hole else mark)
    return found


def is_hollow(plane: Plane, mark: Landmark) -> bool:
    """Whether a spot is drawn round, and as light within as the sheet beside it."""
    middle, sheet = _tones(plane, mark)
    return abs(middle - sheet) < _HOLLOW


def _may_be_hole(plane: Plane, mark: Landmark, model: Model, *, table: float, pen: float) -> bool:
    if is_hollow(plane, mark):
        return True
    middle, sheet = _tones(plane, mark)
    if model == "edge":
        return abs(middle - table) < _LIKE_TABLE
    taken = 1.0 - float(np.exp(-abs(middle - sheet)))
    return not pen - _PALER < taken < pen + _DARKER


def _tones(plane: Plane, mark: Landmark) -> tuple[float, float]:
    """A spot's tone in its middle, and that of the sheet round it."""
    middle = _tone(plane, mark.at_mm + _ring(0.6))
    # Farther out than a square's corners.
    return middle, _tone(plane, mark.at_mm + _ring(0.75 * mark.across_mm + 2.0))


def _tone(plane: Plane, points_mm: FloatArray) -> float:
    """The logarithm of the light at most of the points (n, 2)."""
    light = np.maximum(plane.light_at(points_mm[None])[0], _LEAST_LIGHT)
    return float(np.log(np.median(light)))


def _ring(radius_mm: float) -> FloatArray:
    angle = np.linspace(0.0, 2.0 * np.pi, 24, endpoint=False)
    return radius_mm * np.column_stack((np.cos(angle), np.sin(angle)))


def hole_at(mark: Landmark, found: Sequence[Candidate]) -> Candidate:
    """The closed curve round a spot of which a person said that it is a hole.

    Args:
        mark: the spot.
        found: all candidates, the likelier kind first.

    Raises:
        PhotoError: there is none.
    """
    middle = Point(mark.at_mm)
    for candidate in found:
        polygon = candidate.polygon if candidate.chain.closed else None
        if polygon is not None and polygon.length < 4.0 * MOST_MM and polygon.contains(middle):
            return candidate
    x, y = mark.at_mm
    raise PhotoError(
        f"No closed curve can be seen round the hole at ({x:.0f}, {y:.0f}) mm; put points round "
        "it, or take back that it is a hole and cut it by hand."
    ).about(mark.at_mm)


def asked_note(landmarks: Sequence[Landmark]) -> list[str]:
    """A note on spots that may be holes; none where nobody need be asked."""
    count = sum(mark.maybe_hole for mark in landmarks)
    if not count:
        return []
    may = f"{counted(count, 'mark')} may be {'a hole' if count == 1 else 'holes'}"
    return [f"{may}: the ink does not tell; say which, or it stays a mark and is not cut."]
