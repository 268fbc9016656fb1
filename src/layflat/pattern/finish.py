"""How a piece ends at the edges of its panel: stopped short, flush, or wrapped round.

Stopping short takes a strip of the given width off the inside of the edge; at a convex corner
the strip runs straight on, so that two of them meet in a mitre.

A wrap adds a flap of the given depth outside the edge. Folded under, it must not lie double:

* Between two wraps both flaps end on the bisector of the corner's interior angle, mirrored to
  the outside: each makes half that angle with its own edge (45° at a square corner), so that
  the folded flaps meet edge to edge. Where the corner is hollow, the flaps would cover each
  other in the flat; they end on the outer bisector, with a round relief at the corner.
* Beside an edge that is not wrapped a flap ends at 60° to its edge, or less at sharp corners,
  which leaves no square tip that peels.
* All these ends keep half a relief gap from the bisector.

On a closed opening film must stretch to follow a flap of depth w round a rim of radius r: by
w / (r - w) at a right-angled fold (the stretch flange of sheet-metal handbooks). Such a flap is
no deeper than the film's stretch limit allows.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from shapely import LineString, MultiPolygon, Point, Polygon, union_all
from shapely.geometry.base import BaseGeometry

from layflat.base import FloatArray
from layflat.pattern.edges import FlatEdge, FlatLoop
from layflat.pattern.piece import EdgeFinish, Finish

RELIEF_MM = 1.0
"""Gap between the ends of two folded flaps, and radius of the relief at a hollow corner."""

_FREE_END = math.radians(60.0)
_SEGMENTS = 32
_FAR = 8.0


@dataclass(frozen=True, eq=False)
class Finished:
    """A piece with its edges finished.

    Attributes:
        shape: the piece, with holes.
        finishes: for each loop and edge what was really done.
        notes: sentences on what was trimmed.
    """

    shape: BaseGeometry
    finishes: tuple[tuple[EdgeFinish, ...], ...]
    notes: tuple[str, ...]


def finish_edges(
    loops: Sequence[FlatLoop],
    wanted: Sequence[Sequence[EdgeFinish]],
    *,
    stretch_limit: float,
) -> Finished:
    """The flat panel with each edge stopped short, flush or wrapped.

    Args:
        loops: the outer loop, then the openings.
        wanted: for each loop and edge how it shall end.
        stretch_limit: the film's, as a fraction; bounds wraps into openings.
    """
    notes: list[str] = []
    base: BaseGeometry = loops[0].polygon
    for hole in loops[1:]:
        base = base.difference(hole.polygon)
    done = [
        tuple(_possible(edge, finish, i > 0, stretch_limit, notes) for edge, finish in pairs)
        for i, pairs in enumerate(
            zip(loop.edges, row, strict=True) for loop, row in zip(loops, wanted, strict=True)
        )
    ]
    strips: list[BaseGeometry] = []
    flaps: list[BaseGeometry] = []
    reliefs: list[BaseGeometry] = []
    for loop, row in zip(loops, done, strict=True):
        for i, (edge, finish) in enumerate(zip(loop.edges, row, strict=True)):
            before, after = row[i - 1], row[(i + 1) % len(row)]
            if finish.finish is Finish.SHORT:
                strips.append(_strip(edge, finish.distance_mm))
            elif finish.finish is Finish.WRAP:
                flaps.append(_flap(edge, finish.distance_mm, before, after, base))
                if not edge.closed and edge.after > 1.05 * math.pi and after.finish is Finish.WRAP:
                    reliefs.append(Point(edge.points[-1]).buffer(RELIEF_MM, quad_segs=_SEGMENTS))
    # A flap ends where the neighbour's strip begins, so strips go last.
    shape = union_all([base, *flaps]).difference(union_all([*strips, *reliefs]))
    return Finished(shape, tuple(done), tuple(notes))


def _possible(
    edge: FlatEdge, finish: EdgeFinish, opening: bool, stretch_limit: float, notes: list[str]
) -> EdgeFinish:
    """The finish that can be had: wraps into closed openings only as deep as film stretches."""
    if not (finish.finish is Finish.WRAP and opening):
        return finish
    rim = Polygon(edge.points) if edge.closed else edge.line.convex_hull
    radius = 2.0 * rim.area / rim.length if rim.length else 0.0
    depth = radius * stretch_limit / (1.0 + stretch_limit)
    if finish.distance_mm <= depth or not edge.closed:
        return finish
    name = f"“{edge.edge.name}”" if edge.edge.name else "without a name"
    if depth < 1.0:
        notes.append(
            f"The opening's edge {name} is too tight to be wrapped without relief cuts; the piece "
            "ends flush there."
        )
        return EdgeFinish(Finish.FLUSH)
    depth = math.floor(10 * depth) / 10
    notes.append(
        f"The wrap into the opening's edge {name} was trimmed from {finish.distance_mm:g} mm to "
        f"{depth:g} mm: deeper, the film would stretch by more than {100 * stretch_limit:g} %."
    )
    return EdgeFinish(Finish.WRAP, depth)


def _strip(edge: FlatEdge, width: float) -> BaseGeometry:
    """What stopping short takes away, a little of the outside with it."""
    if edge.closed:
        return edge.line.buffer(width, quad_segs=_SEGMENTS)
    points = edge.points
    start, end = _direction(points), _direction(points[::-1])
    reach = _FAR * width
    if edge.before < math.pi:
        points = np.vstack([points[0] - _extension(reach, width, edge.before) * start, points])
    if edge.after < math.pi:
        points = np.vstack([points, points[-1] - _extension(reach, width, edge.after) * end])
    strip: BaseGeometry = LineString(points).buffer(width, cap_style="flat", quad_segs=_SEGMENTS)
    caps = [
        Point(corner).buffer(width, quad_segs=_SEGMENTS)
        for corner, angle in ((edge.points[0], edge.before), (edge.points[-1], edge.after))
        if angle >= math.pi
    ]
    return union_all([strip, *caps])


def _extension(reach: float, width: float, angle: float) -> float:
    """How far a strip runs on beyond a convex corner to leave a mitre there."""
    return min(reach, width / max(math.tan(0.5 * angle), 1e-3) + width)


def _direction(points: FloatArray) -> FloatArray:
    """The unit direction in which a line leaves its first point."""
    step = points[1] - points[0]
    unit: FloatArray = step / math.hypot(*step)
    return unit


def _flap(
    edge: FlatEdge, depth: float, before: EdgeFinish, after: EdgeFinish, base: BaseGeometry
) -> BaseGeometry:
    """The flap outside an edge, its ends trimmed."""
    if edge.closed:
        band = edge.line.buffer(depth, quad_segs=_SEGMENTS)
        return _touching(band.difference(base), edge)
    flap = edge.line.buffer(depth, cap_style="flat", quad_segs=_SEGMENTS).difference(base)
    for points, angle, neighbour in (
        (edge.points, edge.before, before),
        (edge.points[::-1], edge.after, after),
    ):
        flap = flap.difference(_end_wedge(points, angle, depth, neighbour, points is edge.points))
    return _touching(flap, edge)


def _end_wedge(
    points: FloatArray, angle: float, depth: float, neighbour: EdgeFinish, at_start: bool
) -> Polygon:
    """What is cut off a flap at one end: all beyond a line that leaves the corner slanting."""
    along = _direction(points)
    out = np.array([along[1], -along[0]]) if at_start else np.array([-along[1], along[0]])
    if neighbour.finish is Finish.WRAP:
        slant = 0.5 * min(angle, 2.0 * math.pi - angle)
        shift = 0.5 * RELIEF_MM / math.sin(slant)
    else:
        slant = min(_FREE_END, angle if angle < math.pi else 2.0 * math.pi - angle)
        shift = neighbour.distance_mm if neighbour.finish is Finish.SHORT else 0.0
    foot = points[0] + shift * along
    ray = math.cos(slant) * along + math.sin(slant) * out
    far = _FAR * (depth + shift + 1.0)
    back = -far * along
    return Polygon([foot, foot + far * ray, foot + far * ray + 2.0 * back, foot + 2.0 * back])


def _touching(flap: BaseGeometry, edge: FlatEdge) -> BaseGeometry:
    """The parts of a flap that hang on their edge; others reached across a gap."""
    parts = flap.geoms if isinstance(flap, MultiPolygon) else [flap]
    line = edge.line
    hanging = [part for part in parts if part.buffer(1e-6).intersection(line).length > 0.1]
    # Widened by a hair into the piece, so that the union has no seam of rounding.
    return union_all(hanging).buffer(1e-5, join_style="mitre")
