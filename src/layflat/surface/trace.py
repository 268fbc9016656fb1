"""Geodesic lines on a mesh through picked points.

Between each two successive points the line is a locally shortest path on the surface, found by
flipping the edges of an intrinsic triangulation (Sharp and Crane, "You can find geodesic paths
in triangle meshes by just flipping edges", ACM Trans. Graph. 39(6), 2020; the implementation
is potpourri3d). The mesh may be the part of a body near the points; a line that would touch the
border of that part is not given, so that the result does not depend on the part.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import potpourri3d

from layflat.base import CheckError, FloatArray, IntArray, MeshError, frozen
from layflat.surface.bridge import Simplices
from layflat.surface.insert import insert_places
from layflat.surface.locate import Located, locate
from layflat.surface.mesh import Mesh
from layflat.surface.place import Places, ids_of, places
from layflat.surface.prepare import Rims, rims_of
from layflat.surface.topology import edge_table, face_components, half_edges, split_fans

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


class BorderTouchedError(Exception):
    """A line touches the border between a part of a body and the rest; a larger part is needed."""


def trace(
    mesh: Mesh, stretches: Sequence[Stretch], *, reach_mm: float, rims: Rims | None = None
) -> list[Line]:
    """Geodesic lines on *mesh* through the picked points of each stretch.

    Args:
        mesh: manifold and oriented, without degenerate triangles; or some of the triangles of
            such a body, with the body's vertices.
        stretches: the lines wanted. Successive points at the same place count once.
        reach_mm: how far a picked point may lie from the surface.
        rims: the boundary of the body, if *mesh* is a part of one; by default that of *mesh*.

    Raises:
        MeshError: a point is too far away, or the line has to lead round a hole, off the mesh
            or a long way round.
        BorderTouchedError: the part of the body was too small.
        CheckError: a line could not be followed from triangle to triangle.
    """
    picks = [_picks(mesh, stretch, reach_mm) for stretch in stretches]
    return _Tracer(mesh, rims or rims_of(mesh), picks, stretches).lines()


def _picks(mesh: Mesh, stretch: Stretch, reach_mm: float) -> Places:
    """The picked points of one stretch, on the mesh."""
    found = locate(mesh, stretch.points_mm)
    require_reach(stretch, found, reach_mm)
    return places(mesh, found)


def require_reach(stretch: Stretch, found: Located, reach_mm: float) -> None:
    """Refuse picked points that lie too far from the surface."""
    worst = int(found.distances_mm.argmax())
    if found.distances_mm[worst] > reach_mm:
        raise MeshError(
            f"{stretch.what}: its point {worst + 1} at {spot(stretch.points_mm[worst])} lies "
            f"{found.distances_mm[worst]:.1f} mm from the surface; at most {reach_mm:g} mm are "
            "bridged. Move the point, or check that the outline belongs to this body."
        )


def spot(point: FloatArray) -> str:
    """A point for a message."""
    return f"({point[0]:.1f}, {point[1]:.1f}, {point[2]:.1f}) mm"


class _Tracer:
    """The lines on one part of a body.

    The part has numbers of its own: `old` gives the body's vertex for each of the part's, and
    `home` for each vertex, old or inserted, the ids (in the part) of the simplex it lies in.
    """

    def __init__(
        self, mesh: Mesh, rims: Rims, picks: Sequence[Places], stretches: Sequence[Stretch]
    ) -> None:
        faces, self.old = split_fans(mesh.faces)
        self.stretches = stretches
        self.picks = picks
        table = edge_table(faces)
        self._piece = np.empty(len(self.old), np.int64)
        self._piece[faces] = face_components(table)[:, None]
        self._rim_of = rims.of_vertex
        border = table.ends[table.count == 1]
        self._cut_border = set(border[~_known(self.old[border], rims.ends)].reshape(-1).tolist())
        self._part = faces
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

    def _unique(self, faces: IntArray) -> tuple[Places, list[IntArray]]:
        """All picked points in the part's numbers, each place once, and where each pick is."""
        table: dict[tuple[int, ...], list[int]] = {}
        wanted = np.zeros(int(self.old.max()) + 1, np.bool_)
        for picks in self.picks:
            wanted[picks.simplex[picks.simplex >= 0]] = True
        by_old: dict[int, list[int]] = {}
        for i in np.flatnonzero(wanted[self.old]).tolist():
            by_old.setdefault(int(self.old[i]), []).append(i)
        beside = faces[wanted[self.old][faces].any(axis=1)]
        known = {frozenset(face) for face in beside.tolist()}
        edges = {frozenset(edge) for edge in half_edges(beside).tolist()}
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
            raise BorderTouchedError
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
            raise BorderTouchedError
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
                raise BorderTouchedError
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
                raise BorderTouchedError
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
        simplices = Simplices(self._part, frozenset[int]().union(*(ids for ids, _, _ in found)))
        result = []
        after = [*found[1:], *(found[:1] if closed else [])]
        for i, (ids, point, pick) in enumerate(found):
            result.append((ids, point, pick))
            if i < len(after) and not simplices.joins(ids | after[i][0]):
                at = np.stack([point, after[i][1]])
                bridge = simplices.bridge(self.points, ids, after[i][0], at)
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
                raise BorderTouchedError
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


def _known(ends: IntArray, edges: IntArray) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Which of the vertex pairs are among the edges (given the lesser vertex first)."""
    span = np.int64(max(ends.max(initial=0), edges.max(initial=0)) + 1)
    pairs = np.sort(ends, axis=1)
    found: np.ndarray[tuple[int], np.dtype[np.bool_]] = np.isin(
        pairs[:, 0] * span + pairs[:, 1], edges[:, 0] * span + edges[:, 1]
    )
    return found
