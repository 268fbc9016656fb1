"""The flange beyond an edge, measured on a body's mesh: how far it turns, how far it goes on.

At each station of the edge the mesh is cut by the plane square to the edge. The section is followed
outward from the edge until the mesh ends or `REACH_MM`, and inward over `WINDOW_MM` for the panel's
direction. Two straight lines are fitted to it by total least squares, the panel's and the flange's,
with `BEND_MM` to either side of the bend left out; the bend is where the two fit best. The angle
between them is how far the metal turns. The flange ends where the mesh ends, or where the section
turns away from the flange's line by more than `LEAVES_RAD`.

One station is as noisy as the scan: angle and depth are running medians over `ALONG_MM`.
"""

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from layflat.base import FloatArray, frozen
from layflat.fit.flange_section import sections
from layflat.surface import Mesh, Prepared

REACH_MM = 30.0
"""Beyond this from the edge nothing is looked at."""

SEARCH_MM = 10.0
"""The bend is looked for up to here beyond the edge: outlines are often traced a little inside."""

WINDOW_MM = 8.0
"""Length of the lines that are fitted to the panel and to the flange."""

BEND_MM = 1.5
"""So much of the section beside the bend belongs to its rounding and to neither line."""

ALONG_MM = 25.0
"""Angle and depth are medians over this length of the edge."""

LEAST_TURN_RAD = np.radians(20.0)
"""Metal that turns by less goes on; it is no flange."""

LEAST_FLANGE_MM = 1.0
"""A flange less deep than this is none: the metal ends there."""

START_MM = 1.0
"""Sections begin this far inside the edge, on the panel: on the edge panel and flange meet."""

LEAVES_RAD = np.radians(45.0)

_SAMPLE_MM = 0.5
_RAISED_MM = 0.3
_CHORD = 6
_CLEAR_TURN = 0.3


class Beyond(StrEnum):
    """What the scan shows beyond an edge."""

    FLANGE = "flange"
    """The metal turns and goes on."""
    UNSEEN = "no flange in the scan"
    """The scan ends at the edge, or goes on without a turn: nobody knows."""
    ENDS = "the metal ends here"
    """The scan shows the flange beside it, and none here."""


@dataclass(frozen=True, eq=False)
class Flange:
    """What lies beyond an edge, station by station.

    Attributes:
        beyond: (n,) of `Beyond`.
        angle_rad: (n,) float64, how far the metal turns from the panel; nan where unseen.
        depth_mm: (n,) float64, how far the flange goes on from its bend; nan where unseen.
        bend_mm: (n,) float64, how far beyond the edge the bend is; nan where unseen.
        metal_mm: (n,) float64, how far the scan's metal goes on beyond the edge altogether, at most
            `REACH_MM`.
    """

    beyond: tuple[Beyond, ...]
    angle_rad: FloatArray
    depth_mm: FloatArray
    bend_mm: FloatArray
    metal_mm: FloatArray

    def __post_init__(self) -> None:
        for name in ("angle_rad", "depth_mm", "bend_mm", "metal_mm"):
            object.__setattr__(self, name, frozen(getattr(self, name)).reshape(-1))

    def share(self, what: Beyond) -> float:
        """The part of the stations that show *what*, 0 to 1."""
        return sum(found is what for found in self.beyond) / max(len(self.beyond), 1)


def measure_flange(
    body: Mesh | Prepared,
    points_mm: FloatArray,
    along: FloatArray,
    normals: FloatArray,
    *,
    reach_mm: float = REACH_MM,
) -> Flange:
    """The flange beyond an edge of *body*.

    Args:
        body: the mesh beyond the edge too.
        points_mm: (n, 3) float64, stations along the edge, in order.
        along: (n, 3) float64, unit vectors along it, material on the left seen from outside.
        normals: (n, 3) float64, unit normals of the panel beside it.
        reach_mm: how far the metal is followed.
    """
    outward = np.cross(along, normals)
    outward /= np.maximum(np.linalg.norm(outward, axis=1, keepdims=True), 1e-12)
    # Raised to the outside, the panel is nearer than a flange that is folded under it.
    start = points_mm - START_MM * outward + _RAISED_MM * normals
    out = sections(body, start, outward, normals, reach_mm=reach_mm + START_MM)
    inner = sections(body, start, -outward, normals, reach_mm=WINDOW_MM + BEND_MM)
    rows = [_bend(lane, back, reach_mm) for lane, back in zip(out, inner, strict=True)]
    angle, depth, bend, metal = (np.array(column, np.float64) for column in zip(*rows, strict=True))
    station = np.concatenate(([0.0], np.cumsum(np.linalg.norm(np.diff(points_mm, axis=0), axis=1))))
    turned = angle >= LEAST_TURN_RAD
    deep = turned & (depth >= LEAST_FLANGE_MM)
    for values in (angle, depth, bend):
        values[~deep] = np.nan
    # A station that the noise deceives goes with most of those beside it.
    seen = _running(deep.astype(np.float64), station, np.mean) >= 0.5
    ends = ~seen & turned & ~deep
    if seen.mean() >= 0.5:
        # Where the scanner saw the flange beside it, a scan that ends at the edge shows its end.
        ends |= ~seen & (metal < SEARCH_MM)
    for values in (angle, depth, bend):
        values[:] = np.where(seen, _running(values, station, np.median), np.nan)
    depth[ends] = 0.0
    words = [
        Beyond.FLANGE if good else Beyond.ENDS if over else Beyond.UNSEEN
        for good, over in zip(seen, ends, strict=True)
    ]
    return Flange(tuple(words), angle, depth, bend, metal)


def _running(
    values: FloatArray, station: FloatArray, take: Callable[[FloatArray], np.float64]
) -> FloatArray:
    """(n,) float64: for each station the mean or the median of the known values near it."""
    first = np.searchsorted(station, station - 0.5 * ALONG_MM)
    last = np.searchsorted(station, station + 0.5 * ALONG_MM, side="right")
    found = np.full(len(values), np.nan)
    for i, (start, end) in enumerate(zip(first, last, strict=True)):
        near = values[start:end]
        near = near[np.isfinite(near)]
        if len(near):
            found[i] = take(near)
    return found


def _bend(out: FloatArray, inner: FloatArray, reach_mm: float) -> tuple[float, float, float, float]:
    """Angle, depth and place of the bend of one section, and how far its metal goes on.

    Args:
        out: (k, 2) float64, the section outward, from `START_MM` inside the edge: outward and along
            the normal.
        inner: (k, 2) float64, the same inward.
    """
    line, total = _sampled(out)
    back, _ = _sampled(inner * [-1.0, 1.0])
    edge = int(START_MM / _SAMPLE_MM)
    metal = min(max(total - START_MM, 0.0), reach_mm)
    nothing = (np.nan, np.nan, np.nan, metal)
    rest = int(BEND_MM / _SAMPLE_MM)
    if len(back) < 2 * rest + 2 or len(line) < edge + 2:
        return nothing
    whole = np.vstack((back[:0:-1], line))
    zero = len(back) - 1
    window = int(WINDOW_MM / _SAMPLE_MM)
    last = edge + min(int(SEARCH_MM / _SAMPLE_MM), len(line) - 1 - edge)
    best = (np.inf, 0, _Line(np.zeros(2), np.zeros(2), 0.0), _Line(np.zeros(2), np.zeros(2), 0.0))
    # The panel's line always begins inside the edge: on the flange alone any two lines fit.
    inside = max(0, zero + edge - rest - window)
    for at in range(1, last):
        middle = zero + at
        near = _fitted(whole[inside : middle - rest + 1])
        far_points = whole[middle + rest : middle + rest + window + 1]
        # A flange shorter than the bend's rounding is judged by what there is of it.
        far = _fitted(far_points if len(far_points) > 2 else whole[middle:][-3:])
        cost = near.off + far.off
        if cost < best[0] - 1e-9:
            best = (cost, at, near, far)
    _, at, near, far = best
    first, second = near.direction, far.direction
    turn = float(first[1] * second[0] - first[0] * second[1])
    angle = float(np.arctan2(turn, first @ second))
    if angle < -0.5 * np.pi:
        # Folded back onto the panel, the turn passes a half turn by noise.
        angle += 2.0 * np.pi
    bend = (at - edge) * _SAMPLE_MM
    if turn > _CLEAR_TURN:
        # Where the two lines meet; the place of the best fit is only as exact as its windows.
        gap = far.middle - near.middle
        meet = near.middle + (gap[1] * second[0] - gap[0] * second[1]) / turn * first
        bend = float(np.clip((meet - line[edge]) @ first, bend - BEND_MM, bend + BEND_MM))
    return angle, _ends(line, at, second, total) - START_MM - bend, bend, metal


def _ends(line: FloatArray, at: int, direction: FloatArray, total: float) -> float:
    """How far along a section its metal leaves the flange's direction, or ends."""
    start = min(at + int(BEND_MM / _SAMPLE_MM), len(line) - 1)
    chords = line[start + _CHORD :] - line[start:-_CHORD]
    if not len(chords):
        return total
    size = np.maximum(np.hypot(*chords.T), 1e-9)
    leaves = np.flatnonzero(chords @ direction < size * np.cos(LEAVES_RAD))
    return (start + int(leaves[0]) + _CHORD // 2) * _SAMPLE_MM if len(leaves) else total


def _sampled(section: FloatArray) -> tuple[FloatArray, float]:
    """(k, 2) float64: points of a section, evenly apart along it from its start; and its length."""
    along = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(section, axis=0).T))))
    places = np.arange(0.0, along[-1] + 1e-9, _SAMPLE_MM)
    points = np.column_stack([np.interp(places, along, section[:, i]) for i in range(2)])
    return points, float(along[-1])


@dataclass(frozen=True, eq=False)
class _Line:
    """A straight line through points: where, which way they run, and the mean square off it."""

    middle: FloatArray
    direction: FloatArray
    off: float


def _fitted(points: FloatArray) -> _Line:
    """The line nearest to (k, 2) points, k >= 2, by total least squares."""
    middle = points.mean(axis=0)
    away = points - middle
    xx, yy = float((away[:, 0] ** 2).sum()), float((away[:, 1] ** 2).sum())
    xy = float((away[:, 0] * away[:, 1]).sum())
    turn = 0.5 * np.arctan2(2.0 * xy, xx - yy)
    unit: FloatArray = np.array([np.cos(turn), np.sin(turn)])
    off = float(((away @ np.array([-unit[1], unit[0]])) ** 2).mean())
    return _Line(middle, unit if (points[-1] - points[0]) @ unit >= 0.0 else -unit, off)
