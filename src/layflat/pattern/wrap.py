"""The flaps of film that are folded round an edge: how deep they may be, and how they end.

Depth. Where a rim is hollow, the flap's outer line is shorter than the rim and must stretch when
it is folded: at a right-angled fold round a radius r by w / (r - w) for a depth w (the stretch
flange of sheet-metal handbooks). A flap is nowhere deeper than the film's stretch limit allows,
nor so deep that it would meet the film across a slot; from such places it gets deeper again with
a slope of 1 in 2, which leaves a scallop.

Ends. Folded under, film must not lie double:

* Between two wraps at an outer corner both flaps end on the bisector of the corner's interior
  angle, mirrored to the outside: each end leaves the corner at half that angle to its own edge
  (45° at a square corner), so that the folded flaps meet edge to edge, but for a relief gap that
  opens from nothing at the corner to `RELIEF_MM` at the flap's depth.
* At a hollow corner the flaps would cover each other in the flat; they end beside the outer
  bisector, a slit of `RELIEF_MM` apart, and the slit ends in a round relief of that radius that
  touches the corner, so that the film can turn and does not tear.
* Beside an edge that is not wrapped a flap ends at 60° to its edge, or less at sharp corners,
  which leaves no square tip that peels.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Point, Polygon, union_all
from shapely.geometry.base import BaseGeometry

from layflat.base import FloatArray
from layflat.pattern.edges import FlatEdge
from layflat.pattern.piece import EdgeFinish, Finish

RELIEF_MM = 1.0
"""Gap between the ends of two flaps, and radius of the relief at a hollow corner."""

LEAST_WRAP_MM = 1.0
"""A flap that may nowhere be deeper than this is left away."""

_FREE_END = math.radians(60.0)
_HOLLOW = 1.05 * math.pi
_SEGMENTS = 32
_FAR = 8.0
_STEP_MM = 1.0
_SAME_MM = 0.01
_WINDOW_DEPTHS = 3.0
"""Chords that the bend of an edge is taken from, in depths of the flap. Strain spreads along a
flap over a few of its depths (Saint-Venant); over less, 0.1 mm of a scan's noise on chords of 8 mm
would bend a line as much as film can bear, and would scallop a wheel arch.
"""

_SLOPE = 0.5
_OFF_MM = 1e-3
_TRIMMED_MM = 0.05


@dataclass(frozen=True, eq=False)
class Depths:
    """How deep a flap may be along its edge.

    Attributes:
        points: (n, 2) float64 along the edge, both ends among them.
        outward: (n, 2) float64, unit vectors away from the piece.
        mm: (n,) float64, the depth at each point.
        stretched: whether the film's stretch limit trimmed it.
        crowded: whether film across a slot trimmed it.
    """

    points: FloatArray
    outward: FloatArray
    mm: FloatArray
    stretched: bool
    crowded: bool

    @property
    def shallowest(self) -> int:
        """The index of the point where the flap is least deep."""
        return int(np.argmin(self.mm))


def depths(edge: FlatEdge, wanted_mm: float, base: BaseGeometry, *, stretch_limit: float) -> Depths:
    """How deep a flap may be along *edge*.

    Args:
        edge: the edge, material on its left.
        wanted_mm: the depth that was asked for.
        base: the flat panel with its openings.
        stretch_limit: the greatest strain of the flap's outer line, as a fraction.
    """
    points = shapely.get_coordinates(edge.line.segmentize(_STEP_MM))
    along = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))))
    station, heading = _headings(edge)
    here = np.interp(along, station, heading)
    outward = np.column_stack((np.sin(here), -np.cos(here)))
    hollow = np.maximum(_hollow(edge, along, _WINDOW_DEPTHS * wanted_mm), 1e-12)
    by_stretch = stretch_limit / (1.0 + stretch_limit) / hollow
    by_room = 0.5 * (_room(points, outward, base, 2.0 * wanted_mm + RELIEF_MM) - RELIEF_MM)
    by_room[_near_hollow_ends(edge, along, wanted_mm)] = wanted_mm
    allowed = np.clip(np.minimum(by_stretch, by_room), 0.0, wanted_mm)
    return Depths(
        points=points,
        outward=outward,
        mm=_eased(allowed, along, edge.closed),
        stretched=bool((by_stretch < wanted_mm - _TRIMMED_MM).any()),
        crowded=bool((by_room < np.minimum(by_stretch, wanted_mm) - _TRIMMED_MM).any()),
    )


def _hollow(edge: FlatEdge, along: FloatArray, window: float) -> FloatArray:
    """(n,) float64: how hollow the edge is at stations along it, in 1/mm; negative where round.

    The turn from the chord behind to the chord ahead, each *window* long, over that length: exact
    on a circle, and deaf to what lies closer together. Near the ends of an open edge it is that
    of the nearest place with chords of full length; a short edge has shorter chords.
    """
    points = edge.points
    station = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))))
    whole = station[-1]
    if edge.closed:
        window = min(window, whole / 6.0)
        station = np.concatenate((station[:-1] - whole, station[:-1], station + whole))
        points = np.concatenate((points[:-1], points[:-1], points))
    else:
        window = min(window, 0.5 * whole)
        along = np.clip(along, window, whole - window)

    def at(where: FloatArray) -> FloatArray:
        x, y = (np.interp(where, station, points[:, i]) for i in range(2))
        return np.column_stack((x, y))

    here = at(along)
    behind, ahead = here - at(along - window), at(along + window) - here
    cross = behind[:, 0] * ahead[:, 1] - behind[:, 1] * ahead[:, 0]
    turned: FloatArray = np.arctan2(-cross, np.sum(behind * ahead, axis=1))
    return turned / window


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
        full = math.copysign(2.0 * math.pi, float(chords[-1] - chords[0]))
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
            if angle > math.pi:
                half = 0.5 * (2.0 * math.pi - angle)
                near |= distance <= (wanted_mm + RELIEF_MM) / max(math.tan(half), 1e-6)
    return near


def _eased(allowed: FloatArray, along: FloatArray, closed: bool) -> FloatArray:
    """The greatest depth below the allowed one whose slope is nowhere steeper than 1 in 2."""
    count, whole = len(along), along[-1]
    if closed:
        allowed = np.concatenate((allowed[:-1], allowed[:-1], allowed))
        along = np.concatenate((along[:-1] - whole, along[:-1], along + whole))
    rising = np.minimum.accumulate(allowed - _SLOPE * along) + _SLOPE * along
    falling = np.minimum.accumulate((allowed + _SLOPE * along)[::-1])[::-1] - _SLOPE * along
    eased: FloatArray = np.minimum(rising, falling)
    return eased[count - 1 : 2 * count - 1] if closed else eased


def flap(
    edge: FlatEdge,
    depth: Depths,
    before: EdgeFinish,
    after: EdgeFinish,
    base: BaseGeometry,
) -> BaseGeometry:
    """The flap outside an edge, its ends trimmed.

    Args:
        edge: the edge.
        depth: how deep it may be.
        before, after: how the neighbouring edges end.
        base: the flat panel with its openings.
    """
    deepest = float(depth.mm.max())
    shape = _even(edge, deepest) if np.ptp(depth.mm) < _TRIMMED_MM else _uneven(edge, depth)
    shape = shape.difference(base)
    if not edge.closed:
        for points, angle, neighbour, at_start in (
            (edge.points, edge.before, before, True),
            (edge.points[::-1], edge.after, after, False),
        ):
            shape = shape.difference(_beyond_end(points, angle, deepest, neighbour, at_start))
    return _touching(shape, edge)


def _even(edge: FlatEdge, depth_mm: float) -> BaseGeometry:
    """All within the depth of the edge, on both sides of it."""
    band: BaseGeometry = edge.line.buffer(depth_mm, cap_style="flat", quad_segs=_SEGMENTS)
    return band


def _uneven(edge: FlatEdge, depth: Depths) -> BaseGeometry:
    """What lies between the edge and a line at a depth that varies."""
    outer = depth.points + depth.mm[:, None] * depth.outward
    if edge.closed:
        rim: BaseGeometry = _sound(depth.points).symmetric_difference(_sound(outer))
        return rim
    return _sound(np.vstack((depth.points, outer[::-1])))


def _sound(ring: FloatArray) -> BaseGeometry:
    """What a ring encloses, even if it crosses itself."""
    shape: BaseGeometry = shapely.make_valid(
        Polygon(ring), method="structure", keep_collapsed=False
    )
    return shape


def _beyond_end(
    points: FloatArray, angle: float, depth_mm: float, neighbour: EdgeFinish, at_start: bool
) -> Polygon:
    """What is cut off a flap at one end: all beyond a line that leaves the corner slanting."""
    along = direction(points)
    out = np.array([along[1], -along[0]]) if at_start else np.array([-along[1], along[0]])
    shift = 0.0
    if neighbour.finish is Finish.WRAP:
        slant = 0.5 * min(angle, 2.0 * math.pi - angle)
        if angle > math.pi:
            shift = 0.5 * RELIEF_MM / math.sin(slant)
        else:
            lean = depth_mm / math.tan(slant) + 0.5 * RELIEF_MM / math.sin(slant)
            slant = math.atan2(depth_mm, lean)
    else:
        slant = min(_FREE_END, angle if angle < math.pi else 2.0 * math.pi - angle)
        if neighbour.finish is Finish.SHORT:
            shift = neighbour.distance_mm / max(abs(math.sin(angle)), 0.5)
    foot = points[0] + shift * along
    ray = math.cos(slant) * along + math.sin(slant) * out
    far = _FAR * (depth_mm / math.sin(slant) + shift)
    back = -far * along
    return Polygon([foot, foot + far * ray, foot + far * ray + 2.0 * back, foot + 2.0 * back])


def relief(edge: FlatEdge, following: FlatEdge) -> BaseGeometry | None:
    """The round relief where two wrapped edges meet in a hollow corner; None at other corners."""
    if edge.closed or edge.after <= _HOLLOW:
        return None
    bisector = direction(edge.points[::-1]) + direction(following.points)
    centre = edge.points[-1] + RELIEF_MM * bisector / math.hypot(*bisector)
    disc: BaseGeometry = Point(centre).buffer(RELIEF_MM, quad_segs=_SEGMENTS)
    return disc


def direction(points: FloatArray) -> FloatArray:
    """The unit direction in which a line leaves its first point."""
    step = points[1] - points[0]
    unit: FloatArray = step / math.hypot(*step)
    return unit


def _touching(shape: BaseGeometry, edge: FlatEdge) -> BaseGeometry:
    """The parts of a flap that hang on their edge; others reached across a gap."""
    parts: Sequence[BaseGeometry] = getattr(shape, "geoms", [shape])
    line: LineString = edge.line
    hanging = [part for part in parts if part.buffer(1e-6).intersection(line).length > 0.1]
    # Widened by a hair into the piece, so that the union has no seam; rounding takes it off again.
    return union_all(hanging).buffer(1e-5, join_style="mitre")
