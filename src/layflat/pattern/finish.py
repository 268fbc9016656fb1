"""How a piece ends at the edges of its panel: stopped short, flush, or wrapped round.

Stopping short takes a strip of the given width off the inside of the edge. At an outer corner
the strip runs straight on, so that two of them meet in a mitre; round a hollow corner it is round.
A wrap adds a flap outside the edge (`layflat.pattern.wrap`).
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from shapely import LineString, Point, union_all
from shapely.geometry.base import BaseGeometry

from layflat.pattern.edges import FlatEdge, FlatLoop
from layflat.pattern.fold import Limits
from layflat.pattern.piece import EdgeFinish, Finish
from layflat.pattern.wrap import direction, flap, relief
from layflat.pattern.wrap_depth import Depths, Fixed, depths
from layflat.pattern.wrap_words import feasible, possible

_SEGMENTS = 32
_FAR = 8.0
_NOTHING: Mapping[int, Fixed] = MappingProxyType({})


@dataclass(frozen=True, eq=False)
class Finished:
    """A piece with its edges finished.

    Attributes:
        shape: the piece, with holes.
        finishes: for each loop and edge what was really done; of a flap that was trimmed, its
            greatest depth.
        wraps: for each loop and edge how deep its flap may be, place by place; None where no wrap
            was asked for or none can be had.
        notes: sentences on what was trimmed.
    """

    shape: BaseGeometry
    finishes: tuple[tuple[EdgeFinish, ...], ...]
    wraps: tuple[tuple[Depths | None, ...], ...]
    notes: tuple[str, ...]


def finish_edges(
    loops: Sequence[FlatLoop],
    wanted: Sequence[Sequence[EdgeFinish]],
    *,
    limits: Limits,
    folds: Mapping[int, Fixed] = _NOTHING,
) -> Finished:
    """The flat panel with each edge stopped short, flush or wrapped.

    Args:
        loops: the outer loop, then the openings.
        wanted: for each loop and edge how it shall end.
        limits: what the film bears where it is wrapped.
        folds: the metal that flaps are folded round, by `id` of the panel's edge, where known.
    """
    notes: list[str] = []
    base: BaseGeometry = loops[0].polygon
    for hole in loops[1:]:
        base = base.difference(hole.polygon)
    done: list[tuple[EdgeFinish, ...]] = []
    wraps: list[tuple[Depths | None, ...]] = []
    flaps: list[BaseGeometry] = []
    cuts: list[BaseGeometry] = []
    for loop, asked in zip(loops, wanted, strict=True):
        row = [
            feasible(edge, finish, notes) for edge, finish in zip(loop.edges, asked, strict=True)
        ]
        profiles = [
            depths(edge, finish.distance_mm, base, limits=limits, fixed=folds.get(id(edge.edge)))
            if finish.finish is Finish.WRAP and finish.distance_mm > 0
            else None
            for edge, finish in zip(loop.edges, row, strict=True)
        ]
        actual = [
            finish if profile is None else possible(edge, finish, profile, limits, notes)
            for edge, finish, profile in zip(loop.edges, row, profiles, strict=True)
        ]
        profiles = [
            profile if finish.finish is Finish.WRAP else None
            for finish, profile in zip(actual, profiles, strict=True)
        ]
        done.append(tuple(actual))
        wraps.append(tuple(profiles))
        for i, (edge, finish, profile) in enumerate(zip(loop.edges, actual, profiles, strict=True)):
            before, after = actual[i - 1], actual[(i + 1) % len(actual)]
            if finish.finish is Finish.SHORT and finish.distance_mm > 0:
                cuts.append(_strip(edge, finish.distance_mm))
            elif profile is not None:
                flaps.append(flap(edge, profile, before, after, base))
                round_end = relief(edge, loop.edges[(i + 1) % len(actual)])
                if round_end is not None and after.finish is Finish.WRAP:
                    cuts.append(round_end)
    # A flap ends where the neighbour's strip begins, so strips go last.
    shape = union_all([base, *flaps]).difference(union_all(cuts))
    return Finished(shape, tuple(done), tuple(wraps), tuple(notes))


def _strip(edge: FlatEdge, width: float) -> BaseGeometry:
    """What stopping short takes away, a little of the outside with it."""
    if edge.closed:
        return edge.line.buffer(width, quad_segs=_SEGMENTS)
    points = edge.points
    start, end = direction(points), direction(points[::-1])
    if edge.before < math.pi:
        points = np.vstack([points[0] - _extension(width, edge.before) * start, points])
    if edge.after < math.pi:
        points = np.vstack([points, points[-1] - _extension(width, edge.after) * end])
    strip: BaseGeometry = LineString(points).buffer(width, cap_style="flat", quad_segs=_SEGMENTS)
    caps = [
        Point(corner).buffer(width, quad_segs=_SEGMENTS)
        for corner, angle in ((edge.points[0], edge.before), (edge.points[-1], edge.after))
        if angle >= math.pi
    ]
    return union_all([strip, *caps])


def _extension(width: float, angle: float) -> float:
    """How far a strip runs on beyond an outer corner to leave a mitre there."""
    return min(_FAR * width, width / max(math.tan(0.5 * angle), 1e-3) + width)
