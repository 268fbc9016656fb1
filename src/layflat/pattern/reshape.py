"""Edges and free places of a flat pattern without a surface: named, given allowances, cut out.

An allowance is a strip of even width outside an edge, as deep as a person says: without the
surface nothing tells how deep a wrap the film bears. Strips end square at corners, so that two of
them leave a notch between them and the film turns both edges without a fold.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np
from shapely import LinearRing, MultiPoint, Polygon, union_all
from shapely.geometry.base import BaseGeometry

from layflat.base import CheckError, FloatArray, InputError, counted
from layflat.pattern.curve import sample
from layflat.pattern.cut_joint import nearest_place, with_joints
from layflat.pattern.fit import fit_loop
from layflat.pattern.piece import Curve, EdgeFinish, EdgeRecord, Finish, Mark, MarkKind, Pattern
from layflat.pattern.shape import to_polygon
from layflat.surface import EdgeKind

MOST_ALLOWANCE_MM: Final = 100.0
MOST_PLACE_MM: Final = 2000.0
FIT_MM: Final = 0.05
"""How far the outline may lie from the computed one where an allowance was added."""

_LEAST_EDGE_MM = 1.0
_LEAST_PLACE_MM = 2.0
_ROUND_MM = 1.0
_SAMPLE_MM = 0.005
_CORNER_DEG = 12.0
_MOST_MITRE = 3.0
_BRIDGE_MM = 1.0
_SMOOTH = 0.98
_TICK_MM = (0.5, 2.5)
_QUARTER = math.tan(math.pi / 8.0)


@dataclass(frozen=True)
class EdgeWish:
    """What is asked of one edge.

    Attributes:
        name: unique within the pattern, or "".
        kind: what the panel has there.
        allowance_mm: the strip that is added outside of it, 0 to 100.
    """

    name: str
    kind: EdgeKind
    allowance_mm: float = 0.0


@dataclass(frozen=True)
class FreePlace:
    """A place that film must not cover.

    Attributes:
        name: what people call it.
        shape: a circle, or a rectangle along x and y whose corners are rounded by 1 mm.
        x_mm, y_mm: its middle.
        wide_mm, high_mm: its extents, 2 to 2000; a circle has its diameter in both.
    """

    name: str
    shape: Literal["circle", "rectangle"]
    x_mm: float
    y_mm: float
    wide_mm: float
    high_mm: float


@dataclass(frozen=True, eq=False)
class Reshaped:
    """A pattern whose edges and places are as asked.

    Attributes:
        pattern: in the coordinates of the one that it was made from.
        said: sentences on what was done and left out.
    """

    pattern: Pattern
    said: tuple[str, ...]


def edge_lines(net: Pattern, corners: Sequence[tuple[float, float]]) -> tuple[FloatArray, ...]:
    """The outline cut at corners: (k, 2) float64 for each edge, counter-clockwise, for pictures.

    Args:
        net: the pattern without allowances.
        corners: places on or near the outline in the order in which it passes them; without any
            it is one edge that ends where it begins.

    Raises:
        InputError: two corners lie within 1 mm of each other along the outline, or out of order.
    """
    return _cut(net, corners)[1]


def ordered_corners(
    net: Pattern, corners: Sequence[tuple[float, float]]
) -> tuple[tuple[float, float], ...]:
    """Places near the outline moved onto it, in the order in which it passes them."""
    found = sorted(nearest_place(net.outline, corner) for corner in corners)
    outline, joints = with_joints(net.outline, found)
    return tuple((float(x), float(y)) for x, y in outline.points_mm[joints])


def reshape(
    net: Pattern,
    *,
    corners: Sequence[tuple[float, float]],
    edges: Sequence[EdgeWish],
    places: Sequence[FreePlace] = (),
    marks: Sequence[Mark] = (),
) -> Reshaped:
    """The pattern with named edges, allowances, free places and marks.

    Args:
        net: the pattern without allowances; its cut-outs stay, its marks are left out.
        corners: see `edge_lines`.
        edges: one for each stretch between corners, the first begins at the first corner; one
            alone where there is no corner.
        places: that stay free.
        marks: that the pattern bears, its number among them if wanted; each named edge gets one
            more, beside its middle.

    Raises:
        InputError: a number is out of range, a name is used twice, strips meet, or a place lies
            across the outline, a cut-out or another place; says which.
        CheckError: the result failed its own check.
    """
    _require_wishes(edges, places, count=max(1, len(corners)))
    outline, lines, joints = _cut(net, corners)
    said: list[str] = []
    if any(edge.allowance_mm > 0 for edge in edges):
        outline, joints = _with_strips(net, lines, edges)
        wide = ", ".join(
            f"{edge.allowance_mm:g} mm at {edge.name or f'edge {number}'}"
            for number, edge in enumerate(edges, 1)
            if edge.allowance_mm > 0
        )
        said.append(
            f"Added outside the edges: {wide}. Typed by a person; how far the film can be wrapped "
            "there is not known without the surface."
        )
    film = Polygon(sample(outline, deviation_mm=_SAMPLE_MM))
    cut_outs = [*net.cut_outs]
    for place in places:
        hole = _hole(place)
        _require_room(place, hole, film, cut_outs)
        cut_outs.append(hole)
    pattern = replace(
        net,
        outline=outline,
        cut_outs=tuple(cut_outs),
        outline_corners=np.asarray(joints, np.int64),
        marks=(*marks, *_ticks(lines, edges, film, said)),
        edges=tuple(_record(edge, line) for edge, line in zip(edges, lines, strict=True)),
    )
    if not to_polygon(pattern).is_valid:
        raise CheckError(f"The pattern of “{net.name}” touches itself with these edges.")
    return Reshaped(pattern, tuple(said))


def _require_wishes(edges: Sequence[EdgeWish], places: Sequence[FreePlace], *, count: int) -> None:
    if len(edges) != count:
        raise InputError(
            f"{counted(len(edges), 'edge is', 'edges are')} described, and the outline has {count}."
        )
    names = [edge.name for edge in edges if edge.name]
    twice = next((name for name in names if names.count(name) > 1), None)
    if twice is not None:
        raise InputError(f"Two edges are called “{twice}”; give one another name.")
    for edge in edges:
        if not 0 <= edge.allowance_mm <= MOST_ALLOWANCE_MM:
            raise InputError(
                f"An allowance is {edge.allowance_mm:g} mm; it must be 0 to "
                f"{MOST_ALLOWANCE_MM:g} mm."
            )
    for place in places:
        sizes = (place.wide_mm, place.high_mm)
        if not all(_LEAST_PLACE_MM <= size <= MOST_PLACE_MM for size in sizes):
            raise InputError(
                f"“{place.name}” must be {_LEAST_PLACE_MM:g} to {MOST_PLACE_MM:g} mm wide and high."
            )
        if not (math.isfinite(place.x_mm) and math.isfinite(place.y_mm)):
            raise InputError(f"The middle of “{place.name}” is no place; give x and y in mm.")


def _cut(
    net: Pattern, corners: Sequence[tuple[float, float]]
) -> tuple[Curve, tuple[FloatArray, ...], list[int]]:
    """The outline with a joint at each corner, its edges as lines, and the corners' joints."""
    if not corners:
        points = sample(net.outline, deviation_mm=_SAMPLE_MM)
        return net.outline, (np.vstack((points, points[:1])),), []
    places = [nearest_place(net.outline, corner) for corner in corners]
    if places != sorted(places):
        raise InputError("The corners do not follow each other along the outline.")
    outline, joints = with_joints(net.outline, places)
    points = sample(outline, deviation_mm=_SAMPLE_MM)
    at = [int(np.argmin(np.hypot(*(points - outline.points_mm[i]).T))) for i in joints]
    lines = []
    for number, start in enumerate(at):
        end = at[(number + 1) % len(at)]
        whole = np.vstack((points[start:], points[: end + 1])) if end <= start else None
        lines.append(points[start : end + 1] if whole is None else whole)
    for line in lines:
        if np.hypot(*np.diff(line, axis=0).T).sum() < _LEAST_EDGE_MM:
            raise InputError(
                f"Two corners lie within {_LEAST_EDGE_MM:g} mm of each other; join the edges there."
            )
    return outline, tuple(lines), joints


def _with_strips(
    net: Pattern, lines: Sequence[FloatArray], edges: Sequence[EdgeWish]
) -> tuple[Curve, list[int]]:
    """The outline with its strips, and the joints that are corners."""
    base = Polygon(sample(net.outline, deviation_mm=_SAMPLE_MM))
    strips = [
        piece
        for line, edge in zip(lines, edges, strict=True)
        if edge.allowance_mm > 0
        for piece in _strip(line, edge.allowance_mm)
    ]
    # Strips that only touch the base along a line are taken a hair into it.
    shape: BaseGeometry = (
        union_all([base, *strips])
        .buffer(1e-4, join_style="mitre")
        .buffer(-1e-4, join_style="mitre")
    )
    if not isinstance(shape, Polygon) or shape.interiors:
        raise InputError(
            "Allowances of two edges meet across a hollow; make one of them smaller there."
        )
    ring = np.asarray(shape.exterior.coords)[:-1]
    if not shape.exterior.is_ccw:
        ring = ring[::-1]
    fitted = fit_loop(
        ring, deviation_mm=0.7 * FIT_MM, least_corner_deg=_CORNER_DEG, tight_bends=False
    )
    drawn = LinearRing(sample(fitted.curve, deviation_mm=0.1 * FIT_MM))
    if drawn.hausdorff_distance(shape.exterior) > FIT_MM:
        raise CheckError(f"The outline of “{net.name}” could not be drawn closely enough.")
    return fitted.curve, [int(joint) for joint in fitted.corners]


def _strip(line: FloatArray, wide_mm: float) -> list[Polygon]:
    """A strip on the right of a line, as four-sided pieces."""
    steps = np.diff(line, axis=0)
    keep = np.hypot(*steps.T) > 1e-9
    points = np.vstack((line[:1], line[1:][keep]))
    steps = np.diff(points, axis=0)
    steps = steps / np.hypot(*steps.T)[:, None]
    closed = np.allclose(points[0], points[-1])
    before = np.vstack((steps[-1:] if closed else _run_on(steps), steps))
    after = np.vstack((steps, steps[:1] if closed else _run_on(steps[::-1])))
    sums = before + after
    sizes = np.maximum(np.hypot(*sums.T), 2.0 / _MOST_MITRE)
    normals = 2.0 * np.column_stack((sums[:, 1], -sums[:, 0])) / (sizes**2)[:, None]
    outer = points + wide_mm * normals
    found = []
    for i in range(len(points) - 1):
        corners = np.vstack((points[i : i + 2], outer[i : i + 2]))
        quad = MultiPoint(corners).convex_hull
        if isinstance(quad, Polygon):
            found.append(quad)
    return found


def _run_on(steps: FloatArray) -> FloatArray:
    """(1, 2): the direction before the first step, so that an arc's end gets its own tangent."""
    if len(steps) < 2 or steps[0] @ steps[1] < _SMOOTH:
        return steps[:1]
    back = 2.0 * steps[:1] - steps[1:2]
    return np.asarray(back / np.hypot(*back[0]), np.float64)


def _hole(place: FreePlace) -> Curve:
    """A free place as a cut-out, clockwise."""
    x, y = place.x_mm, place.y_mm
    if place.shape == "circle":
        r = 0.5 * place.wide_mm
        return Curve(np.array([[x - r, y], [x + r, y]]), np.array([-1.0, -1.0]))
    a, b = 0.5 * place.wide_mm, 0.5 * place.high_mm
    r = min(_ROUND_MM, 0.5 * a, 0.5 * b)
    points = [
        (-a, b - r), (-a + r, b), (a - r, b), (a, b - r),
        (a, -b + r), (a - r, -b), (-a + r, -b), (-a, -b + r),
    ]  # fmt: skip
    bulges = np.array([-_QUARTER, 0.0] * 4)
    return Curve(np.array(points) + np.array([x, y]), bulges)


def _require_room(place: FreePlace, hole: Curve, film: Polygon, others: Sequence[Curve]) -> None:
    shape = Polygon(sample(hole, deviation_mm=_SAMPLE_MM))
    if not film.contains(shape) or film.exterior.distance(shape) < _BRIDGE_MM:
        raise InputError(
            f"“{place.name}” lies across the outline, or less than {_BRIDGE_MM:g} mm inside it; "
            "move it or make it smaller."
        )
    for other in others:
        if shape.distance(Polygon(sample(other, deviation_mm=_SAMPLE_MM))) < _BRIDGE_MM:
            raise InputError(
                f"“{place.name}” lies less than {_BRIDGE_MM:g} mm from another place that is cut "
                "out; move it, or make one place of both."
            )


def _ticks(
    lines: Sequence[FloatArray], edges: Sequence[EdgeWish], film: Polygon, said: list[str]
) -> list[Mark]:
    """A short line beside the middle of each named edge, off the film."""
    found = []
    for line, edge in zip(lines, edges, strict=True):
        if not edge.name:
            continue
        steps = np.hypot(*np.diff(line, axis=0).T)
        way = np.cumsum(steps)
        at = min(int(np.searchsorted(way, 0.5 * way[-1])), len(steps) - 1)
        along = (line[at + 1] - line[at]) / steps[at]
        share = 0.5 * way[-1] - (way[at] - steps[at])
        middle = line[at] + share * along
        outward = np.array([along[1], -along[0]])
        tick = np.stack([middle + (edge.allowance_mm + far) * outward for far in _TICK_MM])
        if film.intersects(MultiPoint(tick)):
            said.append(f"The edge “{edge.name}” has no mark: there is no room beside its middle.")
            continue
        found.append(Mark(MarkKind.ALIGN, tick, edge.name))
    return found


def _record(edge: EdgeWish, line: FloatArray) -> EdgeRecord:
    length = float(np.hypot(*np.diff(line, axis=0).T).sum())
    finish = Finish.WRAP if edge.allowance_mm > 0 else Finish.FLUSH
    # Without a surface the flat line's length is all that is known of the panel's edge.
    return EdgeRecord(edge.name, edge.kind, EdgeFinish(finish, edge.allowance_mm), length, length)
