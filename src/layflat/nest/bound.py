"""What no layout can beat: a lower bound on the film that the pieces need."""

import math
from collections.abc import Sequence
from functools import lru_cache
from itertools import pairwise

import numpy as np
import shapely
from shapely import affinity

from layflat.base import FloatArray
from layflat.nest.faults import WHOLE, Window
from layflat.nest.outward import NOTHING_MM
from layflat.nest.parts import CHORD_MM, Frame, Part
from layflat.nest.turns import extents, flush_turns, hull_points

THRESHOLDS = (0.0, *(round(0.02 * i, 2) for i in range(1, 26)))
"""Thresholds t of the functions u_t; t = 0 is the bound by area."""
_FEW_TURNS = 24
_KEPT = 1000
_ROUNDING = 1e-9


def lower_bound_mm(
    parts: Sequence[Part],
    frame: Frame,
    *,
    end_margin_mm: float,
    windows: Sequence[Window] = WHOLE,
) -> float:
    """A length that no layout of these pieces on this stock can go below, in mm.

    The proof. Give every piece half the gap g all round. In a sound layout these grown pieces
    do not overlap, and those of one section, whose pieces take a stretch L of the usable width
    U, lie in a rectangle of L + g by U + g. Cut that rectangle across at x. The grown pieces
    meet the cut in intervals that do not overlap, so that their lengths, divided by U + g, sum
    to 1 at most. For 0 <= t <= 1/2 let

        u_t(s) = 0 for s < t,   s for t <= s <= 1 - t,   1 for s > 1 - t.

    Numbers that sum to at most 1 keep doing so under u_t: if one of them is above 1 - t, the
    others are below t and count nothing; otherwise none has grown. (A dual feasible function:
    S. P. Fekete and J. Schepers, New classes of fast lower bounds for bin packing problems,
    Math. Program. 91 (2001) 11-31; from memory.) So the sum over all pieces of the integral of
    u_t along x is at most the sum of L + g over the sections. Each piece gives at least its
    least integral over the turns that are allowed and fit; that sum is B_t, and B is the
    greatest B_t. t = 0 is the bound by area; t near 1/2 says that pieces which cannot lie side
    by side lie one after the other. A piece that is free to turn counts with its area at t = 0
    and with nothing at other t.

    With n sections and an end margin e the film is at least B - n g + 2 n e, plus what keeps
    sections a gap apart where 2 e < g; this does not fall as n grows, and n is at least
    B / (S + g) for the longest stretch S of a section. Besides, the film is no shorter than the
    one piece whose least extent along x is greatest, with two end margins.

    Faults only take film away, so that all this holds on a roll with faults. Besides, with k
    sections in a window of length W the sum of L + g over them is at most
    W + k (g - 2 e) - (k - 1) max(0, g - 2 e), and so at most W + g - 2 e. The windows up to the
    film's end must hold B together, and the longest piece must lie in one of them.
    """
    contributions = np.array([_contributions(part, frame) for part in parts])
    copies = np.array([part.request.copies for part in parts])
    whole = float((copies @ contributions).max()) * (1.0 - _ROUNDING)
    gap = frame.gap_mm
    sections = 1
    if math.isfinite(frame.longest_mm):
        sections = max(1, math.ceil(whole / (frame.longest_mm + gap) - _ROUNDING))
    ends = 2 * end_margin_mm
    spacing = max(0.0, gap - ends)
    packed = whole + sections * (ends - gap) + (sections - 1) * spacing
    longest = max(_least_along(part, frame) for part in parts) + ends
    return max(packed, longest, *_past_faults(whole, longest, windows, more_mm=gap - ends))


def _past_faults(
    whole: float, longest: float, windows: Sequence[Window], *, more_mm: float
) -> tuple[float, float]:
    """How far along the roll the film reaches for all pieces, and for the longest one."""
    held = 0.0
    reached = 0.0
    for window in windows:
        reached = window.start_mm + max(0.0, whole - held - more_mm)
        if whole - held <= window.length_mm + more_mm:
            break
        held += max(0.0, window.length_mm + more_mm)
    alone = next(
        window.start_mm + longest for window in windows if longest <= window.length_mm + 1e-6
    )
    return reached, alone


def _least_along(part: Part, frame: Frame) -> float:
    """The least extent along the roll over the allowed turns that fit.

    For a free piece all directions are looked at: the least width of a convex hull is taken
    with an edge flush.
    """
    hull = hull_points(part.polygon)
    turns = part.fitting if part.request.turns_deg is not None else flush_turns(hull)
    along, across = extents(hull, np.array(turns))
    if part.request.turns_deg is None:
        return float(along.min())
    return float(along[across <= frame.usable_mm + 1e-6].min())


def _contributions(part: Part, frame: Frame) -> FloatArray:
    """(len(THRESHOLDS),) float64: the least integral of u_t along x, for each t, in mm."""
    strip = frame.usable_mm + frame.gap_mm
    # The chords of this outline lie inside the true one: it can only be too small.
    wide = frame.gap_mm > NOTHING_MM
    grown = part.polygon.buffer(0.5 * frame.gap_mm) if wide else part.polygon
    free = part.request.turns_deg is None or len(part.fitting) > _FEW_TURNS
    if free:
        return np.array([grown.area / strip, *[0.0] * (len(THRESHOLDS) - 1)])
    # Shrinking before thinning keeps the outline inside the true one.
    thin = grown.buffer(-CHORD_MM).simplify(CHORD_MM)
    inner = thin if grown.covers(thin) and not thin.is_empty else grown
    # Half a turn changes no cut's length.
    turns = tuple(sorted({turn % 180.0 for turn in part.fitting}))
    values = _least_integrals(shapely.to_wkb(inner), turns, strip).copy()
    values[0] = grown.area / strip
    return values


@lru_cache(maxsize=_KEPT)
def _least_integrals(shape: bytes, turns: tuple[float, ...], strip: float) -> FloatArray:
    """The least integrals over some turns; kept, since a search is often begun anew."""
    polygon = shapely.from_wkb(shape)
    by_turn = [_integrals(affinity.rotate(polygon, turn, origin=(0, 0)), strip) for turn in turns]
    least: FloatArray = np.min(by_turn, axis=0)
    return least


def _integrals(polygon: shapely.Geometry, strip: float) -> FloatArray:
    """The integral along x of u_t of the cuts' lengths over the strip's, for each t, in mm.

    Between two neighbouring x of corners the shape is a row of trapezoids, whose cut lengths
    are linear in x: the integral is exact.
    """
    edges = []
    for ring in shapely.get_rings(polygon):
        points = shapely.get_coordinates(ring)
        edges.append(np.hstack((points[:-1], points[1:])))
    table = np.vstack(edges)
    swap = table[:, 0] > table[:, 2]
    table[swap] = table[swap][:, [2, 3, 0, 1]]
    table = table[table[:, 2] > table[:, 0]]
    wide: list[FloatArray] = []
    first: list[FloatArray] = []
    last: list[FloatArray] = []
    cuts = np.unique(table[:, [0, 2]])
    for left, right in pairwise(cuts):
        x0, y0, x1, y1 = table[(table[:, 0] <= left) & (table[:, 2] >= right)].T
        slope = (y1 - y0) / (x1 - x0)
        at_left, at_right = y0 + slope * (left - x0), y0 + slope * (right - x0)
        order = np.argsort(at_left + at_right)
        at_left, at_right = at_left[order], at_right[order]
        lengths_left = np.maximum(at_left[1::2] - at_left[::2], 0.0) / strip
        lengths_right = np.maximum(at_right[1::2] - at_right[::2], 0.0) / strip
        first.append(lengths_left)
        last.append(lengths_right)
        wide.append(np.full(len(lengths_left), right - left))
    if not wide:
        return np.zeros(len(THRESHOLDS))
    means = _mean_u(np.concatenate(first), np.concatenate(last))
    total: FloatArray = np.concatenate(wide) @ means
    return total


def _mean_u(first: FloatArray, last: FloatArray) -> FloatArray:
    """(k, thresholds): the mean of u_t over lengths from *first* linearly to *last*, for each t."""
    low, high = np.minimum(first, last)[:, None], np.maximum(first, last)[:, None]
    t = np.array(THRESHOLDS)
    level = np.where(low > 1 - t, 1.0, np.where(low >= t, low, 0.0))
    is_level = high - low < 1e-9
    rising = (_u_integral(high) - _u_integral(low)) / np.where(is_level, 1.0, high - low)
    return np.where(is_level, level, rising)


def _u_integral(s: FloatArray) -> FloatArray:
    """The integral of u_t from 0 to each *s*, for each t."""
    t = np.array(THRESHOLDS)
    middle = np.clip(s, t, 1 - t)
    result: FloatArray = 0.5 * (middle**2 - t**2) + np.maximum(0.0, s - (1 - t))
    return result
