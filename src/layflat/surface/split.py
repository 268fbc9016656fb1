"""Triangles split along lines, so that the lines become edges of the mesh.

Every triangle that a line crosses is parted by its chords into polygons, and each polygon is
triangulated by a constrained Delaunay triangulation (GEOS, through shapely) in the triangle's
own plane. No vertex is added but the points of the lines, and each triangle's area is kept.
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely

from layflat.base import CheckError, FloatArray, IntArray, MeshError
from layflat.surface.mesh import Mesh
from layflat.surface.place import ids_of
from layflat.surface.topology import half_edges
from layflat.surface.trace import Line, spot

_TOUCH_MM = 1e-6
"""Two lines that cross an edge closer together than this touch each other."""


@dataclass(frozen=True, eq=False)
class Split:
    """A mesh whose edges follow lines.

    Attributes:
        vertices_mm: (n + k, 3) float64; the first n are the old ones.
        faces: (m', 3) int64.
        source: (m',) int64, the old face that each face is a part of.
        untouched: how many faces are old ones as they were; they come first, the parts of
            others after them.
        lines: for each line the vertices along it; a closed one does not repeat its first.
    """

    vertices_mm: FloatArray
    faces: IntArray
    source: IntArray
    untouched: int
    lines: tuple[IntArray, ...]


def split_along(mesh: Mesh, lines: Sequence[Line], *, what: str) -> Split:
    """Split *mesh* along *lines*.

    Args:
        mesh: manifold and oriented.
        lines: lines on it that neither cross nor touch each other or themselves.
        what: what they are called in an error, at the start of a sentence.

    Raises:
        MeshError: the lines cross or touch.
        CheckError: a line does not lead from triangle to triangle, or area was lost.
    """
    vertices, numbered = _number(mesh, lines, what)
    chains = _chains(vertices, lines, numbered, what)
    chords = _chords(vertices, lines, numbered, chains, what)
    touched = _touched_faces(mesh, chains, set(chords))
    fresh, source = _triangulate(vertices, mesh.faces, touched, chains, chords, what)
    _require_whole(mesh, vertices, touched, fresh, source)
    kept = np.ones(len(mesh.faces), np.bool_)
    kept[touched] = False
    return Split(
        vertices,
        np.concatenate([mesh.faces[kept], fresh]),
        np.concatenate([np.flatnonzero(kept), source]),
        int(kept.sum()),
        tuple(numbered),
    )


def _number(mesh: Mesh, lines: Sequence[Line], what: str) -> tuple[FloatArray, list[IntArray]]:
    """All vertices with the lines' points added, and each line as vertices."""
    added: list[FloatArray] = []
    numbered: list[IntArray] = []
    seen: set[int] = set()
    for line in lines:
        ids = np.empty(len(line.picked), np.int64)
        for i, (point, simplex) in enumerate(zip(line.at.points_mm, line.at.simplex, strict=True)):
            if simplex[1] < 0:
                ids[i] = simplex[0]
            else:
                ids[i] = len(mesh.vertices_mm) + len(added)
                added.append(point)
            if int(ids[i]) in seen:
                raise _touch(what, point)
            seen.add(int(ids[i]))
        numbered.append(ids)
    return np.concatenate([mesh.vertices_mm, np.reshape(added, (-1, 3))]), numbered


def _touch(what: str, point: FloatArray) -> MeshError:
    return MeshError(
        f"{what} crosses or touches itself near {spot(point)}. Move the picked points there apart."
    )


def _chains(
    vertices: FloatArray, lines: Sequence[Line], numbered: list[IntArray], what: str
) -> dict[frozenset[int], list[int]]:
    """For each edge with points on it: its lesser vertex, the points in order, its greater one."""
    found: dict[frozenset[int], list[int]] = defaultdict(list)
    for line, ids in zip(lines, numbered, strict=True):
        for i, simplex in zip(ids.tolist(), line.at.simplex, strict=True):
            if len(on := ids_of(simplex)) == 2:
                found[on].append(i)
    for edge, points in found.items():
        low, high = sorted(edge)
        along = np.linalg.norm(vertices[points] - vertices[low], axis=1)
        order = np.argsort(along)
        close = np.flatnonzero(np.diff(along[order]) < _TOUCH_MM)
        if len(close):
            raise _touch(what, vertices[points[order[close[0]]]])
        found[edge] = [low, *(points[j] for j in order), high]
    return found


def _chords(
    vertices: FloatArray,
    lines: Sequence[Line],
    numbered: list[IntArray],
    chains: dict[frozenset[int], list[int]],
    what: str,
) -> dict[frozenset[int], list[tuple[int, int]]]:
    """The lines' steps through each triangle; steps along an edge are only checked."""
    chords: dict[frozenset[int], list[tuple[int, int]]] = defaultdict(list)
    for line, ids in zip(lines, numbered, strict=True):
        homes = [ids_of(simplex) for simplex in line.at.simplex]
        count = len(ids) if line.closed else len(ids) - 1
        for i in range(count):
            j = (i + 1) % len(ids)
            home = homes[i] | homes[j]
            step = int(ids[i]), int(ids[j])
            if len(home) == 2:
                chain = chains.get(home, sorted(home))
                if abs(chain.index(step[0]) - chain.index(step[1])) != 1:
                    raise _touch(what, vertices[step[0]])
            elif len(home) == 3:
                chords[home].append(step)
            else:
                raise CheckError(f"{what} could not be followed near {spot(vertices[step[0]])}.")
    return chords


def _touched_faces(
    mesh: Mesh, chains: dict[frozenset[int], list[int]], through: set[frozenset[int]]
) -> IntArray:
    """The faces that a line crosses or that have a point on a side, ascending."""
    near = np.zeros(len(mesh.vertices_mm), np.bool_)
    for ids in (*chains, *through):
        near[list(ids)] = True
    candidates = np.flatnonzero(near[mesh.faces].sum(axis=1) >= 2)
    found = []
    missing = set(through)
    for f in candidates.tolist():
        a, b, c = mesh.faces[f].tolist()
        whole = frozenset((a, b, c))
        missing.discard(whole)
        sides = (frozenset((a, b)), frozenset((b, c)), frozenset((c, a)))
        if whole in through or any(side in chains for side in sides):
            found.append(f)
    if missing:
        raise CheckError("A line leads through a triangle that the surface does not have.")
    return np.array(found, np.int64)


def _triangulate(
    vertices: FloatArray,
    faces: IntArray,
    touched: IntArray,
    chains: dict[frozenset[int], list[int]],
    chords: dict[frozenset[int], list[tuple[int, int]]],
    what: str,
) -> tuple[IntArray, IntArray]:
    """The triangles of the touched faces, all faces in one call each to shapely."""
    steps: list[tuple[int, int]] = []
    owner: list[int] = []
    for k, f in enumerate(touched.tolist()):
        corners = faces[f].tolist()
        for u, v in zip(corners, corners[1:] + corners[:1], strict=True):
            chain = chains.get(frozenset((u, v)), [u, v])
            steps += pairwise(chain)
            owner += [k] * (len(chain) - 1)
        inside = chords.get(frozenset(corners), [])
        steps += inside
        owner += [k] * len(inside)
    if not steps:
        return np.zeros((0, 3), np.int64), np.zeros(0, np.int64)
    ends, of = np.array(steps), np.array(owner)
    plane = _planes(vertices, faces[touched])
    flat = np.einsum("kej,kij->kei", vertices[ends] - plane.origin[of][:, None], plane.axes[of])
    several = [len(chords.get(frozenset(corners), ())) > 1 for corners in faces[touched].tolist()]
    some = np.array(several)[of]
    _require_uncrossed(vertices, ends[some], of[some], flat[some], what)
    segments = shapely.linestrings(flat)
    widest = int(np.bincount(of).max())
    rank = np.arange(len(of)) - np.searchsorted(of, of)
    table = np.full((len(touched), widest), None, dtype=object)
    table[of, rank] = segments
    polygons, of_polygon = shapely.get_parts(shapely.polygonize(table), return_index=True)
    parts, of_part = shapely.get_parts(
        shapely.constrained_delaunay_triangles(polygons), return_index=True
    )
    of_part = of_polygon[of_part]
    corners_2d = shapely.get_coordinates(parts).reshape(-1, 4, 2)[:, :3]
    name = {
        (k, x, y): v
        for k, (x, y), v in zip(
            np.repeat(of, 2).tolist(),
            flat.reshape(-1, 2).tolist(),
            ends.reshape(-1).tolist(),
            strict=True,
        )
    }
    keys = zip(np.repeat(of_part, 3).tolist(), corners_2d.reshape(-1, 2).tolist(), strict=True)
    fresh = np.array([name[k, x, y] for k, (x, y) in keys], np.int64).reshape(-1, 3)
    first, second = corners_2d[:, 1] - corners_2d[:, 0], corners_2d[:, 2] - corners_2d[:, 0]
    turned = first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0] < 0
    fresh[turned] = fresh[turned][:, [0, 2, 1]]
    return fresh, touched[of_part]


@dataclass(frozen=True, eq=False)
class _Planes:
    """A frame in the plane of each of k triangles, first axis along its first side."""

    origin: FloatArray
    axes: FloatArray


def _planes(vertices: FloatArray, faces: IntArray) -> _Planes:
    corners = vertices[faces]
    along = corners[:, 1] - corners[:, 0]
    along /= np.linalg.norm(along, axis=1, keepdims=True)
    normal = np.cross(along, corners[:, 2] - corners[:, 0])
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    return _Planes(corners[:, 0], np.stack([along, np.cross(normal, along)], axis=1))


def _require_uncrossed(
    vertices: FloatArray, ends: IntArray, of: IntArray, flat: FloatArray, what: str
) -> None:
    """Refuse chords that cross within a triangle; only those with several chords are given."""
    starts = np.flatnonzero(np.diff(of, prepend=-1))
    for start, stop in zip(starts, np.append(starts[1:], len(of)), strict=False):
        i, j = np.triu_indices(stop - start, 1)
        a, b = flat[start + i], flat[start + j]
        apart = _sides(a, b) & _sides(b, a)
        shared = (ends[start + i][:, :, None] == ends[start + j][:, None, :]).any(axis=(1, 2))
        if (crossing := np.flatnonzero(apart & ~shared)).size:
            raise _touch(what, vertices[ends[start + i[crossing[0]], 0]])


def _sides(line: FloatArray, other: FloatArray) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Whether the two ends of each other segment lie strictly on both sides of each line."""
    along = line[:, 1] - line[:, 0]
    across = np.stack([-along[:, 1], along[:, 0]], axis=1)
    side = np.einsum("kej,kj->ke", other - line[:, :1], across)
    found: np.ndarray[tuple[int], np.dtype[np.bool_]] = (side[:, 0] * side[:, 1]) < 0
    return found


def _require_whole(
    mesh: Mesh, vertices: FloatArray, touched: IntArray, fresh: IntArray, source: IntArray
) -> None:
    """Our own check: the parts of each triangle have its area together."""
    parts = Mesh(vertices, fresh).face_areas_mm2
    total = np.bincount(source, parts, minlength=len(mesh.faces))[touched]
    if not np.allclose(total, mesh.face_areas_mm2[touched], rtol=1e-6, atol=1e-9):
        raise CheckError("Splitting triangles along a line lost some of their area.")


def directed_keys(faces: IntArray, span: int) -> IntArray:
    """(3 m,) int64: one number for each directed half-edge, for looking edges up."""
    directed = half_edges(faces)
    keys: IntArray = directed[:, 0] * span + directed[:, 1]
    return keys
