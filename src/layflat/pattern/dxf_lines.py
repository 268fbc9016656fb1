"""What one entity of a DXF draws: points, bulges, and whether it is closed."""

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from layflat.base import DrawingError, FloatArray
from layflat.pattern.free_curves import ellipse_chords, spline_chords

_MOST_SPLINE_NUMBERS = 30_000
_MOST_SPLINE_DEGREE = 20
_ROUND = 1e-7
_FRAME = 16
"""The flag of a polyline's vertex that belongs to a spline's frame, not to the line."""


@dataclass(frozen=True, eq=False)
class Drawn:
    """A line of an entity, in the drawing's units and axes.

    Attributes:
        points: (k, 3) float64.
        bulges: (k,) when closed, (k - 1,) when open.
        closed: whether the last point is joined to the first.
        free: whether chords stand for a curve that is no arc.
        fitted: whether the file gives only points that the curve passes.
    """

    points: FloatArray
    bulges: FloatArray
    closed: bool
    free: bool = False
    fitted: bool = False


def drawn(entity: Any, source: str, *, deviation: float) -> Iterator[Drawn] | None:
    """The lines of an entity; None if it is none that draws lines.

    Args:
        entity: of `ezdxf`.
        source: for messages.
        deviation: of chords that stand for free curves, in the drawing's units.

    Raises:
        DrawingError: (while iterating) it is damaged, too large or not in the drawing's plane.
    """
    drawer = _DRAWERS.get(entity.dxftype())
    if drawer is None or (entity.dxftype() == "POLYLINE" and _is_mesh(entity)):
        return None
    return drawer(entity, source, deviation)


def _is_mesh(entity: Any) -> bool:
    return not (entity.is_2d_polyline or entity.is_3d_polyline)


def _line(entity: Any, _source: str, _deviation: float) -> Iterator[Drawn]:
    """A LINE, in world coordinates."""
    yield Drawn(np.array([entity.dxf.start, entity.dxf.end], dtype=np.float64), np.zeros(1), False)


def _arc(entity: Any, source: str, _deviation: float) -> Iterator[Drawn]:
    """An ARC or a CIRCLE; an arc of more than a half circle comes in two halves."""
    whole = entity.dxftype() == "CIRCLE"
    start, sweep = 0.0, 2.0 * math.pi
    if not whole:
        angles = (entity.dxf.start_angle, entity.dxf.end_angle)
        if not all(math.isfinite(angle) for angle in angles):
            raise DrawingError(f"{source} holds a number that is not finite.")
        start = math.radians(angles[0])
        sweep = math.radians((angles[1] - angles[0]) % 360.0) or sweep
    closed = whole or sweep >= 2.0 * math.pi
    count = 2 if sweep > math.pi else 1
    turned = start + sweep * np.arange(count if closed else count + 1) / count
    x, y, z = entity.dxf.center
    radius = abs(float(entity.dxf.radius))
    points = np.column_stack(
        (x + radius * np.cos(turned), y + radius * np.sin(turned), np.full(len(turned), z))
    )
    bulges = np.full(count, math.tan(sweep / count / 4.0))
    yield Drawn(*_to_world(entity, points, bulges, source), closed)


def _lwpolyline(entity: Any, source: str, _deviation: float) -> Iterator[Drawn]:
    """An LWPOLYLINE with its bulges."""
    rows = np.array(entity.get_points("xyb"), dtype=np.float64).reshape(-1, 3)
    points = np.column_stack((rows[:, :2], np.full(len(rows), entity.dxf.elevation)))
    bulges = rows[:, 2] if entity.closed else rows[:-1, 2]
    yield Drawn(*_to_world(entity, points, bulges, source), bool(entity.closed))


def _polyline(entity: Any, source: str, _deviation: float) -> Iterator[Drawn]:
    """A POLYLINE, in the plane or in space, with what fits a curve to it."""
    vertices = [v for v in entity.vertices if not v.dxf.flags & _FRAME]
    points = np.array([v.dxf.location for v in vertices], dtype=np.float64).reshape(-1, 3)
    bulges = np.array([v.dxf.get("bulge", 0.0) for v in vertices], dtype=np.float64)
    closed = bool(entity.is_closed)
    bulges = bulges if closed else bulges[:-1]
    if entity.is_3d_polyline:
        yield Drawn(points, np.zeros_like(bulges), closed)
    else:
        # The height of a flat polyline stands with the entity, not with its vertices.
        height = float(np.array(entity.dxf.get("elevation", (0.0, 0.0, 0.0)))[2])
        points = np.column_stack((points[:, :2], np.full(len(points), height)))
        yield Drawn(*_to_world(entity, points, bulges, source), closed)


def _ellipse(entity: Any, source: str, deviation: float) -> Iterator[Drawn]:
    """An ELLIPSE or a part of one, in world coordinates."""
    centre, major, minor = (
        np.array(tuple(vector), dtype=np.float64)
        for vector in (entity.dxf.center, entity.dxf.major_axis, _minor(entity))
    )
    ends = (float(entity.dxf.start_param), float(entity.dxf.end_param))
    if not (np.isfinite([*centre, *major, *minor, *ends]).all()):
        raise DrawingError(f"{source} holds a number that is not finite.")
    sweep = (ends[1] - ends[0]) % math.tau
    if sweep < _ROUND or sweep > math.tau - _ROUND:
        sweep = math.tau
    points = ellipse_chords(centre, major, minor, start=ends[0], sweep=sweep, deviation=deviation)
    closed = sweep == math.tau
    points = points[:-1] if closed else points
    yield Drawn(points, np.zeros(len(points) - (not closed)), closed, free=True)


def _minor(entity: Any) -> FloatArray:
    """The lesser half axis: square to the greater one, counter-clockwise seen from outside."""
    normal = np.array(tuple(entity.dxf.get("extrusion", (0.0, 0.0, 1.0))), dtype=np.float64)
    size = float(np.linalg.norm(normal))
    major = np.array(tuple(entity.dxf.major_axis), dtype=np.float64)
    return np.cross(normal / size if size else normal, major) * float(entity.dxf.ratio)


def _spline(entity: Any, source: str, deviation: float) -> Iterator[Drawn]:
    """A SPLINE, by its control points or by the points that it passes."""
    parts = (entity.control_points, entity.knots, entity.weights, entity.fit_points)
    numbers = np.concatenate([np.ravel(np.array(part, dtype=np.float64)) for part in parts])
    degree = int(entity.dxf.degree)
    sizes = len(numbers) > _MOST_SPLINE_NUMBERS or degree > _MOST_SPLINE_DEGREE
    if sizes or not np.isfinite(numbers).all():
        raise DrawingError(f"{source} is too large or not finite.")
    fitted = not len(entity.control_points)
    tool = entity.construction_tool() if fitted or not len(entity.knots) else None
    if tool is not None:
        controls, knots, weights = tool.control_points, tool.knots(), tool.weights()
        degree = tool.order - 1
    else:
        controls, knots, weights = parts[:3]
    points = spline_chords(
        np.array([tuple(point) for point in controls], dtype=np.float64).reshape(-1, 3),
        np.array(knots, dtype=np.float64),
        np.array(weights, dtype=np.float64),
        degree=degree,
        deviation=deviation,
        source=source,
    )
    closed = len(points) > 3 and bool(np.linalg.norm(points[0] - points[-1]) < 1e-6)
    points = points[:-1] if closed else points
    yield Drawn(points, np.zeros(len(points) - (not closed)), closed, free=True, fitted=fitted)


def _to_world(
    entity: Any, points: FloatArray, bulges: FloatArray, source: str
) -> tuple[FloatArray, FloatArray]:
    """From the entity's own plane to the drawing's; a plane seen from below mirrors it."""
    normal = np.array(entity.dxf.get("extrusion", (0.0, 0.0, 1.0)), dtype=np.float64)
    size = float(np.linalg.norm(normal))
    if not size > 0 or np.hypot(*normal[:2]) > 1e-6 * size:
        raise DrawingError(
            f"{source} does not lie in the plane of the drawing; turn it into the plane first."
        )
    if normal[2] > 0:
        return points, bulges
    return points * np.array([-1.0, 1.0, -1.0]), -bulges


_DRAWERS: dict[str, Callable[[Any, str, float], Iterator[Drawn]]] = {
    "LINE": _line,
    "ARC": _arc,
    "CIRCLE": _arc,
    "LWPOLYLINE": _lwpolyline,
    "POLYLINE": _polyline,
    "ELLIPSE": _ellipse,
    "SPLINE": _spline,
}
