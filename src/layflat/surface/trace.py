"""Geodesic lines on a mesh through picked points.

Between each two successive points the line is a locally shortest path on the surface, found by
flipping the edges of an intrinsic triangulation (Sharp and Crane, "You can find geodesic paths
in triangle meshes by just flipping edges", ACM Trans. Graph. 39(6), 2020; the implementation
is potpourri3d). It is computed on the part of the mesh near the points, and on the whole mesh
if it should touch that part's border, so that the result does not depend on the part.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import potpourri3d
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from layflat.base import CheckError, FloatArray, IntArray, MeshError, frozen
from layflat.surface.bridge import Simplices
from layflat.surface.insert import insert_places
from layflat.surface.locate import locate
from layflat.surface.mesh import Mesh
from layflat.surface.place import Places, ids_of, places
from layflat.surface.topology import edge_table, face_components, half_edges, split_fans

_SMALL = 20_000
"""A mesh with no more triangles is used whole."""

_DETOUR = 3.0
_DETOUR_MM = 20.0
"""A line this many times longer than the straight distance, and this much more, is refused."""


@dataclass(frozen=True, eq=False)
class Line:
    """A line on a mesh, straight within each triangle.

    Attributes:
        at: its points in order: the picked ones and every crossing of an edge.
        picked: (k,) int64, the number of the picked point at each point, -1 at crossings.
        closed: whether the last point is joined to the first.
    """

    at: Places
    picked: IntArray
    closed: bool

    def __post_init__(self) -> None:
        object.__setattr__(self, "picked", frozen(self.picked, np.int64))


@dataclass(frozen=True)
class Stretch:
    """One line to be traced.

    Attributes:
        points_mm: (k, 3) float64, the picked points.
        closed: whether the last is joined to the first.
        what: what it is called in an error, at the start of a sentence.
    """

    points_mm: FloatArray
    closed: bool
    what: str


def trace(mesh: Mesh, stretches: Sequence[Stretch], *, reach_mm: float) -> list[Line]:
    """Geodesic lines on *mesh* through the picked points of each stretch.

    Args:
        mesh: manifold and oriented, without degenerate triangles.
        stretches: the lines wanted. Successive points at the same place count once.
        reach_mm: how far a picked point may lie from the surface.

    Raises:
        MeshError: a point is too far away, or the line has to lead round a hole, off the mesh
            or a long way round.
        CheckError: a line could not be followed from triangle to triangle.
    """
    picks = [_picks(mesh, stretch, reach_mm) for stretch in stretches]
    if len(mesh.faces) > _SMALL:
        near = _near(mesh, stretches)
        try:
            return _Tracer(mesh, near, picks, stretches).lines()
        except _BorderTouchedError:
            pass
    return _Tracer(mesh, np.arange(len(mesh.faces)), picks, stretches).lines()


class _BorderTouchedError(Exception):
    """The part of the mesh was too small."""


def _picks(mesh: Mesh, stretch: Stretch, reach_mm: float) -> Places:
    """The picked points of one stretch, on the mesh."""
    found = locate(mesh, stretch.points_mm)
    worst = int(found.distances_mm.argmax())
    if found.distances_mm[worst] > reach_mm:
        raise MeshError(
            f"{stretch.what}: its point {worst + 1} at {spot(stretch.points_mm[worst])} lies "
            f"{found.distances_mm[worst]:.1f} mm from the surface; at most {reach_mm:g} mm are "
            "bridged. Move the point, or check that the outline belongs to this body."
        )
    return places(mesh, found)


def spot(point: FloatArray) -> str:
    """A point for a message."""
    return f"({point[0]:.1f}, {point[1]:.1f}, {point[2]:.1f}) mm"


def _near(mesh: Mesh, stretches: Sequence[Stretch]) -> IntArray:
    """The faces near the picked points and the straight lines between them, ascending."""
    corners = mesh.vertices_mm[mesh.faces]
    middle = corners.mean(axis=1)
    size = np.linalg.norm(corners - middle[:, None], axis=2).max(axis=1)
    coarse = float(np.quantile(size, 0.999))
    samples: list[FloatArray] = []
    radii: list[FloatArray] = []
    for stretch in stretches:
        points = stretch.points_mm
        ends = np.roll(points, -1, axis=0) if stretch.closed else points[1:]
        for start, end in zip(points, ends, strict=False):
            length = float(np.linalg.norm(end - start))
            radius = 0.35 * length + 4 * coarse
            count = int(np.ceil(2 * length / radius)) + 1
            share = np.linspace(0, 1, count)[:, None]
            samples.append(start + share * (end - start))
            radii.append(np.full(count, radius))
    tree = cKDTree(middle, balanced_tree=False, compact_nodes=False)
    hits = tree.query_ball_point(np.concatenate(samples), np.concatenate(radii))
    near = np.zeros(len(mesh.faces), np.bool_)
    for hit in hits:
        near[hit] = True
    return np.flatnonzero(near)


class _Tracer:
    """The lines on one part of a mesh.

    The part has numbers of its own: `old` gives the mesh's vertex for each of the part's, and
    `home` for each vertex, old or inserted, the ids (in the part) of the simplex it lies in.
    """

    def __init__(
        self, mesh: Mesh, part: IntArray, picks: Sequence[Places], stretches: Sequence[Stretch]
    ) -> None:
        faces, self.old = split_fans(mesh.faces[part])
        self._simplices = Simplices(faces)
        self.mesh = mesh
        self.stretches = stretches
        self.picks = picks
        self._pieces(faces)
        rim = edge_table(mesh.faces)
        self._rim_of = _rims(rim.ends[rim.count == 1], len(mesh.vertices_mm))
        table = edge_table(faces)
        border = table.ends[table.count == 1]
        ends = self.old[border]
        real = (self._rim_of[ends] >= 0).all(axis=1) & _known(ends, rim.ends[rim.count == 1])
        self._cut_border = set(border[~real].reshape(-1).tolist())
        unique, where = self._unique(faces)
        self.where = where
        vertices, self.faces, number = insert_places(mesh.vertices_mm[self.old], faces, unique)
        self.points = vertices
        self.number = number
        self.home: list[frozenset[int]] = [frozenset((i,)) for i in range(len(self.old))]
        self.home += [frozenset()] * (len(vertices) - len(self.old))
        for i, simplex in zip(number.tolist(), unique.simplex, strict=True):
            if i >= len(self.old):
                self.home[i] = ids_of(simplex)

    def _pieces(self, faces: IntArray) -> None:
        """Number the part's connected pieces, to know before asking whether a path exists."""
        label = face_components(edge_table(faces))
        self._piece = np.empty(len(self.old), np.int64)
        self._piece[faces] = label[:, None]

    def _unique(self, faces: IntArray) -> tuple[Places, list[IntArray]]:
        """All picked points in the part's numbers, each place once, and where each pick is."""
        table: dict[tuple[int, ...], list[int]] = {}
        by_old: dict[int, list[int]] = {}
        for i, v in enumerate(self.old.tolist()):
            by_old.setdefault(v, []).append(i)
        known = {frozenset(face) for face in faces.tolist()}
        edges = {frozenset(edge) for edge in half_edges(faces).tolist()}
        points: list[FloatArray] = []
        simplex: list[list[int]] = []
        where = []
        for picks in self.picks:
            index = np.empty(len(picks.simplex), np.int64)
            for k, (point, ids) in enumerate(zip(picks.points_mm, picks.simplex, strict=True)):
                mine = self._renumber(ids, by_old, known, edges)
                same = next(
                    (j for j in table.get(mine, ()) if np.allclose(points[j], point, 0, 1e-9)), None
                )
                if same is None:
                    same = len(points)
                    points.append(point)
                    simplex.append([*mine, *[-1] * (3 - len(mine))])
                    table.setdefault(mine, []).append(same)
                index[k] = same
            where.append(index)
        return Places(np.reshape(points, (-1, 3)), np.reshape(simplex, (-1, 3))), where

    @staticmethod
    def _renumber(
        ids: IntArray,
        by_old: dict[int, list[int]],
        faces: set[frozenset[int]],
        edges: set[frozenset[int]],
    ) -> tuple[int, ...]:
        """A simplex of the mesh in the numbers of the part, where a vertex may have copies."""
        wanted = [by_old.get(int(v), []) for v in ids if v >= 0]
        if not all(wanted):
            raise _BorderTouchedError
        if len(wanted) == 1:
            return (wanted[0][0],)
        if len(wanted) == 2:
            found = (frozenset((u, v)) for u in wanted[0] for v in wanted[1])
            good = next((pair for pair in found if pair in edges), None)
        else:
            triples = (
                frozenset((u, v, w)) for u in wanted[0] for v in wanted[1] for w in wanted[2]
            )
            good = next((triple for triple in triples if triple in faces), None)
        if good is None:
            raise _BorderTouchedError
        return tuple(sorted(good))

    def lines(self) -> list[Line]:
        """Trace every stretch."""
        self._patch = Mesh(self.points, self.faces)
        if float(self._patch.face_areas_mm2.min()) <= 0:
            raise MeshError("The surface has triangles without area; mend the mesh first.")
        self._solver = potpourri3d.EdgeFlipGeodesicSolver(self.points, self.faces)
        jobs: list[tuple[int, int, int]] = []
        paths: list[FloatArray] = []
        for s, stretch in enumerate(self.stretches):
            count = len(self.where[s])
            for k in range(count if stretch.closed else count - 1):
                start, end = self._vertex(s, k), self._vertex(s, (k + 1) % count)
                if start != end:
                    jobs.append((s, k, len(paths)))
                    paths.append(self._path(s, k, start, end))
        inner = [path[1:-1] for path in paths]
        bounds = np.r_[0, np.cumsum([len(path) for path in inner])]
        crossings = places(
            self._patch, locate(self._patch, np.concatenate([*inner, np.zeros((0, 3))]))
        )
        result = []
        for s, stretch in enumerate(self.stretches):
            pieces = [
                (
                    k,
                    crossings.simplex[bounds[j] : bounds[j + 1]],
                    crossings.points_mm[bounds[j] : bounds[j + 1]],
                )
                for t, k, j in jobs
                if t == s
            ]
            result.append(self._line(s, stretch, pieces))
        return result

    def _vertex(self, s: int, k: int) -> int:
        return int(self.number[self.where[s][k]])

    def _between(self, s: int, k: int) -> str:
        """The two picked points of one stretch, for a message."""
        stretch = self.stretches[s]
        after = (k + 1) % len(stretch.points_mm)
        return (
            f"{stretch.what}: between its points {k + 1} and {after + 1}, at "
            f"{spot(stretch.points_mm[k])} and {spot(stretch.points_mm[after])}"
        )

    def _path(self, s: int, k: int, start: int, end: int) -> FloatArray:
        """The geodesic from one vertex of the patch to another."""
        home = [min(self.home[v]) for v in (start, end)]
        if self._piece[home[0]] != self._piece[home[1]]:
            if self._cut_border:
                raise _BorderTouchedError
            raise MeshError(
                f"{self._between(s, k)}, the surface is not connected: they lie on separate "
                "pieces. Mend the mesh, or move the points to one piece."
            )
        path: FloatArray = self._solver.find_geodesic_path(start, end)
        if not np.isfinite(path).all():
            raise CheckError(f"{self._between(s, k)}, no line could be computed.")
        length = float(np.linalg.norm(np.diff(path, axis=0), axis=1).sum())
        straight = float(np.linalg.norm(path[-1] - path[0]))
        if length > _DETOUR * straight + _DETOUR_MM:
            if self._cut_border:
                raise _BorderTouchedError
            raise MeshError(
                f"{self._between(s, k)}, the way along the surface is {length:.0f} mm long for "
                f"{straight:.0f} mm in a straight line. Pick points between them, or mend the mesh."
            )
        return path

    def _line(
        self, s: int, stretch: Stretch, pieces: list[tuple[int, IntArray, FloatArray]]
    ) -> Line:
        """One line in the numbers of the whole mesh."""
        found: list[tuple[frozenset[int], FloatArray, int]] = []
        for k, crossed, at in pieces:
            start = self._vertex(s, k)
            end = self._vertex(s, (k + 1) % len(self.where[s]))
            self._require_clear(s, k, start, end, crossed)
            found.append((self.home[start], self.points[start], k))
            last = frozenset((start,))
            for ids, point in zip(crossed, at, strict=True):
                here = ids_of(ids)
                if here in (last, {start}, {end}):
                    continue
                last = here
                home = frozenset[int]().union(*(self.home[v] for v in here))
                if len(home) < 3:
                    found.append((home, point, -1))
        if not stretch.closed and pieces:
            last_pick = len(self.where[s]) - 1
            final = self._vertex(s, last_pick)
            found.append((self.home[final], self.points[final], last_pick))
        found = self._joined(found, stretch.closed)
        simplex = [sorted(self.old[list(ids)].tolist()) for ids, _, _ in found]
        at_mesh = Places(
            np.reshape([point for _, point, _ in found], (-1, 3)),
            np.reshape([[*ids, *[-1] * (3 - len(ids))] for ids in simplex], (-1, 3)),
        )
        return Line(at_mesh, np.array([pick for _, _, pick in found], np.int64), stretch.closed)

    def _joined(
        self, found: list[tuple[frozenset[int], FloatArray, int]], closed: bool
    ) -> list[tuple[frozenset[int], FloatArray, int]]:
        """The places of a line with those crossings added that were lost next to splinters."""
        result = []
        after = [*found[1:], *(found[:1] if closed else [])]
        for i, (ids, point, pick) in enumerate(found):
            result.append((ids, point, pick))
            if i < len(after) and not self._simplices.joins(ids | after[i][0]):
                at = np.stack([point, after[i][1]])
                bridge = self._simplices.bridge(self.points, ids, after[i][0], at)
                if bridge is None:
                    raise CheckError(f"A line could not be followed near {spot(point)}.")
                result += [(edge, crossing, -1) for edge, crossing in bridge]
        return result

    def _require_clear(self, s: int, k: int, start: int, end: int, crossed: IntArray) -> None:
        """Refuse a line that touches a rim on which neither of its ends lies."""
        rims = [self._rims_at(self.home[v]) for v in (start, end)]
        for ids in crossed:
            home = frozenset[int]().union(*(self.home[v] for v in ids_of(ids)))
            if home & self._cut_border and len(home) == 1:
                raise _BorderTouchedError
            touched = self._rims_at(home) if len(home) == 1 else set()
            if touched and not touched & (rims[0] | rims[1]):
                at = self.points[min(home)]
                raise MeshError(
                    f"{self._between(s, k)}, the outline leads over a hole or off the edge of the "
                    f"mesh near {spot(at)}. Fill the hole, or pick points along its rim."
                )

    def _rims_at(self, home: frozenset[int]) -> set[int]:
        """The boundary loops of the mesh that pass through a vertex or along an edge."""
        if len(home) > 2:
            return set()
        found = {int(self._rim_of[self.old[v]]) for v in home}
        return found - {-1} if len(found) == 1 else set()


def _rims(ends: IntArray, count: int) -> IntArray:
    """(count,) int64: for each vertex the boundary loop it lies on, or -1."""
    graph = coo_array((np.ones(len(ends), np.int8), (ends[:, 0], ends[:, 1])), shape=(count, count))
    label = connected_components(graph, directed=False)[1].astype(np.int64)
    on_rim = np.zeros(count, np.bool_)
    on_rim[ends.reshape(-1)] = True
    return np.where(on_rim, label, -1)


def _known(ends: IntArray, edges: IntArray) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Which of the vertex pairs are among the edges (given the lesser vertex first)."""
    span = np.int64(max(ends.max(initial=0), edges.max(initial=0)) + 1)
    pairs = np.sort(ends, axis=1)
    found: np.ndarray[tuple[int], np.dtype[np.bool_]] = np.isin(
        pairs[:, 0] * span + pairs[:, 1], edges[:, 0] * span + edges[:, 1]
    )
    return found
