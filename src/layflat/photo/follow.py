"""A chain of points measured along its whole length: places at equal steps, each with its doubt."""

from dataclasses import dataclass, replace

import numpy as np

from layflat.base import FloatArray, IntArray
from layflat.photo.link import Chain
from layflat.photo.profile import Model, measure
from layflat.photo.records import Mask, Plane

STEP_MM = 1.0
_NORMAL_STEPS = 2
_PASSES = 2
_LEAST_CONTRAST = 0.3
_MOST_JUMP_MM = 0.6
_HAND_REACH_MM = 1.2
"""Farther than this from what a person put, nothing is taken for the line."""
HAND_DOUBT_MM = 0.5
WEAK_DOUBT_MM = 0.4


@dataclass(frozen=True, eq=False, kw_only=True)
class Line:
    """A line measured at places `STEP_MM` apart, or nearly; all arrays have n rows.

    Attributes:
        at_mm: (n, 2) float64.
        doubt_mm: standard deviation across, by light alone.
        measured: (n,) bool: whether the light told the place; else it lies between its neighbours.
        bridged: (n,) bool: in a gap that was bridged.
        by_hand: (n,) bool: where a person put it.
        misfit: (n,) how badly the light fits a lone line, as a share of its contrast.
        contrast: (n,) share of the light.
        corners: (c,) int64: places that are sharp corners.
        fixed: (n,) bool: corners, and places round a tight bend: no smoothing moves them.
        width_mm: of the pen, the median; of an edge how far its light spreads.
        closed: whether the last place goes on to the first.
    """

    at_mm: FloatArray
    doubt_mm: FloatArray
    measured: Mask
    bridged: Mask
    by_hand: Mask
    misfit: FloatArray
    contrast: FloatArray
    corners: IntArray
    fixed: Mask
    width_mm: float
    closed: bool

    def picked(self, which: IntArray) -> "Line":
        """Some of the places in the order of *which*; corners are forgotten."""
        return replace(
            self,
            **{
                name: getattr(self, name)[which]
                for name in (
                    "at_mm", "doubt_mm", "measured", "bridged", "by_hand", "misfit", "contrast",
                    "fixed",
                )
            },
            corners=np.empty(0, dtype=np.int64),
        )  # fmt: skip


def follow(plane: Plane, chain: Chain, model: Model, *, light_ink: bool = False) -> Line:
    """The line along a chain, measured in the plane's own pixels.

    Args:
        plane: the picture.
        chain: where the line runs; an edge has its lighter side on the left.
        model: line or edge.
        light_ink: whether the line is lighter than the sheet.
    """
    at, bridged, by_hand = _stations(chain)
    base = at
    for _ in range(_PASSES):
        normals = line_normals(base, closed=chain.closed)
        found = measure(plane, base, normals, model)
        sign = -1.0 if light_ink and model == "line" else 1.0
        contrast = sign * found.contrast
        level = float(np.median(contrast[found.good])) if found.good.any() else 0.0
        good = found.good & (contrast > _LEAST_CONTRAST * level) & (contrast > 0.02)
        good &= ~by_hand | (np.abs(found.shift_mm) < _HAND_REACH_MM)
        good &= ~_jumps(found.shift_mm, good, closed=chain.closed)
        shift = _filled(found.shift_mm, good, bridged | by_hand, closed=chain.closed)
        places = base + shift[:, None] * normals
        base = _averaged(places, closed=chain.closed)
    return Line(
        at_mm=places,
        doubt_mm=np.where(good, found.doubt_mm, np.where(by_hand, HAND_DOUBT_MM, WEAK_DOUBT_MM)),
        measured=good,
        bridged=bridged,
        by_hand=by_hand,
        misfit=found.misfit,
        contrast=contrast,
        corners=np.empty(0, dtype=np.int64),
        fixed=np.zeros(len(places), dtype=np.bool_),
        width_mm=float(np.median(found.width_mm[good])) if good.any() else 0.0,
        closed=chain.closed,
    )


def line_normals(at: FloatArray, *, closed: bool, steps: int = _NORMAL_STEPS) -> FloatArray:
    """(n, 2) unit normals to the left of a line, from chords over some places to each side."""
    if closed:
        chord = np.roll(at, -steps, axis=0) - np.roll(at, steps, axis=0)
    else:
        index = np.arange(len(at))
        chord = at[np.minimum(index + steps, len(at) - 1)] - at[np.maximum(index - steps, 0)]
    length = np.maximum(np.hypot(chord[:, 0], chord[:, 1]), 1e-12)
    normals: FloatArray = np.column_stack((-chord[:, 1], chord[:, 0])) / length[:, None]
    return normals


def _stations(chain: Chain) -> tuple[FloatArray, Mask, Mask]:
    """Places at equal steps along a chain, with what is known of the way there."""
    points = np.vstack((chain.at_mm, chain.at_mm[:1])) if chain.closed else chain.at_mm
    lengths = np.hypot(*np.diff(points, axis=0).T)
    station = np.concatenate(([0.0], np.cumsum(lengths)))
    count = max(4, round(station[-1] / STEP_MM))
    where = np.linspace(0.0, station[-1], count, endpoint=not chain.closed)
    at = np.column_stack([np.interp(where, station, points[:, axis]) for axis in range(2)])
    segment = np.clip(np.searchsorted(station, where, side="right") - 1, 0, len(lengths) - 1)
    bridged = chain.bridged[segment] & (lengths[segment] > 1.5 * STEP_MM)
    return _averaged(at, closed=chain.closed), bridged, chain.by_hand[segment]


def _averaged(at: FloatArray, *, closed: bool) -> FloatArray:
    """Each place moved to the weighted mean with its neighbours (1, 2, 1)."""
    if closed:
        mean: FloatArray = 0.5 * at + 0.25 * (np.roll(at, 1, axis=0) + np.roll(at, -1, axis=0))
        return mean
    mean = at.copy()
    mean[1:-1] = 0.5 * at[1:-1] + 0.25 * (at[2:] + at[:-2])
    return mean


def _jumps(shift: FloatArray, good: Mask, *, closed: bool) -> Mask:
    """(n,) bool: places that lie off the median of those around: another line was measured."""
    reach = 4
    value = np.where(good, shift, np.nan)
    padded = np.concatenate(
        (value[-reach:], value, value[:reach])
        if closed
        else (np.full(reach, np.nan), value, np.full(reach, np.nan))
    )
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1)
    known = np.isfinite(windows).any(axis=1)
    middle = np.zeros(len(shift))
    middle[known] = np.nanmedian(windows[known], axis=1)
    return np.abs(shift - middle) > _MOST_JUMP_MM


def _filled(shift: FloatArray, good: Mask, stay: Mask, *, closed: bool) -> FloatArray:
    """Shifts with those between good ones where they are not; none where a person put the line."""
    if not good.any():
        return np.zeros(len(shift))
    index = np.arange(len(shift))
    period = {"period": len(shift)} if closed else {}
    between = np.interp(index, index[good], shift[good], **period)
    filled: FloatArray = np.where(good, shift, np.where(stay, 0.0, between))
    return filled
