"""The flaps of film that are folded round an edge: their shape, and how they end.

How deep they may be is the subject of `layflat.pattern.wrap_depth`.

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

import numpy as np
import shapely
from shapely import LineString, Point, Polygon, union_all
from shapely.geometry.base import BaseGeometry

from layflat.base import FloatArray
from layflat.pattern.edges import FlatEdge
from layflat.pattern.notches import cut_notches
from layflat.pattern.piece import EdgeFinish, Finish
from layflat.pattern.wrap_depth import RELIEF_MM, TRIMMED_MM, Depths

_FREE_END = math.radians(60.0)
_HOLLOW = 1.05 * math.pi
_SEGMENTS = 32
_FAR = 8.0


def flap(
    edge: FlatEdge,
    depth: Depths,
    before: EdgeFinish,
    after: EdgeFinish,
    base: BaseGeometry,
) -> BaseGeometry:
    """The flap outside an edge, its ends trimmed and its notches cut.

    Args:
        edge: the edge.
        depth: how deep it may be.
        before, after: how the neighbouring edges end.
        base: the flat panel with its openings.
    """
    deepest = depth.deepest_mm
    shape = _even(edge, deepest) if np.ptp(depth.mm) < TRIMMED_MM else _uneven(edge, depth)
    shape = shape.difference(base)
    if not edge.closed:
        for points, angle, neighbour, at_start in (
            (edge.points, edge.before, before, True),
            (edge.points[::-1], edge.after, after, False),
        ):
            shape = shape.difference(_beyond_end(points, angle, deepest, neighbour, at_start))
    return _touching(cut_notches(shape, depth.notches, depth.points, depth.outward), edge)


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
