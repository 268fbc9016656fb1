"""A surface with its flat pattern as a chart, and how film moves on it.

Film lies at a place of the chart; the surface's triangles say where that is in space. Places are
followed from triangle to triangle, so that a small move costs little. Beyond the surface's edge
the chart goes on by a band of triangles that bend smoothly out of the planes along the edge.
"""

from dataclasses import dataclass

import numpy as np
import shapely
from scipy.spatial import cKDTree
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from layflat.base import FloatArray, IntArray, frozen
from layflat.film import Flat, sheet_loops
from layflat.fit.lay_piece import perimeter_mm
from layflat.surface import edge_table

_RINGS = 5
_NEIGHBOURS = 12
_INSIDE = -1e-12


@dataclass(frozen=True, eq=False)
class Chart:
    """A surface over a plane.

    Attributes:
        points_mm: (n, 2) float64, each vertex in the plane.
        vertices_mm: (n, 3) float64, in space.
        faces: (m, 3) int64, counter-clockwise in the plane.
        neighbours: (m, 3) int64, the triangle across the side opposite each corner; -1 for none.
        weights: (m, 3, 3) float64: ``weights @ (x, y, 1)`` are a place's barycentric weights.
        slopes: (n, 3, 2) float64, how space changes along the plane's axes: a mean over the
            triangles at each vertex.
        own_faces: the first so many triangles are the surface itself; the others go on beyond it.
        outline: the surface in the plane; None where it lies on itself.
    """

    points_mm: FloatArray
    vertices_mm: FloatArray
    faces: IntArray
    neighbours: IntArray
    weights: FloatArray
    slopes: FloatArray
    own_faces: int
    outline: Polygon | None

    def __post_init__(self) -> None:
        for name in ("points_mm", "vertices_mm", "weights", "slopes"):
            object.__setattr__(self, name, frozen(getattr(self, name)))
        for name in ("faces", "neighbours"):
            object.__setattr__(self, name, frozen(getattr(self, name), np.int64))


@dataclass(frozen=True, eq=False)
class Spots:
    """Places of the chart.

    Attributes:
        faces: (k,) int64, the triangle that each lies in.
        weights: (k, 3) float64, barycentric; negative beyond the chart's own edge.
    """

    faces: IntArray
    weights: FloatArray

    def of(self, chart: Chart, values: FloatArray) -> FloatArray:
        """(k, ...) the vertex values, (n, ...), between the corners."""
        corners = values[chart.faces[self.faces]]
        return np.asarray(np.einsum("ki,ki...->k...", self.weights, corners))


def flat_loops(flat: Flat) -> list[FloatArray]:
    """The boundary loops of a flattened surface in its pattern, the outer one first."""
    loops = [flat.points_mm[loop] for loop in sheet_loops(flat.mesh)]
    return sorted(loops, key=lambda loop: -perimeter_mm(loop))


def chart_of(flat: Flat, *, margin_mm: float) -> Chart:
    """The chart of a flattened surface, going on beyond its edge.

    Args:
        flat: the surface with its own pattern.
        margin_mm: how far it goes on, into its openings too; farther out, and everywhere if the
            pattern lies on itself, the triangles at the edge go on as planes.
    """
    mesh = flat.mesh
    loops = flat_loops(flat)
    outline = Polygon(loops[0], loops[1:])
    points, vertices, faces = flat.points_mm, mesh.vertices_mm, mesh.faces
    if outline.is_valid:
        points, faces = _joined(points, faces, _band(outline, margin_mm))
        slopes = _vertex_slopes(flat.points_mm, vertices, mesh.faces)
        rim = np.concatenate(sheet_loops(mesh))
        beyond = _going_on(points[len(vertices) :], flat.points_mm[rim], vertices[rim], slopes[rim])
        vertices = np.concatenate((vertices, beyond))
    mate = edge_table(faces).mate.reshape(-1, 3)
    across = np.where(mate >= 0, mate // 3, -1)[:, [1, 2, 0]]
    return Chart(
        points_mm=points,
        vertices_mm=vertices,
        faces=faces,
        neighbours=across,
        weights=_weights(points, faces),
        slopes=_vertex_slopes(points, vertices, faces),
        own_faces=len(mesh.faces),
        outline=outline if outline.is_valid else None,
    )


def walk(chart: Chart, start: IntArray, places_mm: FloatArray) -> Spots:
    """The spots at (k, 2) *places_mm*, each sought from a triangle near it.

    A place beyond the chart's own edge keeps the triangle where the walk ended.
    """
    faces = np.array(start)
    places = np.column_stack((places_mm, np.ones(len(places_mm))))
    weights = np.einsum("kij,kj->ki", chart.weights[faces], places)
    going = np.flatnonzero(weights.min(axis=1) < _INSIDE)
    for _ in range(len(chart.faces)):
        if not len(going):
            break
        here = weights[going]
        order = np.argsort(here, axis=1)
        rows = np.arange(len(going))
        options = chart.neighbours[faces[going][:, None], order]
        good = (options >= 0) & (np.take_along_axis(here, order, 1) < _INSIDE)
        choice = good.argmax(axis=1)
        found = good[rows, choice]
        going = going[found]
        faces[going] = options[rows, choice][found]
        weights[going] = np.einsum("kij,kj->ki", chart.weights[faces[going]], places[going])
        going = going[weights[going].min(axis=1) < _INSIDE]
    return Spots(faces, weights)


def nearest_faces(chart: Chart, places_mm: FloatArray) -> IntArray:
    """A triangle near each of (k, 2) places, to begin a walk from."""
    middles = chart.points_mm[chart.faces].mean(axis=1)
    return np.asarray(cKDTree(middles).query(places_mm)[1], np.int64)


def _weights(points: FloatArray, faces: IntArray) -> FloatArray:
    """See `Chart.weights`."""
    corners = np.concatenate((points[faces], np.ones((len(faces), 3, 1))), axis=2)
    return np.asarray(np.swapaxes(np.linalg.inv(corners), 1, 2))


def _vertex_slopes(points: FloatArray, vertices: FloatArray, faces: IntArray) -> FloatArray:
    """See `Chart.slopes`; each triangle counts with its area."""
    flat, space = points[faces], vertices[faces]
    sides = np.swapaxes(flat[:, 1:] - flat[:, :1], 1, 2)
    ahead = np.swapaxes(space[:, 1:] - space[:, :1], 1, 2)
    areas = 0.5 * np.linalg.det(sides)
    slopes = (ahead @ np.linalg.inv(sides) * areas[:, None, None]).reshape(-1, 6)
    ids, n = faces.reshape(-1), len(points)
    sums = [np.bincount(ids, np.repeat(column, 3), minlength=n) for column in slopes.T]
    share = np.bincount(ids, np.repeat(areas, 3), minlength=n)
    return (np.stack(sums, axis=1) / np.maximum(share, 1e-300)[:, None]).reshape(-1, 3, 2)


def _band(outline: Polygon, margin_mm: float) -> list[Polygon]:
    """Triangles of the plane round *outline* to *margin_mm* away, finest beside it."""
    triangles: list[Polygon] = []
    inner: BaseGeometry = outline
    pace = outline.length / len(shapely.get_coordinates(outline))
    width = max(0.8 * pace, margin_mm / (2.0**_RINGS - 1.0))
    reached = 0.0
    while reached < margin_mm:
        outer = inner.buffer(width, quad_segs=3).simplify(0.05 * width).segmentize(2.0 * width)
        ring = outer.difference(inner)
        triangles += shapely.get_parts(shapely.constrained_delaunay_triangles(ring)).tolist()
        reached += width
        inner, width = outer, 2.0 * width
    return triangles


def _joined(
    points: FloatArray, faces: IntArray, band: list[Polygon]
) -> tuple[FloatArray, IntArray]:
    """The chart's points and triangles with those of the band, whose corners are the same."""
    corners = np.stack([shapely.get_coordinates(triangle)[:3] for triangle in band])
    flat = corners.reshape(-1, 2)
    every, inverse = np.unique(np.concatenate((points, flat)), axis=0, return_inverse=True)
    number = np.full(len(every), -1)
    number[inverse[: len(points)]] = np.arange(len(points))
    new = np.flatnonzero(number < 0)
    number[new] = len(points) + np.arange(len(new))
    added = number[inverse[len(points) :]].reshape(-1, 3)
    p, q = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    turned = p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0] < 0
    added[turned] = added[turned][:, [0, 2, 1]]
    return np.concatenate((points, every[new])), np.concatenate((faces, added))


def _going_on(
    places: FloatArray, rim: FloatArray, rim_space: FloatArray, rim_slopes: FloatArray
) -> FloatArray:
    """(k, 3): where the surface would be beyond its rim.

    A blend of the tangent planes at the nearest points of the rim, by the inverse fourth power
    of the distance (D. Shepard, Proc. 23rd ACM Nat. Conf. (1968) 517-524, from memory).
    """
    count = min(_NEIGHBOURS, len(rim))
    distances, found = cKDTree(rim).query(places, k=count)
    shares = 1.0 / np.maximum(distances, 1e-9) ** 4
    shares /= shares.sum(axis=1, keepdims=True)
    ahead = places[:, None, :] - rim[found]
    planes = rim_space[found] + np.einsum("kjab,kjb->kja", rim_slopes[found], ahead)
    return np.asarray(np.einsum("kj,kja->ka", shares, planes))
