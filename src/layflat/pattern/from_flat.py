"""From a flattened panel to the pattern of its piece."""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np
from scipy.spatial import KDTree
from shapely import LinearRing, MultiPolygon, Point, Polygon, set_precision, union_all
from shapely.geometry.base import BaseGeometry
from shapely.geometry.polygon import orient

from layflat.base import CheckError, FloatArray, InputError, counted, frozen
from layflat.film import Flat
from layflat.pattern.curve import sample
from layflat.pattern.edges import FlatLoop, flat_loop
from layflat.pattern.finish import Finished, finish_edges
from layflat.pattern.fit import Fitted, fit_loop
from layflat.pattern.fold import Fold
from layflat.pattern.piece import Curve, EdgeFinish, EdgeRecord, Finish, Mark, MarkKind, Pattern
from layflat.pattern.relief import (
    Slit,
    opened_points,
    relief_notes,
    reliefs_of,
    with_round_tips,
)
from layflat.pattern.shape import to_polygon
from layflat.pattern.wrap_depth import Depths
from layflat.pattern.wrap_flat import in_the_flat, wrap_limits
from layflat.pattern.wrap_words import fold_notes
from layflat.surface import Edge, EdgeKind, Region, edge_lengths_mm

INNER_RADIUS_MM = 1.0
"""No inner corner of a cut-out round a keep-out is sharper: film tears from sharp ones."""

_FIRST_SHARE, _SECOND_SHARE = 0.2, 0.7
"""Parts of the deviation for the two fits, before and after the edges are finished."""

_SAMPLE_SHARE = 0.1
_CORNER_DEG = 12.0
_STEP_MM = 2.0
_ROUNDING_MM = 1e-4
_SAME_CORNER_MM = 1e-3
_DECIMALS = 6
_CRUMB_MM2 = 25.0
_SEAM_MM2 = 1e-3
_THREAD_MM = 1.0
_NECK_MM = 3.0
_SEGMENTS = 32
_TICK_MM = (0.5, 2.5)
_TICKED_EDGE_MM = 60.0
_NUMBER_BESIDE_MM = 2.0
_NOTHING: Mapping[int, Fold] = MappingProxyType({})


@dataclass(frozen=True, eq=False)
class KeepOutShape:
    """A keep-out in the flat.

    Attributes:
        name: what people call it.
        points_mm: (k, 2) float64, k >= 3, its rim.
        clearance_mm: bare gap kept round it.
    """

    name: str
    points_mm: FloatArray
    clearance_mm: float

    def __post_init__(self) -> None:
        object.__setattr__(self, "points_mm", frozen(self.points_mm).reshape(-1, 2))


@dataclass(frozen=True, eq=False)
class Made:
    """A pattern with what is to be said of it.

    Attributes:
        pattern: in the coordinates of the flat shape.
        notes: sentences on what was trimmed, merged, widened or asks for care.
        wraps: the wrapped edges, with how deep their flaps may be place by place.
    """

    pattern: Pattern
    notes: tuple[str, ...]
    wraps: tuple[tuple[Edge, Depths], ...] = ()


def from_flat(
    flat: Flat,
    region: Region,
    *,
    name: str,
    finishes: Callable[[Edge], EdgeFinish],
    keep_outs: Sequence[KeepOutShape] = (),
    folds: Mapping[int, Fold] = _NOTHING,
    deviation_mm: float = 0.05,
) -> Made:
    """The pattern of a piece.

    Args:
        flat: the flat shape of *region*'s mesh.
        region: its loops say which edge is where.
        name: the piece's name.
        finishes: how the piece ends at each edge.
        keep_outs: places that film must not cover, in the flat.
        folds: the metal that wraps are folded round, by `id` of the panel's edge; an edge without
            one is folded square, on metal that goes on.
        deviation_mm: how far the lines and arcs may lie from the computed line.

    Raises:
        InputError: the flat shape overlaps itself, or nothing or several parts are left of it.
        CheckError: the result failed its own check.
    """
    if len(flat.points_mm) != len(region.mesh.vertices_mm):
        raise InputError("The flat shape and the region do not belong to each other.")
    points = opened_points(flat, region)
    loops = [
        flat_loop(
            points[loop.vertices],
            loop.edge_of,
            loop.edges,
            deviation_mm=_FIRST_SHARE * deviation_mm,
            sample_mm=_SAMPLE_SHARE * deviation_mm,
        )
        for loop in region.loops
    ]
    slits = reliefs_of(region)
    wanted = [[_finish(finishes, edge.edge, slits) for edge in loop.edges] for loop in loops]
    finished = finish_edges(
        loops, wanted, limits=wrap_limits(flat.film), folds=in_the_flat(flat, region, folds)
    )
    notes = [*fold_notes(folds, region), *finished.notes, *relief_notes(flat, region)]
    shape = with_round_tips(finished.shape, points, slits)
    shape = _with_keep_outs(shape, keep_outs, deviation_mm, notes)
    piece = _one_part(shape, name, notes)
    _note_necks(piece, notes)
    # The fit looks at points only: long straight steps get points between.
    piece = piece.segmentize(_STEP_MM)
    corners = np.array(
        [edge.points[0] for loop in loops for edge in loop.edges if not edge.closed]
    ).reshape(-1, 2)
    drawn = _drawn(piece, corners, deviation_mm)
    pattern = Pattern(
        name=name,
        outline=drawn[0].curve,
        cut_outs=tuple(hole.curve for hole in drawn[1:]),
        marks=_marks(loops, finished, piece, name),
        edges=_records(region, loops, finished),
        deviation_mm=deviation_mm,
        outline_corners=drawn[0].corners,
    )
    _require_true(pattern, piece, deviation_mm)
    wraps = tuple(
        (edge.edge, profile)
        for loop, row in zip(loops, finished.wraps, strict=True)
        for edge, profile in zip(loop.edges, row, strict=True)
        if profile is not None
    )
    return Made(pattern, tuple(notes), wraps)


def _finish(
    finishes: Callable[[Edge], EdgeFinish], edge: Edge, slits: Sequence[Slit]
) -> EdgeFinish:
    """How the piece ends at an edge; the sides of a relief close on the car, so they are flush."""
    if edge.kind is EdgeKind.INNER and edge.name in {slit.name for slit in slits}:
        return EdgeFinish(Finish.FLUSH)
    return finishes(edge)


def _with_keep_outs(
    shape: BaseGeometry,
    keep_outs: Sequence[KeepOutShape],
    deviation_mm: float,
    notes: list[str],
) -> BaseGeometry:
    """The shape without its keep-outs, each with its clearance and rounded inner corners."""
    for item in keep_outs:
        rim = _rim(item, deviation_mm)
        gap = max(item.clearance_mm, INNER_RADIUS_MM)
        if gap > item.clearance_mm:
            notes.append(
                f"The gap round “{item.name}” was widened from {item.clearance_mm:g} mm to "
                f"{gap:g} mm, so that no inner corner is sharp."
            )
        hole = rim.buffer(gap, quad_segs=_SEGMENTS)
        # Closing rounds the hollow corners too: there the film would end in a thin tip.
        hole = hole.buffer(INNER_RADIUS_MM, quad_segs=_SEGMENTS)
        hole = hole.buffer(-INNER_RADIUS_MM, quad_segs=_SEGMENTS)
        thread = _thread(shape, hole)
        if hole.intersects(shape.boundary):
            tips = "" if thread.is_empty else ", thin tips of film beside it too"
            notes.append(
                f"The keep-out “{item.name}” reaches the piece's edge and is cut into it{tips}."
            )
        elif not thread.is_empty:
            notes.append(
                f"Beside the keep-out “{item.name}” the film would be a thread of less than "
                f"{_THREAD_MM:g} mm; it was taken away."
            )
        shape = shape.difference(hole.union(thread))
    return shape


def _thread(shape: BaseGeometry, hole: BaseGeometry) -> BaseGeometry:
    """What is left of the film between a hole and an edge nearby, if it would tear in weeding.

    It is what a closing of the bare places by a disc of half the thread's width fills in, near the
    hole.
    """
    bare = hole.buffer(6.0 * _THREAD_MM).difference(shape)
    if bare.is_empty:
        return bare
    bare = bare.union(hole)
    closed = bare.buffer(0.5 * _THREAD_MM, quad_segs=_SEGMENTS)
    closed = closed.buffer(-0.5 * _THREAD_MM, quad_segs=_SEGMENTS)
    filled = closed.difference(bare).intersection(hole.buffer(_THREAD_MM))
    parts = getattr(filled, "geoms", [filled])
    return union_all([part.buffer(1e-3) for part in parts if part.area > _SEAM_MM2])


def _rim(item: KeepOutShape, deviation_mm: float) -> Polygon:
    """What a keep-out covers: the smooth line through the points of its rim."""
    if not Polygon(item.points_mm).is_valid:
        raise InputError(f"The rim of the keep-out “{item.name}” crosses itself in the flat.")
    share = _FIRST_SHARE * deviation_mm
    fitted = fit_loop(item.points_mm, deviation_mm=share, tight_bends=False)
    return Polygon(sample(fitted.curve, deviation_mm=_SAMPLE_SHARE * deviation_mm))


def _one_part(shape: BaseGeometry, name: str, notes: list[str]) -> Polygon:
    """The piece as one polygon on a fine grid, without the unions' steps; crumbs are left out."""
    shape = set_precision(shape, _ROUNDING_MM).simplify(_ROUNDING_MM)
    parts = list(shape.geoms) if isinstance(shape, MultiPolygon) else [shape]
    parts = [part for part in parts if isinstance(part, Polygon) and not part.is_empty]
    parts.sort(key=lambda part: -part.area)
    if not parts or parts[0].area < _CRUMB_MM2:
        raise InputError(
            f"Nothing is left of “{name}” once its edges are stopped short and its keep-outs are "
            "cut. Stop less short, or leave the panel out."
        )
    large = [part for part in parts[1:] if part.area >= _CRUMB_MM2]
    if large:
        place = large[0].representative_point()
        raise InputError(
            f"“{name}” falls into {len(large) + 1} parts, one of {large[0].area / 100:.1f} cm² "
            f"near x {place.x:.0f}, y {place.y:.0f} mm: stopping short or a keep-out cuts it "
            "through. Stop less short there, or cover the parts as panels of their own."
        )
    if len(parts) > 1:
        notes.append(
            f"Left out: {counted(len(parts) - 1, 'crumb')} of less than {_CRUMB_MM2:g} mm²."
        )
    holes = [ring for ring in parts[0].interiors if Polygon(ring).area > _SEAM_MM2]
    return orient(Polygon(parts[0].exterior, holes))


def _note_necks(piece: Polygon, notes: list[str]) -> None:
    """Say where the film is so narrow that it tears or curls in weeding."""
    opened = piece.buffer(-0.5 * _NECK_MM).buffer(0.5 * _NECK_MM + 0.01)
    narrow = [
        part
        for part in getattr(piece.difference(opened), "geoms", [piece.difference(opened)])
        if part.area > _NECK_MM**2
    ]
    if narrow:
        place = narrow[0].representative_point()
        notes.append(
            f"The film is narrower than {_NECK_MM:g} mm in {counted(len(narrow), 'place')}, "
            f"first near x {place.x:.0f}, y {place.y:.0f} mm: weed with care."
        )


def _drawn(piece: Polygon, panel_corners: FloatArray, deviation_mm: float) -> list[Fitted]:
    """Lines and arcs for the outline and the cut-outs of a piece.

    Each ring is first drawn with as few as the deviation bears; if such a line runs astray between
    the points, it is drawn more closely.
    """
    found = []
    for ring in (piece.exterior, *piece.interiors):
        for share in (_SECOND_SHARE, 0.5 * _SECOND_SHARE, 0.1 * _SECOND_SHARE):
            fitted = _fitted(ring.coords, panel_corners, share * deviation_mm)
            line = LinearRing(sample(fitted.curve, deviation_mm=_SAMPLE_SHARE * deviation_mm))
            if line.hausdorff_distance(ring) <= deviation_mm * (1.0 - _FIRST_SHARE):
                break
        found.append(fitted)
    return found


def _fitted(ring: object, panel_corners: FloatArray, deviation_mm: float) -> Fitted:
    """Lines and arcs through a ring; where it passes a corner of the panel, it keeps it."""
    points = np.asarray(ring, np.float64)[:-1, :2]
    away, nearest = (np.asarray(part) for part in KDTree(points).query(panel_corners))
    fitted = fit_loop(
        points,
        corners=np.unique(nearest[away < _SAME_CORNER_MM]),
        deviation_mm=deviation_mm,
        least_corner_deg=_CORNER_DEG,
        tight_bends=False,
    )
    rounded = Curve(np.round(fitted.curve.points_mm, _DECIMALS), fitted.curve.bulges)
    return replace(fitted, curve=rounded)


def _records(
    region: Region, loops: Sequence[FlatLoop], finished: Finished
) -> tuple[EdgeRecord, ...]:
    """What became of each edge, in the order of the panel's loops."""
    records = []
    for lengths, source, loop, row in zip(
        edge_lengths_mm(region), region.loops, loops, finished.finishes, strict=True
    ):
        on_car = {id(edge): float(size) for edge, size in zip(source.edges, lengths, strict=True)}
        records += [
            EdgeRecord(
                name=edge.edge.name,
                kind=edge.edge.kind,
                finish=finish,
                surface_length_mm=on_car[id(edge.edge)],
                flat_length_mm=edge.length_mm,
            )
            for edge, finish in zip(loop.edges, row, strict=True)
        ]
    return tuple(records)


def _marks(
    loops: Sequence[FlatLoop], finished: Finished, piece: Polygon, name: str
) -> tuple[Mark, ...]:
    """Ticks beside the middle of longer edges, and the number's place, all off the film."""
    marks = []
    for edge, finish in zip(loops[0].edges, finished.finishes[0], strict=True):
        if edge.closed or edge.length_mm < _TICKED_EDGE_MM:
            continue
        tick = _tick(edge.points, piece)
        if tick is not None:
            label = edge.edge.name or finish.finish.value
            marks.append(Mark(MarkKind.ALIGN, tick, label))
    x_least, y_least, *_ = piece.bounds
    lowest = min(piece.exterior.coords, key=lambda point: (point[1], point[0]))
    place = np.array([lowest[0], y_least - _NUMBER_BESIDE_MM])
    if piece.contains(Point(place)):
        place = np.array([x_least - _NUMBER_BESIDE_MM, lowest[1]])
    marks.append(Mark(MarkKind.NUMBER, place[None], name))
    return tuple(marks)


def _tick(points: FloatArray, piece: Polygon) -> FloatArray | None:
    """A short line square to the edge's middle, just outside the piece."""
    steps = np.hypot(*np.diff(points, axis=0).T)
    at = int(np.searchsorted(np.cumsum(steps), 0.5 * steps.sum()))
    along = points[at + 1] - points[at]
    outward = np.array([along[1], -along[0]]) / math.hypot(*along)
    middle = 0.5 * (points[at] + points[at + 1])
    reach = 80.0
    ray = [middle + share * outward for share in np.linspace(-reach, reach, 641)]
    inside = [piece.covers(Point(point)) for point in ray]
    if not any(inside):
        return None
    last = max(i for i, here in enumerate(inside) if here and abs(i - 320) < 200)
    edge = ray[last]
    tick = np.stack([edge + share * outward for share in _TICK_MM])
    return None if piece.intersects(Point(tick[1])) else tick


def _require_true(pattern: Pattern, piece: Polygon, deviation_mm: float) -> None:
    """Our own check: the drawn pattern is the computed piece to within the deviation."""
    drawn = to_polygon(pattern, deviation_mm=0.1 * deviation_mm)
    if not drawn.is_valid or len(drawn.interiors) != len(piece.interiors):
        raise CheckError(f"The pattern of “{pattern.name}” touches itself.")
    limit = 1.2 * deviation_mm
    if not (drawn.buffer(limit).covers(piece) and piece.buffer(limit).covers(drawn)):
        away = drawn.boundary.hausdorff_distance(piece.boundary)
        raise CheckError(
            f"The pattern of “{pattern.name}” lies up to {away:.3f} mm from the computed piece; "
            f"{deviation_mm:g} mm are allowed."
        )
