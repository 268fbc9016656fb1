"""A measured line smoothed between its corners, and drawn through where nothing was measured."""

from dataclasses import replace

import numpy as np

from layflat.base import FloatArray, IntArray
from layflat.photo.follow import Line
from layflat.photo.records import Mask

_REACH = 3
_WINDOW_MM = 3.5
_LEAST_POINTS = 5
_SLACK = 1e-9


def smoothed(line: Line) -> Line:
    """Each measured place moved to the local quadratic through those beside it, corners kept.

    Runs of places that were not measured follow a cubic that goes on from either side.
    """
    if not line.measured.any():
        return line
    at = _quadratics(line)
    at = _drawn_through(line, at)
    return replace(line, at_mm=at)


def _quadratics(line: Line) -> FloatArray:
    """(n, 2) the places on weighted local quadratics; corners and lonely places as they are."""
    count = len(line.at_mm)
    offsets = np.arange(-_REACH, _REACH + 1)
    which = np.arange(count)[:, None] + offsets
    inside = np.ones(which.shape, dtype=np.bool_)
    if not line.closed:
        inside = (which >= 0) & (which < count)
    which %= count
    inside &= ~_beyond_corner(line, offsets) & ~_other_side(line, which)
    relative = line.at_mm[which] - line.at_mm[:, None]
    steps = np.hypot(*np.diff(relative, axis=1).transpose(2, 0, 1))
    along = np.concatenate((np.zeros((count, 1)), np.cumsum(steps, axis=1)), axis=1)
    along -= along[:, [_REACH]]
    weight = inside & line.measured[which] & (np.abs(along) <= _WINDOW_MM)
    enough = weight.sum(axis=1) >= _LEAST_POINTS
    both = (weight & (offsets >= 0)).any(axis=1) & (weight & (offsets <= 0)).any(axis=1)
    free = enough & both & line.measured
    free &= ~line.fixed
    share = np.where(weight, 1.0 / np.maximum(line.doubt_mm[which], 0.005) ** 2, 0.0)
    share /= np.maximum(share.max(axis=1, keepdims=True), _SLACK)
    table = along[:, :, None] ** np.arange(3)
    matrix = np.einsum("nk,nki,nkj->nij", share, table, table) + _SLACK * np.eye(3)
    right = np.einsum("nk,nki,nkj->nij", share, table, relative)
    middle = np.linalg.solve(matrix, right)[:, 0]
    at: FloatArray = line.at_mm.copy()
    at[free] += middle[free]
    return at


def _beyond_corner(line: Line, offsets: IntArray) -> Mask:
    """(n, k) whether a corner lies between a place and its neighbour, itself left out."""
    count = len(line.at_mm)
    beyond = np.zeros((count, len(offsets)), dtype=np.bool_)
    for corner in line.corners.tolist():
        for ahead in range(1, _REACH):
            place = (corner - ahead) % count
            beyond[place, offsets > ahead] = True
            place = (corner + ahead) % count
            beyond[place, offsets < -ahead] = True
    return beyond


def _other_side(line: Line, which: IntArray) -> Mask:
    """(n, k) whether a neighbour lies on a tight bend, which is no part of a side's quadratic."""
    bend = line.fixed.copy()
    bend[line.corners] = False
    other: Mask = bend[which]
    return other


def runs(flags: Mask, *, closed: bool) -> list[tuple[int, int]]:
    """First place and length of each run of set flags; of a closed line also over its end."""
    count = len(flags)
    if flags.all():
        return [(0, count)]
    edges = (
        np.flatnonzero(flags & ~np.roll(flags, 1))
        if closed
        else np.flatnonzero(flags & ~np.concatenate(([False], flags[:-1])))
    )
    found = []
    for first in edges.tolist():
        length = 1
        while (
            length < count
            and flags[(first + length) % count]
            and (closed or first + length < count)
        ):
            length += 1
        found.append((first, length))
    return found


def _drawn_through(line: Line, at: FloatArray) -> FloatArray:
    """Runs without measured places on cubics from side to side (Hermite's form)."""
    free = ~line.measured & ~line.by_hand
    free &= ~line.fixed
    count = len(at)
    drawn = at.copy()
    for first, length in runs(free, closed=line.closed):
        if length < 2 or length > count - 8:
            continue
        before, after = first - 1, first + length
        if not line.closed and (before < 3 or after > count - 4):
            continue
        p, q = at[before % count], at[after % count]
        gap = float(np.hypot(*(q - p)))
        tangents = [_tangent(line, at, before, -1), _tangent(line, at, after % count, 1)]
        part = np.arange(1, length + 1)[:, None] / (length + 1)
        h1 = part * (1.0 - part) ** 2
        h2 = part**2 * (part - 1.0)
        blend = part**2 * (3.0 - 2.0 * part)
        curve = p + blend * (q - p) + gap * (h1 * tangents[0] + h2 * tangents[1])
        drawn[(first + np.arange(length)) % count] = curve
    return drawn


def _tangent(line: Line, at: FloatArray, place: int, way: int) -> FloatArray:
    """The direction of the line at the rim of a run, in its sense, from some places beyond."""
    count = len(at)
    corners = set(line.corners.tolist())
    inner = [place % count]
    for _ in range(5):
        if inner[-1] in corners:
            break
        inner.append((inner[-1] + way) % count)
    if len(inner) < 2:
        return np.zeros(2)
    chord = way * (at[inner[-1]] - at[inner[0]])
    length = float(np.hypot(*chord))
    unit: FloatArray = chord / max(length, 1e-9)
    return unit
