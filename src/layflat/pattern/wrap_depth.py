"""How deep a flap may be along an edge, and why it is no deeper.

At each place the depth is the least of what was asked, what the film's limits allow
(`layflat.pattern.fold`), how far the metal goes on, and the room across a slot. From such a place
the flap gets deeper again with a slope of 1 in 2, which leaves a scallop that a knife can follow.

Where film would be crowded, notches may keep the flap deep (`layflat.pattern.notches`).
"""

from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from layflat.base import FloatArray, IntArray
from layflat.pattern.edges import FlatEdge
from layflat.pattern.fold import (
    Fold,
    Limits,
    Reason,
    bend,
    demand,
    depth_by_crowding,
    depth_by_stretch,
    square_fold,
)
from layflat.pattern.notches import Notch, Notched, notched

RELIEF_MM = 1.0
"""Gap between the ends of two flaps, and radius of the relief at a hollow corner."""

BEFORE_END_MM = 1.0
"""A flap ends this far before the metal does, so that its end lies on something. Common practice,
no source.
"""

TRIMMED_MM = 0.05
"""Less than this is not trimmed."""

WINDOW_DEPTHS = 3.0
"""Chords that the bend of an edge is taken from, in depths of the flap. Strain spreads along a
flap over a few of its depths (Saint-Venant); over less, 0.1 mm of a scan's noise on chords of 8 mm
would bend a line as much as film can bear, and would scallop a wheel arch.
"""

_STEP_MM = 1.0
_SAME_MM = 0.01
_SLOPE = 0.5
_OFF_MM = 1e-3

Fixed = tuple[FloatArray, Fold]
"""Where the vertices of an edge lie in the flat, (n, 2), both ends among them (a closed edge
repeats its first), and the metal beyond it at each.
"""


@dataclass(frozen=True, eq=False)
class Depths:
    """How deep a flap may be along its edge.

    Attributes:
        points: (n, 2) float64 along the edge, both ends among them.
        outward: (n, 2) float64, unit vectors away from the piece.
        mm: (n,) float64, the depth at each point.
        wanted_mm: what was asked for.
        reasons: (n,) of `Reason`, why it is no deeper there; where it only gets shallower towards
            a bounded place, the reason of that place.
        fold: the metal beyond the edge at each point.
        notches: what is cut out of the flap so that it is not crowded.
        dense: whether it was trimmed somewhere because notches would stand too close there.
    """

    points: FloatArray
    outward: FloatArray
    mm: FloatArray
    wanted_mm: float
    reasons: tuple[Reason, ...]
    fold: Fold
    notches: tuple[Notch, ...] = ()
    dense: bool = False

    @property
    def shallowest(self) -> int:
        """The index of the point where the flap is least deep."""
        return int(np.argmin(self.mm))

    @property
    def deepest_mm(self) -> float:
        """The greatest depth that can be had."""
        return float(self.mm.max())

    def why(self) -> tuple[Reason, ...]:
        """All reasons for which it was trimmed, that of the shallowest place first."""
        trimmed = np.flatnonzero(self.mm < self.wanted_mm - TRIMMED_MM)
        order = trimmed[np.argsort(self.mm[trimmed], kind="stable")]
        return tuple(dict.fromkeys(self.reasons[i] for i in order))


def depths(
    edge: FlatEdge,
    wanted_mm: float,
    base: BaseGeometry,
    *,
    limits: Limits,
    fixed: Fixed | None = None,
) -> Depths:
    """How deep a flap may be along *edge*.

    Args:
        edge: the edge, material on its left.
        wanted_mm: the depth that was asked for.
        base: the flat panel with its openings.
        limits: what the film bears.
        fixed: the metal that it is folded round; without it the fold is square, on metal that goes
            on, and the bend is the flat edge's own.
    """
    points = shapely.get_coordinates(edge.line.segmentize(_STEP_MM))
    along = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))))
    station, heading = _headings(edge)
    here = np.interp(along, station, heading)
    outward = np.column_stack((np.sin(here), -np.cos(here)))
    if fixed is None:
        window = WINDOW_DEPTHS * wanted_mm
        fold = square_fold(bend(edge.points, along, window, closed=edge.closed))
    else:
        fold = _fold_along(points, *fixed)
    by_room = 0.5 * (_room(points, outward, base, 2.0 * wanted_mm + RELIEF_MM) - RELIEF_MM)
    by_room[_near_hollow_ends(edge, along, wanted_mm)] = wanted_mm
    bounds = {
        Reason.STRETCH: depth_by_stretch(fold, limits.stretch),
        Reason.CROWDING: depth_by_crowding(fold, limits.crowding),
        Reason.FLANGE: fold.metal_mm - BEFORE_END_MM,
        Reason.ROOM: by_room,
    }
    plan = _planned(bounds, wanted_mm, along, edge.closed)
    cut = _notched(fold, bounds, wanted_mm, along, edge.closed, limits.crowding, plan[0])
    if cut.notches:
        bounds[Reason.CROWDING] = np.where(cut.kept, np.inf, bounds[Reason.CROWDING])
        plan = _planned(bounds, wanted_mm, along, edge.closed)
    return Depths(points, outward, plan[0], wanted_mm, plan[1], fold, cut.notches, cut.dense)


_Plan = tuple[FloatArray, tuple[Reason, ...]]


def _planned(
    bounds: dict[Reason, FloatArray], wanted_mm: float, along: FloatArray, closed: bool
) -> _Plan:
    """The depth at each station and the reason for it."""
    rows = np.stack([np.full(len(along), wanted_mm), *bounds.values()])
    words = [Reason.NONE, *bounds]
    least = rows.argmin(axis=0)
    allowed = np.clip(rows.min(axis=0), 0.0, wanted_mm)
    mm, source = _eased(allowed, along, closed)
    trimmed = mm < wanted_mm - TRIMMED_MM
    which = np.where(trimmed, least[source], 0)
    return mm, tuple(words[i] for i in which)


def _notched(
    fold: Fold,
    bounds: dict[Reason, FloatArray],
    wanted_mm: float,
    along: FloatArray,
    closed: bool,
    limit: float,
    trimmed_mm: FloatArray,
) -> Notched:
    """The notches that keep more film than trimming does."""
    free: dict[Reason, FloatArray] = {
        word: row for word, row in bounds.items() if word is not Reason.CROWDING
    }
    uncrowded = _planned(free, wanted_mm, along, closed)[0]
    crowded = bounds[Reason.CROWDING]
    excess = np.maximum(-demand(fold), 0.0)
    count = len(along) - 1
    # A round that begins where nothing is crowded has no crowded stretch cut in two.
    quiet: IntArray = np.flatnonzero(closed & (crowded >= uncrowded))
    turned = (int(quiet[0]) if len(quiet) else 0) % count
    order = (
        np.append((turned + np.arange(count)) % count, turned) if turned else np.arange(count + 1)
    )
    lengths = np.roll(np.diff(along), -turned)
    station = np.concatenate(([0.0], np.cumsum(lengths)))
    found = notched(
        station,
        wanted_mm=wanted_mm,
        open_ends=not closed,
        trimmed_mm=trimmed_mm[order],
        uncrowded_mm=uncrowded[order],
        crowded_mm=crowded[order],
        excess=excess[order],
        limit=limit,
        ease=lambda allowed: _eased(np.clip(allowed, 0.0, wanted_mm), station, closed)[0],
    )
    kept = np.zeros(count + 1, np.bool_)
    kept[order] = found.kept
    if closed:
        kept[-1] = kept[0]
    places = [int(order[notch.station]) for notch in found.notches]
    notches = tuple(
        replace(notch, station=at, along_mm=float(along[at]))
        for notch, at in zip(found.notches, places, strict=True)
    )
    return Notched(notches, kept, found.dense)


def _fold_along(points: FloatArray, vertices: FloatArray, fold: Fold) -> Fold:
    """The fold at points along the smooth edge, from that at the vertices it was drawn through."""
    line = shapely.LineString(vertices)
    share = np.asarray(shapely.line_locate_point(line, shapely.points(points)), np.float64)
    station = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(vertices, axis=0).T))))
    return fold.at(share, station)


def _headings(edge: FlatEdge) -> tuple[FloatArray, FloatArray]:
    """Stations along an edge and the direction there, in radians without jumps.

    At each vertex the direction is the mean of the chords beside it, the shorter of which says
    more. Points closer together than `_SAME_MM` say nothing and are left out. The stations of a
    closed edge go round three times, from one length before its start.
    """
    points = edge.points
    apart = np.hypot(*np.diff(points, axis=0).T) > _SAME_MM
    points = np.concatenate((points[:-1][apart], points[-1:]))
    steps = np.diff(points, axis=0)
    lengths = np.hypot(*steps.T)
    station = np.concatenate(([0.0], np.cumsum(lengths)))
    chords = np.unwrap(np.arctan2(steps[:, 1], steps[:, 0]))
    if not edge.closed:
        chords = np.concatenate((chords[:1], chords, chords[-1:]))
        lengths = np.concatenate((lengths[:1], lengths, lengths[-1:]))
    else:
        full = np.copysign(2.0 * np.pi, float(chords[-1] - chords[0]))
        whole = station[-1]
        rounds = (chords[-1:] - 2.0 * full, chords - full, chords, chords + full)
        chords = np.concatenate((*rounds, chords[:1] + 2.0 * full))
        lengths = np.concatenate((lengths[-1:], lengths, lengths, lengths, lengths[:1]))
        station = np.concatenate((station[:-1] - whole, station[:-1], station + whole))
    before, after = lengths[:-1], lengths[1:]
    heading: FloatArray = (chords[:-1] * after + chords[1:] * before) / (before + after)
    return station, heading


def _room(
    points: FloatArray, outward: FloatArray, base: BaseGeometry, reach_mm: float
) -> FloatArray:
    """(n,) float64: how far it is from each point outward to the piece again, at most *reach*."""
    ends = np.stack((points + _OFF_MM * outward, points + reach_mm * outward), axis=1)
    rays = np.asarray(shapely.linestrings(ends))
    shapely.prepare(base)
    room = np.full(len(points), reach_mm)
    # The ends lie on the neighbouring edges; their rays would start inside the piece.
    met = np.flatnonzero(shapely.intersects(base, rays))
    met = met[(met > 0) & (met < len(points) - 1)]
    room[met] = shapely.distance(shapely.points(points[met]), shapely.intersection(rays[met], base))
    return room


def _near_hollow_ends(edge: FlatEdge, along: FloatArray, wanted_mm: float) -> NDArray[np.bool_]:
    """(n,) bool: where the outer bisector of a hollow corner bounds the flap already."""
    near = np.zeros(len(along), dtype=bool)
    if not edge.closed:
        for angle, distance in ((edge.before, along), (edge.after, along[-1] - along)):
            if angle > np.pi:
                half = 0.5 * (2.0 * np.pi - angle)
                near |= distance <= (wanted_mm + RELIEF_MM) / max(np.tan(half), 1e-6)
    return near


def _eased(allowed: FloatArray, along: FloatArray, closed: bool) -> tuple[FloatArray, IntArray]:
    """The greatest depth below the allowed one whose slope is nowhere steeper than 1 in 2.

    Returns:
        (n,) float64, the depth; (n,) int64, for each place the one that bounds it.
    """
    count, whole = len(along), along[-1]
    place = np.arange(count)
    if closed:
        allowed = np.concatenate((allowed[:-1], allowed[:-1], allowed))
        place = np.concatenate((place[:-1], place[:-1], place))
        along = np.concatenate((along[:-1] - whole, along[:-1], along + whole))
    behind = _bounding(allowed - _SLOPE * along)
    ahead = len(allowed) - 1 - _bounding((allowed + _SLOPE * along)[::-1])[::-1]
    rising = allowed[behind] + _SLOPE * (along - along[behind])
    falling = allowed[ahead] + _SLOPE * (along[ahead] - along)
    eased: FloatArray = np.minimum(rising, falling)
    source = place[np.where(rising <= falling, behind, ahead)]
    part = slice(count - 1, 2 * count - 1) if closed else slice(None)
    return eased[part], source[part]


def _bounding(values: FloatArray) -> IntArray:
    """(n,) int64: for each place the index, up to it, of the least value."""
    least = np.minimum.accumulate(values)
    newest: IntArray = np.maximum.accumulate(np.where(values <= least, np.arange(len(values)), 0))
    return newest
