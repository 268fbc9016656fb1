"""Turns that a piece may take on the roll, and its extents at each."""

import math
from collections.abc import Iterable

import numpy as np
import shapely
from shapely import Polygon

from layflat.base import FloatArray, SettingError

QUARTER_TURNS_DEG = (0.0, 90.0, 180.0, 270.0)
_WORDS: dict[str, tuple[float, ...] | None] = {"quarter": QUARTER_TURNS_DEG, "any": None}


def parse_turns(text: str) -> tuple[float, ...] | None:
    """The allowed turns that *text* names, in degrees counter-clockwise.

    Args:
        text: degrees with commas between ("0", "0,180"), "quarter" for the four quarter
            turns, or "any" for every turn.

    Returns:
        The turns from 0 to below 360, ascending and each once; None for any turn.

    Raises:
        SettingError: *text* is none of these.
    """
    word = text.strip().lower()
    if word in _WORDS:
        return _WORDS[word]
    try:
        turns = [float(part) for part in word.split(",")]
    except ValueError:
        turns = [math.nan]
    if not all(math.isfinite(turn) for turn in turns):
        raise SettingError(
            f"The turns “{text}” cannot be read; give degrees such as 0 or 0,180, "
            "or one of the words quarter and any."
        )
    return normal_turns(turns)


def normal_turns(turns_deg: Iterable[float]) -> tuple[float, ...]:
    """The turns brought to 0 to below 360 degrees, ascending and each once."""
    return tuple(sorted({float(turn) % 360.0 for turn in turns_deg}))


def turn_between(first_deg: float, second_deg: float) -> float:
    """How far the first turn lies from the second, from -180 to below 180 degrees."""
    return (first_deg - second_deg + 180.0) % 360.0 - 180.0


def hull_points(polygon: Polygon) -> FloatArray:
    """(k, 2) float64: the corners of the convex hull, counter-clockwise, none repeated."""
    return shapely.get_coordinates(polygon.convex_hull.normalize())[:-1][::-1]


def extents(points: FloatArray, turns_deg: FloatArray) -> tuple[FloatArray, FloatArray]:
    """How far points reach along and across the roll at each turn, in mm.

    Args:
        points: (k, 2) float64, for example a hull.
        turns_deg: (t,) float64.

    Returns:
        (t,) float64 along x and (t,) float64 along y.
    """
    angles = np.radians(turns_deg)[:, None]
    x, y = points.T
    along = np.cos(angles) * x - np.sin(angles) * y
    across = np.sin(angles) * x + np.cos(angles) * y
    return np.ptp(along, axis=1), np.ptp(across, axis=1)


def flush_turns(points: FloatArray) -> tuple[float, ...]:
    """The turns at which an edge of the hull lies along or across the roll, in degrees.

    The least width of a convex shape over all directions is taken with an edge flush against
    one of the two parallels (H. Freeman and R. Shapira, Determining the minimum-area encasing
    rectangle for an arbitrary closed curve, Comm. ACM 18 (1975) 409-413; from memory).
    """
    edges = np.roll(points, -1, axis=0) - points
    headings = np.degrees(np.arctan2(edges[:, 1], edges[:, 0]))
    return normal_turns(
        round(float(quarter - heading), 9) for heading in headings for quarter in QUARTER_TURNS_DEG
    )
