"""The files of one piece's fit: its surface, its flat, its map; triangle k is the same in each.

The JSON of the flat reads::

    {"unit": "mm", "forward": [x, y, z], "up": [x, y, z], "away": [x, y, z],
     "points": [x, y, …], "faces": [i, j, k, …],
     "stretch": […], "compression": […], "direction": […],
     "outline": [x, y, …], "cut_outs": [[x, y, …], …], "box": [x0, y0, x1, y1],
     "edges": [{"name", "title", "kind", "opening", "vertices": [i, …]}],
     "free": [{"name", "points": [x, y, …]}],
     "places": [{"kind", "face", "value", "sentence"}],
     "stretch_limit": …, "finger_limit": …,
     "map": {"width_mm", "height_mm", "to_map": [a, b, c, d, e, f]}}

`points`, `faces` and what is listed per face are in the order of the surface "piece" of the GLB
file; an edge's `vertices` count these points. `stretch` is the greater principal stretch less 1
and `compression` 1 less the lesser one, fractions with their sign, to 1e-4; `direction` is the
greater one's in the flat, whole degrees from x, 0 to 179. `away` points from the piece to who
looks at it. `to_map` takes the flat (x, y) to the map's viewBox: X = ax + cy + e, Y = bx + dy + f.
For `places` see `layflat.web.cover.fit_places`.
"""

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from layflat.base import FloatArray
from layflat.film import to_flat
from layflat.job import Piece
from layflat.papers import (
    PieceMap,
    panel_title,
    piece_map,
    strain_vertex_colours,
    vertex_normals,
)
from layflat.pattern import bounds, sample
from layflat.web.bodies.drawn import along_edge
from layflat.web.bodies.glb import Shape, glb_bytes
from layflat.web.cover.fit_places import FlatEdge, strained_places

SURFACE: Final = "piece"
"""The name of the surface in the GLB file."""

_OUTLINE_MM = 0.1
_RIM_MM = 0.5
_FACING_UP = 0.2
"""The least part of the way up that is left in the picture; else it is seen from above."""
_TILT = 1e-3
_LONG = 1.6
"""A map that is longer than so many times its width stays lying."""


@dataclass(frozen=True)
class FitFiles:
    """The files of one piece's fit.

    Attributes:
        surface: GLB with the surface "piece", vertices coloured by strain, in body millimetres.
        flat: JSON for the same triangles in the flat.
        map: SVG of the flat pattern with its strain.
    """

    surface: bytes
    flat: bytes
    map: bytes


def fit_files(
    piece: Piece,
    *,
    forward: Sequence[float] = (1.0, 0.0, 0.0),
    up: Sequence[float] = (0.0, 0.0, 1.0),
) -> FitFiles:
    """The files of one piece.

    Args:
        piece: as computed.
        forward, up: unit vectors in body coordinates; see `layflat.surface.BodyInfo`.
    """
    flat = piece.flat
    edges = tuple(_edges(piece))
    free = [
        (item.name or item.kind.value, to_flat(flat, item.points_mm)) for item in piece.keep_outs
    ]
    away = _away(vertex_normals(flat.mesh), forward=forward, up=up)
    drawn = piece_map(
        flat,
        pattern=piece.pattern,
        edges=[(edge.kind, edge.points_mm) for edge in edges],
        free=[rim for _, rim in free],
        quarter_turns=_quarter_turns(flat.mesh.vertices_mm, flat.points_mm, away=away, up=up),
    )
    surface = Shape(mesh=flat.mesh, colours=strain_vertex_colours(flat))
    content = {
        "unit": "mm",
        "forward": list(forward),
        "up": list(up),
        "away": away.round(6).tolist(),
        **_strain(piece),
        **_shape(piece),
        "edges": [_edge_json(edge) for edge in edges],
        "free": [{"name": name, "points": _listed(rim, 2)} for name, rim in free],
        "places": strained_places(flat, edges),
        "map": _map_json(drawn),
    }
    return FitFiles(
        surface=glb_bytes({SURFACE: surface}, forward=forward, up=up),
        flat=json.dumps(content, separators=(",", ":")).encode(),
        map=drawn.svg.encode(),
    )


def _edges(piece: Piece) -> Iterator[FlatEdge]:
    for number, loop in enumerate(piece.region.loops):
        for index, edge in enumerate(loop.edges):
            along = along_edge(loop, index)
            if len(along):
                points = piece.flat.points_mm[along]
                yield FlatEdge(edge.name, edge.kind, number > 0, along, points)


def _strain(piece: Piece) -> dict[str, Any]:
    flat = piece.flat
    x, y = flat.strain.direction.T
    return {
        "points": _listed(flat.points_mm, 3),
        "faces": flat.mesh.faces.reshape(-1).tolist(),
        "stretch": _listed(flat.strain.greatest - 1.0, 4),
        "compression": _listed(1.0 - flat.strain.least, 4),
        "direction": (np.rint(np.degrees(np.arctan2(y, x))).astype(np.int64) % 180).tolist(),
        "stretch_limit": flat.film.stretch_limit,
        "finger_limit": flat.film.finger_limit,
    }


def _shape(piece: Piece) -> dict[str, Any]:
    pattern = piece.pattern
    outline = bounds(pattern.outline)
    low = np.minimum(piece.flat.points_mm.min(axis=0), outline[:2])
    high = np.maximum(piece.flat.points_mm.max(axis=0), outline[2:])
    return {
        "outline": _listed(sample(pattern.outline, deviation_mm=_OUTLINE_MM), 2),
        "cut_outs": [
            _listed(sample(hole, deviation_mm=_OUTLINE_MM), 2) for hole in pattern.cut_outs
        ],
        "box": _listed(np.concatenate([low, high]), 2),
    }


def _edge_json(edge: FlatEdge) -> dict[str, Any]:
    return {
        "name": edge.name,
        "title": panel_title(edge.name) if edge.name else "",
        "kind": edge.kind.value,
        "opening": edge.is_opening,
        "vertices": edge.vertices.tolist(),
    }


def _map_json(drawn: PieceMap) -> dict[str, Any]:
    return {
        "width_mm": drawn.width_mm,
        "height_mm": drawn.height_mm,
        "to_map": [round(value, 9) for value in drawn.to_map],
    }


def _away(normals: FloatArray, *, forward: Sequence[float], up: Sequence[float]) -> FloatArray:
    """The unit vector from the piece to who looks at it, so that its own way up can be seen."""
    normal = normals.mean(axis=0)
    normal /= max(float(np.linalg.norm(normal)), 1e-9)
    above, ahead = np.asarray(up, np.float64), np.asarray(forward, np.float64)
    lying = normal - float(normal @ above) * above
    if float(np.linalg.norm(lying)) < _FACING_UP:
        side = 1.0 if float(normal @ above) >= 0.0 else -1.0
        normal = side * above - _TILT * ahead
    return np.asarray(normal / np.linalg.norm(normal))


def _quarter_turns(
    vertices: FloatArray, points: FloatArray, *, away: FloatArray, up: Sequence[float]
) -> int:
    """How often the map is turned so that it lies as the piece is seen from `away`."""
    above = np.asarray(up, np.float64)
    across = np.cross(above, away)
    across /= np.linalg.norm(across)
    upward = np.cross(away, across)
    placed = vertices - vertices.mean(axis=0)
    seen = placed @ across + 1j * (placed @ upward)
    flat = points - points.mean(axis=0)
    turn = np.sum(np.conj(flat[:, 0] + 1j * flat[:, 1]) * seen)
    wide, high = np.ptp(points, axis=0)
    if wide > _LONG * high:
        return 0 if turn.real >= 0.0 else 2
    return int(np.rint(np.angle(turn) / (0.5 * np.pi))) % 4


def _listed(values: Any, decimals: int) -> list[float]:
    rounded: list[float] = np.asarray(values, np.float64).round(decimals).reshape(-1).tolist()
    return rounded
