"""What the blade's tip does when its pivot follows a program.

The pivot P runs along straight segments. The tip trails at the knife offset L behind it and
moves only along the blade, so that the lag b between the direction of travel and the blade's
heading obeys db/ds = -sin(b)/L on a segment, with the solution tan(b/2) = tan(b0/2) exp(-s/L)
(the tractrix; Dunbar, Bosman, Nooij, Mathematics Magazine 74 (2001) 273-287). That is exact,
so that the only error here is the spacing of the points that are returned. While the knife is
up the blade keeps its heading.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from layflat.base import FloatArray, frozen
from layflat.cut.reader import Stroke

_RESTS_AFTER = 9.0
"""Knife offsets after which a lag has decayed by exp(-9) and the tip runs straight."""

_STRAIGHT_STEP_MM = 0.25
"""The spacing of points where the tip runs straight: finer than any film that matters."""


@dataclass(frozen=True, eq=False)
class TipPath:
    """The tip's path over a program.

    Attributes:
        cuts: for each stroke with the knife down, (n, 2) float64, the tip's path in mm.
        strokes: (c,) the index of each cut's stroke.
        headings_rad: (c,) float64, the blade's heading at the end of each cut.
    """

    cuts: tuple[FloatArray, ...]
    strokes: tuple[int, ...]
    headings_rad: tuple[float, ...]


def _vertex_headings(
    headings: FloatArray, lengths: FloatArray, heading_rad: float, offset_mm: float
) -> FloatArray:
    """(n + 1,) float64: the blade's heading before the first segment and after each."""
    found = [heading_rad]
    blade = heading_rad
    for direction, decay in zip(
        headings.tolist(), np.exp(-lengths / offset_mm).tolist(), strict=True
    ):
        lag = math.remainder(direction - blade, math.tau)
        blade = direction - 2.0 * math.atan(math.tan(0.5 * lag) * decay)
        found.append(blade)
    return np.array(found, dtype=np.float64)


def _parts(length_mm: float, offset_mm: float, step_mm: float) -> FloatArray:
    """Distances along a segment at which the tip is given: close while the blade turns."""
    settling = min(length_mm, _RESTS_AFTER * offset_mm)
    count = max(1, math.ceil(settling / step_mm))
    near: FloatArray = np.arange(1, count + 1, dtype=np.float64) * (settling / count)
    left = length_mm - settling
    if left <= 0.0:
        return near
    count = math.ceil(left / _STRAIGHT_STEP_MM)
    return np.concatenate((near, settling + np.arange(1, count + 1) * (left / count)))


def tip_along(
    pivot_mm: FloatArray, *, heading_rad: float, knife_offset_mm: float, step_mm: float
) -> tuple[FloatArray, float]:
    """The tip's path and last heading while the pivot runs along one polyline, knife down.

    Args:
        pivot_mm: (k, 2) float64, k >= 1.
        heading_rad: the blade's heading at the start.
        knife_offset_mm: above 0.
        step_mm: the greatest spacing of points while the blade turns; above 0.
    """
    pivot = np.asarray(pivot_mm, dtype=np.float64)
    steps = np.diff(pivot, axis=0)
    lengths = np.hypot(steps[:, 0], steps[:, 1])
    moving = lengths > 0.0
    starts, steps, lengths = pivot[:-1][moving], steps[moving], lengths[moving]
    directions = np.arctan2(steps[:, 1], steps[:, 0])
    blades = _vertex_headings(directions, lengths, heading_rad, knife_offset_mm)
    parts = [_parts(length, knife_offset_mm, step_mm) for length in lengths.tolist()]
    counts = np.array([len(part) for part in parts], dtype=np.int64)
    first = pivot[:1] - knife_offset_mm * np.array([[math.cos(heading_rad), math.sin(heading_rad)]])
    if not parts:
        return first, heading_rad
    along = np.concatenate(parts)
    segment = np.repeat(np.arange(len(lengths)), counts)
    lag = np.remainder(directions - blades[:-1] + np.pi, 2.0 * np.pi) - np.pi
    lag_there = 2.0 * np.arctan(np.tan(0.5 * lag[segment]) * np.exp(-along / knife_offset_mm))
    blade = directions[segment] - lag_there
    unit = steps / lengths[:, None]
    points = starts[segment] + along[:, None] * unit[segment]
    tips = points - knife_offset_mm * np.column_stack((np.cos(blade), np.sin(blade)))
    return np.vstack((first, tips)), float(blades[-1])


def simulate(
    strokes: Sequence[Stroke],
    *,
    knife_offset_mm: float,
    heading_rad: float = 0.0,
    step_mm: float = 0.1,
) -> TipPath:
    """Trail the tip behind the pivot through all strokes.

    Args:
        strokes: from `read_hpgl`.
        knife_offset_mm: how far the tip trails, above 0.
        heading_rad: the blade's heading before the first stroke.
        step_mm: the greatest spacing of tip points while the blade turns; above 0.
    """
    cuts: list[FloatArray] = []
    indices: list[int] = []
    headings: list[float] = []
    heading = heading_rad
    for index, stroke in enumerate(strokes):
        if not stroke.down:
            continue
        path, heading = tip_along(
            stroke.points_mm,
            heading_rad=heading,
            knife_offset_mm=knife_offset_mm,
            step_mm=step_mm,
        )
        cuts.append(frozen(path))
        indices.append(index)
        headings.append(heading)
    return TipPath(cuts=tuple(cuts), strokes=tuple(indices), headings_rad=tuple(headings))
