"""What wraps are folded round: the bend of a panel's open edges, and the flange beyond them.

The bend is taken from the surface, not from the flat shape. An edge is unrolled into the plane with
its own lengths and turnings (what is left of pi at each vertex), so that its curvature there is its
geodesic curvature, and by Gauss and Bonnet its turn round a whole panel is 2 pi less the Gaussian
curvature that the panel encloses. Its normal curvature is what the chords of the edge in space turn
towards the normal. Both are taken over chords of three depths, as in `layflat.pattern.wrap_depth`.
"""

from collections.abc import Callable

import numpy as np

from layflat.base import FloatArray, IntArray
from layflat.fit.flange import REACH_MM, Beyond, Flange, measure_flange
from layflat.pattern import (
    SQUARE,
    UNSEEN,
    WINDOW_DEPTHS,
    EdgeFinish,
    Finish,
    Fold,
    bend,
    edge_vertices,
)
from layflat.surface import Edge, EdgeKind, Loop, Mesh, Prepared, Region, boundary_turning

BOW_WINDOW_MM = 60.0
"""Least length of the chords that an edge's normal curvature is taken from. A scan's noise lies
across the surface: 0.1 mm of it bends chords of 24 mm by 4e-4 per mm, and such of 60 mm by 7e-5,
which is 0.05 % at a depth of 8 mm.
"""

_STATION_MM = 5.0


def edge_folds(
    region: Region, body: Mesh | Prepared, finishes: Callable[[Edge], EdgeFinish]
) -> dict[int, Fold]:
    """The metal that the wraps of a panel are folded round, by `id` of the edge.

    Only open edges that shall be wrapped are looked at.

    Args:
        region: the panel, cut out of the body.
        body: the whole body.
        finishes: how the piece ends at each edge.
    """
    turning = boundary_turning(region)
    normals = vertex_normals(region.mesh)
    found: dict[int, Fold] = {}
    for loop, turns in zip(region.loops, turning, strict=True):
        for number, edge in enumerate(loop.edges):
            finish = finishes(edge)
            wrapped = finish.finish is Finish.WRAP and finish.distance_mm > 0
            if wrapped and edge.kind is EdgeKind.OPEN and (loop.edge_of == number).any():
                found[id(edge)] = _fold(
                    region, body, loop, number, turns, normals, finish.distance_mm
                )
    return found


def _fold(
    region: Region,
    body: Mesh | Prepared,
    loop: Loop,
    number: int,
    turns: FloatArray,
    normals: FloatArray,
    depth_mm: float,
) -> Fold:
    """The metal along one edge."""
    vertices = edge_vertices(loop, number)
    closed = bool((loop.edge_of == number).all())
    points = region.mesh.vertices_mm[vertices]
    mine = np.flatnonzero(loop.edge_of == number)
    if closed:
        here = np.append(turns[mine], turns[mine[0]])
    else:
        at = {int(v): i for i, v in enumerate(loop.vertices)}
        here = turns[[at[int(v)] for v in vertices]]
    window = WINDOW_DEPTHS * depth_mm
    turn = geodesic_curvature(points, here, window, closed=closed)
    normal = _beside(points, normals[vertices], window)
    bow = normal_curvature(points, normal, max(window, BOW_WINDOW_MM), closed=closed)
    flange, station, along = _flange(body, points, normal, closed=closed)
    angle, metal, note = _metal(flange, edge_name(loop.edges[number]))
    return Fold(
        turn_per_mm=turn,
        bow_per_mm=bow,
        angle_rad=np.interp(along, station, angle),
        metal_mm=_nearest(along, station, metal),
        note=note,
    )


def edge_name(edge: Edge) -> str:
    """An edge's name in a sentence."""
    return f"“{edge.name}”" if edge.name else "without a name"


def geodesic_curvature(
    points_mm: FloatArray, turns: FloatArray, window_mm: float, *, closed: bool
) -> FloatArray:
    """(n,) float64: the geodesic curvature along an edge, in 1/mm, positive where convex.

    Args:
        points_mm: (n, 3) float64, its vertices, both ends among them; a closed edge repeats its
            first.
        turns: (n,) float64, the turning of the boundary at each, in radians; those of the ends of
            an open edge do not count.
        window_mm: the length of the chords that it is taken from.
        closed: whether the edge is a whole loop.
    """
    lengths = np.linalg.norm(np.diff(points_mm, axis=0), axis=1)
    along = np.concatenate(([0.0], np.cumsum(lengths)))
    if not closed:
        return bend(_unrolled(lengths, turns[1:-1]), along, window_mm)
    whole = along[-1]
    # A loop on a curved surface does not close when it is unrolled: it is gone round three times.
    unrolled = _unrolled(np.tile(lengths, 3), np.tile(turns[:-1], 3)[1:])
    return bend(unrolled, along + whole, min(window_mm, whole / 6.0))


def _unrolled(lengths: FloatArray, turns: FloatArray) -> FloatArray:
    """(n + 1, 2) float64: a line in the plane with n such steps and n - 1 turns between them."""
    heading = np.concatenate(([0.0], np.cumsum(turns)))
    steps = lengths[:, None] * np.column_stack((np.cos(heading), np.sin(heading)))
    return np.vstack((np.zeros((1, 2)), np.cumsum(steps, axis=0)))


def normal_curvature(
    points_mm: FloatArray, normals: FloatArray, window_mm: float, *, closed: bool
) -> FloatArray:
    """(n,) float64: the normal curvature along an edge, in 1/mm, negative on a dome.

    Args:
        points_mm: (n, 3) float64, as in `geodesic_curvature`.
        normals: (n, 3) float64, unit normals of the panel there.
        window_mm: the length of the chords that it is taken from.
        closed: whether the edge is a whole loop.
    """
    station = _stations(points_mm)
    along, whole, known = station, station[-1], points_mm
    if closed:
        window = min(window_mm, whole / 6.0)
        station = np.concatenate((station[:-1] - whole, station[:-1], station + whole))
        known = np.concatenate((points_mm[:-1], points_mm[:-1], points_mm))
        middle = along
    else:
        window = min(window_mm, 0.5 * whole)
        middle = np.clip(along, window, whole - window)

    def at(where: FloatArray, values: FloatArray, places: FloatArray) -> FloatArray:
        return np.column_stack([np.interp(where, places, values[:, i]) for i in range(3)])

    here = at(middle, known, station)
    ahead = at(middle + window, known, station) - here
    behind = here - at(middle - window, known, station)
    size = np.linalg.norm(ahead, axis=1), np.linalg.norm(behind, axis=1)
    change = ahead / size[0][:, None] - behind / size[1][:, None]
    beside = at(middle, normals, along)
    bow: FloatArray = np.einsum("ij,ij->i", change, beside) / window
    return bow


def _stations(points: FloatArray) -> FloatArray:
    """(n,) float64: how far along a line its points lie."""
    return np.concatenate(([0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))))


def vertex_normals(mesh: Mesh) -> FloatArray:
    """(n, 3) float64: at each vertex the unit normal, weighted by the triangles' areas."""
    corners = mesh.vertices_mm[mesh.faces]
    across = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    total = np.zeros_like(mesh.vertices_mm)
    for corner in range(3):
        np.add.at(total, mesh.faces[:, corner], across)
    units: FloatArray = total / np.maximum(np.linalg.norm(total, axis=1, keepdims=True), 1e-30)
    return units


def _beside(points: FloatArray, normals: FloatArray, window_mm: float) -> FloatArray:
    """(n, 3) float64: normals along an edge, their mean over a window of it."""
    station = _stations(points)
    first = np.searchsorted(station, station - 0.5 * window_mm)
    last = np.searchsorted(station, station + 0.5 * window_mm, side="right")
    total = np.vstack((np.zeros((1, 3)), np.cumsum(normals, axis=0)))
    mean = total[last] - total[first]
    units: FloatArray = mean / np.maximum(np.linalg.norm(mean, axis=1, keepdims=True), 1e-30)
    return units


def _flange(
    body: Mesh | Prepared, points: FloatArray, normals: FloatArray, *, closed: bool
) -> tuple[Flange, FloatArray, FloatArray]:
    """The flange at stations along an edge, these stations, and where the edge's vertices lie."""
    along = _stations(points)
    count = max(int(np.ceil(along[-1] / _STATION_MM)), 2)
    # Away from both ends: at a corner the section would lead along the neighbouring edge.
    station = (np.arange(count) + 0.5) * along[-1] / count
    reach = min(4.0 * _STATION_MM, 0.25 * along[-1])
    at = [np.column_stack([np.interp(s, along, points[:, i]) for i in range(3)])
          for s in (station, np.clip(station - reach, 0.0, along[-1]),
                    np.clip(station + reach, 0.0, along[-1]))]  # fmt: skip
    if closed:
        turned = [np.mod(station + shift, along[-1]) for shift in (-reach, reach)]
        at[1:] = [np.column_stack([np.interp(s, along, points[:, i]) for i in range(3)])
                  for s in turned]  # fmt: skip
    tangent = at[2] - at[1]
    upright = np.column_stack([np.interp(station, along, normals[:, i]) for i in range(3)])
    upright /= np.linalg.norm(upright, axis=1, keepdims=True)
    tangent -= np.einsum("ij,ij->i", tangent, upright)[:, None] * upright
    tangent /= np.maximum(np.linalg.norm(tangent, axis=1, keepdims=True), 1e-12)
    return measure_flange(body, at[0], tangent, upright), station, along


def _metal(flange: Flange, name: str) -> tuple[FloatArray, FloatArray, str]:
    """The angle and the depth of the metal at each station, and what is to be said of it."""
    seen = np.array([what is Beyond.FLANGE for what in flange.beyond])
    ends = np.array([what is Beyond.ENDS for what in flange.beyond])
    angle = np.where(seen, flange.angle_rad, SQUARE)
    metal = np.where(seen, flange.bend_mm + flange.depth_mm, np.inf)
    # What goes on to where nobody looked may go on farther.
    metal[metal > REACH_MM - 0.5] = np.inf
    metal[ends] = 0.0
    if not (seen.any() or ends.any()):
        return angle, metal, UNSEEN
    parts = []
    if seen.any():
        degrees = np.degrees(flange.angle_rad[seen])
        depth = flange.depth_mm[seen]
        parts.append(
            f"Beyond the edge {name} the scan shows a flange: turned by "
            f"{np.median(degrees):.0f}° ({degrees.min():.0f}° to {degrees.max():.0f}°), "
            f"{depth.min():.0f} to {depth.max():.0f} mm deep."
        )
    if ends.any():
        where = "along all of it" if ends.all() else f"along {100 * ends.mean():.0f} % of it"
        parts.append(
            f"{'There' if parts else f'Beyond the edge {name}'} the metal ends {where}: nothing to "
            "wrap round."
        )
    if not (seen | ends).all():
        rest = 100 * (1.0 - (seen | ends).mean())
        parts.append(f"Along {rest:.0f} % of it there is none in the scan: square was assumed.")
    return angle, metal, " ".join(parts)


def _nearest(at: FloatArray, station: FloatArray, values: FloatArray) -> FloatArray:
    """(n,) float64: the value of the station nearest to each place."""
    after = np.clip(np.searchsorted(station, at), 1, len(station) - 1)
    nearer: IntArray = np.where(at - station[after - 1] <= station[after] - at, after - 1, after)
    return values[nearer]
