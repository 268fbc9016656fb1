"""Picked points made vertices of a small part of a mesh, so that lines can start from them."""

from collections import defaultdict

import numpy as np

from layflat.base import FloatArray, IntArray
from layflat.surface.place import Places, ids_of
from layflat.surface.topology import half_edges

_ON_SIDE = 1e-9


def insert_places(
    vertices_mm: FloatArray, faces: IntArray, at: Places
) -> tuple[FloatArray, IntArray, IntArray]:
    """Split triangles so that each of the places is a vertex.

    Args:
        vertices_mm: (n, 3) float64.
        faces: (m, 3) int64, manifold and oriented.
        at: places on these faces; no two at the same point.

    Returns:
        (n + k', 3) vertices, the split faces, and (k,) for each place its vertex. The first n
        vertices are the old ones; the new ones follow in the order of the places.
    """
    on_edge: dict[tuple[int, int], list[tuple[float, int]]] = defaultdict(list)
    in_face: dict[frozenset[int], list[int]] = defaultdict(list)
    number = np.empty(len(at.simplex), np.int64)
    added: list[FloatArray] = []
    for i, simplex in enumerate(at.simplex):
        ids = sorted(ids_of(simplex))
        if len(ids) == 1:
            number[i] = ids[0]
            continue
        number[i] = len(vertices_mm) + len(added)
        added.append(at.points_mm[i])
        if len(ids) == 2:
            along = float(np.linalg.norm(at.points_mm[i] - vertices_mm[ids[0]]))
            on_edge[ids[0], ids[1]].append((along, int(number[i])))
        else:
            in_face[frozenset(ids)].append(int(number[i]))
    points = np.concatenate([vertices_mm, np.reshape(added, (-1, 3))])
    touched = _faces_at(faces, len(points), on_edge, in_face)
    kept = np.ones(len(faces), np.bool_)
    kept[touched] = False
    fresh: list[tuple[int, int, int]] = []
    for face in touched:
        corners = tuple(int(v) for v in faces[face])
        fresh += _split_face(points, corners, on_edge, in_face.get(frozenset(corners), []))
    return (
        points,
        np.concatenate([faces[kept], np.reshape(fresh, (-1, 3)).astype(np.int64)]),
        number,
    )


def _faces_at(
    faces: IntArray,
    span: int,
    on_edge: dict[tuple[int, int], list[tuple[float, int]]],
    in_face: dict[frozenset[int], list[int]],
) -> list[int]:
    """The faces that have one of the edges, or are one of the faces, ascending."""
    directed = np.sort(half_edges(faces), axis=1)
    keys = directed[:, 0] * span + directed[:, 1]
    wanted = [u * span + v for u, v in on_edge]
    hit = set((np.flatnonzero(np.isin(keys, wanted)) // 3).tolist())
    inner = np.zeros(span, np.bool_)
    inner[[v for ids in in_face for v in ids]] = True
    hit.update(
        f
        for f in np.flatnonzero(inner[faces].all(axis=1)).tolist()
        if frozenset(faces[f].tolist()) in in_face
    )
    return sorted(hit)


def _split_face(
    points: FloatArray,
    corners: tuple[int, ...],
    on_edge: dict[tuple[int, int], list[tuple[float, int]]],
    inner: list[int],
) -> list[tuple[int, int, int]]:
    """The triangles of one face with points on its sides and inside it."""
    triangles = [(corners[0], corners[1], corners[2])]
    for u, v in zip(corners, corners[1:] + corners[:1], strict=True):
        chain = sorted(on_edge.get((min(u, v), max(u, v)), []), reverse=u > v)
        last = u
        for _, p in chain:
            _split_side(triangles, last, v, p)
            last = p
    for p in inner:
        _split_inside(points, triangles, p)
    return triangles


def _split_side(triangles: list[tuple[int, int, int]], u: int, v: int, p: int) -> None:
    """Split the triangle that has the side from u to v at p."""
    for i, (a, b, c) in enumerate(triangles):
        for x, y, z in ((a, b, c), (b, c, a), (c, a, b)):
            if (x, y) == (u, v):
                triangles[i] = (x, p, z)
                triangles.append((p, y, z))
                return


def _split_inside(points: FloatArray, triangles: list[tuple[int, int, int]], p: int) -> None:
    """Split the triangle that p lies in, or the two whose common side it lies on."""
    corners = points[np.array(triangles)]
    sides = np.roll(corners, -1, axis=1) - corners
    total = np.cross(sides[:, 0], sides[:, 1])
    normal = total.sum(axis=0) / np.linalg.norm(total.sum(axis=0))
    areas = np.cross(sides, points[p] - corners) @ normal / (total @ normal)[:, None]
    best = int(areas.min(axis=1).argmax())
    side = int(areas[best].argmin())
    u, v = triangles[best][side], triangles[best][(side + 1) % 3]
    if areas[best, side] < _ON_SIDE:
        _split_side(triangles, u, v, p)
        _split_side(triangles, v, u, p)
        return
    a, b, c = triangles[best]
    triangles[best] = (a, b, p)
    triangles += [(b, c, p), (c, a, p)]
