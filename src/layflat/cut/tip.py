"""What the blade's tip does when its pivot follows a program.

The pivot P runs along straight segments. The tip trails at the knife offset L behind it and
moves only along the blade, so that the lag b between the direction of travel and the blade's
heading obeys db/ds = -sin(b)/L on a segment, with the solution tan(b/2) = tan(b0/2) exp(-s/L)
(the tractrix; Dunbar, Bosman, Nooij, Mathematics Magazine 74 (2001) 273-287). That is exact,
so that the only error here is the spacing of the points that are returned. While the knife is
up the blade keeps its heading: the segments of all strokes follow each other without a gap.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from layflat.base import FloatArray, IntArray, frozen
from layflat.cut.reader import Stroke

_RESTS_AFTER = 9.0
"""Knife offsets after which a lag has decayed by exp(-9) and the tip runs straight."""

_STRAIGHT_STEP_MM = 0.25
"""The spacing of points where the tip runs straight: finer than any film that matters."""

_CHORD_MM = 0.002
"""How far chords between widely spaced points may lie from the tip's way."""

_OPPOSITE = 1e300
"""The tangent of a right angle, for a blade that is pushed instead of drawn."""


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


def _half_lags(
    directions: FloatArray, lengths: FloatArray, heading_rad: float, offset_mm: float
) -> FloatArray:
    """(n,) float64: tan(b/2) at the start of each segment.

    At a joint the lag grows by the turn: the tangents add as those of angles do.
    """
    turns = np.tan(0.5 * np.diff(directions, prepend=heading_rad))
    found = []
    left = 0.0
    for turn, decay in zip(turns.tolist(), np.exp(-lengths / offset_mm).tolist(), strict=True):
        rest = 1.0 - turn * left
        lag = (turn + left) / rest if rest else _OPPOSITE
        found.append(lag)
        left = lag * decay
    return np.array(found, dtype=np.float64)


def _distances_along(
    lengths: FloatArray, half_lags: FloatArray, *, offset_mm: float, step_mm: float
) -> tuple[FloatArray, IntArray]:
    """Distances along segments at which the tip is given, and the segment of each.

    They lie close while the blade turns. The tip's curvature is sin(lag)/L and shrinks along the
    segment. Where it is so small at first that chords of the wider spacing stay as close to the
    tip's way as wanted, these are enough.
    """
    settling = np.minimum(lengths, _RESTS_AFTER * offset_mm)
    lag = 2.0 * np.arctan(half_lags)
    swing = np.where(np.cos(lag) > 0.0, np.abs(np.sin(lag)), 1.0)
    gentle = swing * _STRAIGHT_STEP_MM**2 <= 8.0 * _CHORD_MM * offset_mm
    step = np.where(gentle, max(step_mm, _STRAIGHT_STEP_MM), step_mm)
    near = np.maximum(1.0, np.ceil(settling / step))
    left = lengths - settling
    far = np.ceil(left / _STRAIGHT_STEP_MM)
    counts = (near + far).astype(np.int64)
    segment = np.repeat(np.arange(len(lengths)), counts)
    number = np.arange(1, len(segment) + 1) - np.repeat(np.cumsum(counts) - counts, counts)
    near_step, far_step = settling / near, left / np.maximum(1.0, far)
    beyond = np.maximum(0.0, number - near[segment])
    along = (number - beyond) * near_step[segment] + beyond * far_step[segment]
    return along, segment


def _trailed(
    pivots_mm: Sequence[FloatArray], *, heading_rad: float, offset_mm: float, step_mm: float
) -> tuple[list[FloatArray], list[float]]:
    """The tip's path along each of some polylines, one after the other, and the last headings."""
    counts = [len(pivot) for pivot in pivots_mm]
    pivot = np.concatenate(pivots_mm)
    steps = np.diff(pivot, axis=0)
    lengths = np.hypot(steps[:, 0], steps[:, 1])
    stroke = np.repeat(np.arange(len(counts)), counts)
    cut = (lengths > 0.0) & (stroke[1:] == stroke[:-1])
    starts, steps, lengths, stroke = pivot[:-1][cut], steps[cut], lengths[cut], stroke[:-1][cut]
    directions = np.arctan2(steps[:, 1], steps[:, 0])
    half_lags = _half_lags(directions, lengths, heading_rad, offset_mm)
    lasts = directions - 2.0 * np.arctan(half_lags * np.exp(-lengths / offset_mm))
    along, segment = _distances_along(lengths, half_lags, offset_mm=offset_mm, step_mm=step_mm)
    blade = directions[segment] - 2.0 * np.arctan(half_lags[segment] * np.exp(-along / offset_mm))
    unit = steps / lengths[:, None]
    tips = starts[segment] + along[:, None] * unit[segment]
    tips -= offset_mm * np.column_stack((np.cos(blade), np.sin(blade)))
    # Every path begins where the tip comes to stand when the knife is lowered.
    ends = np.searchsorted(stroke, np.arange(len(counts)), "right")
    headings = np.concatenate(([heading_rad], lasts))[ends]
    lowered = np.concatenate(([heading_rad], headings[:-1]))
    firsts = pivot[np.cumsum(counts) - counts]
    firsts = firsts - offset_mm * np.column_stack((np.cos(lowered), np.sin(lowered)))
    parts = np.split(tips, np.searchsorted(segment, ends[:-1]))
    paths = [np.vstack((first, part)) for first, part in zip(firsts, parts, strict=True)]
    return paths, headings.tolist()


def tip_along(
    pivot_mm: FloatArray, *, heading_rad: float, knife_offset_mm: float, step_mm: float
) -> tuple[FloatArray, float]:
    """The tip's path and last heading while the pivot runs along one polyline, knife down.

    Args:
        pivot_mm: (k, 2) float64, k >= 1.
        heading_rad: the blade's heading at the start.
        knife_offset_mm: above 0.
        step_mm: the greatest spacing of points while the blade turns more than a little; above 0.
    """
    pivot = np.asarray(pivot_mm, dtype=np.float64)
    paths, headings = _trailed(
        [pivot], heading_rad=heading_rad, offset_mm=knife_offset_mm, step_mm=step_mm
    )
    return paths[0], headings[0]


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
    downs = [index for index, stroke in enumerate(strokes) if stroke.down]
    if not downs:
        return TipPath(cuts=(), strokes=(), headings_rad=())
    paths, headings = _trailed(
        [strokes[index].points_mm for index in downs],
        heading_rad=heading_rad,
        offset_mm=knife_offset_mm,
        step_mm=step_mm,
    )
    return TipPath(
        cuts=tuple(frozen(path) for path in paths),
        strokes=tuple(downs),
        headings_rad=tuple(headings),
    )
