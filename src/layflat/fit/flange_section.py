"""Plane sections of a mesh, followed from face to face from points on it."""

import numpy as np
from numpy.typing import NDArray

from layflat.base import FloatArray, IntArray
from layflat.surface import Mesh, Prepared, edge_table, locate

_MOST_STEPS = 2000
_HAIR_MM = 1e-3


def sections(
    body: Mesh | Prepared,
    points_mm: FloatArray,
    direction: FloatArray,
    normals: FloatArray,
    *,
    reach_mm: float,
) -> list[FloatArray]:
    """From each point the section of the mesh by the plane of *direction* and *normals*.

    Args:
        body: manifold and oriented.
        points_mm: (n, 3) float64, points on it.
        direction: (n, 3) float64, unit vectors, the way that the section is followed.
        normals: (n, 3) float64, unit vectors square to it.
        reach_mm: how far a section is followed; it ends there or where the mesh does.

    Returns:
        For each point (k, 2) float64, k >= 1: the section from its start, in the coordinates along
        *direction* and along the normal from the point.
    """
    mesh = body if isinstance(body, Mesh) else body.mesh
    table = edge_table(mesh.faces) if isinstance(body, Mesh) else body.table
    found = locate(mesh, points_mm) if isinstance(body, Mesh) else body.locate(points_mm)
    mates = table.mate
    across = np.cross(direction, normals)
    at, face = found.points_mm, found.faces.copy()
    # A plane through vertices may touch its first face only: it is moved a hair into that face.
    middle = mesh.vertices_mm[mesh.faces[face]].mean(axis=1)
    into = np.sign(np.einsum("ij,ij->i", middle - at, across))
    at = at + _HAIR_MM * into[:, None] * across
    came = np.full(len(at), -1)
    lines = [[np.zeros(2)] for _ in at]
    length = np.zeros(len(at))
    active = np.arange(len(at))
    here = at.copy()
    for step in range(_MOST_STEPS):
        if not len(active):
            break
        exits, place = _exits(mesh, face[active], at[active], across[active])
        choice = _way(exits, place, came[active], at[active], direction[active], first=step == 0)
        good = choice >= 0
        active, choice, place = active[good], choice[good], place[good]
        there = place[np.arange(len(active)), choice]
        length[active] += np.linalg.norm(there - here[active], axis=1)
        here[active] = there
        away = there - at[active]
        flat = np.column_stack(
            (
                np.einsum("ij,ij->i", away, direction[active]),
                np.einsum("ij,ij->i", away, normals[active]),
            )
        )
        for i, point in zip(active, flat, strict=True):
            lines[i].append(point)
        other = mates[3 * face[active] + choice]
        on = (other >= 0) & (length[active] < reach_mm)
        active, other = active[on], other[on]
        came[active] = other % 3
        face[active] = other // 3
    return [_cut_off(np.array(line), reach_mm) for line in lines]


def _exits(
    mesh: Mesh, faces: IntArray, at: FloatArray, across: FloatArray
) -> tuple[NDArray[np.bool_], FloatArray]:
    """(k, 3) bool: which sides of faces the planes cross; (k, 3, 3) float64: where."""
    corners = mesh.vertices_mm[mesh.faces[faces]]
    height = np.einsum("ijk,ik->ij", corners - at[:, None], across)
    following = np.roll(height, -1, axis=1)
    crossed = (height >= 0.0) != (following >= 0.0)
    span = np.where(crossed, height - following, 1.0)
    share = np.where(crossed, height / span, 0.0)
    place = corners + share[:, :, None] * (np.roll(corners, -1, axis=1) - corners)
    return crossed, place


def _way(
    exits: NDArray[np.bool_],
    place: FloatArray,
    came: IntArray,
    at: FloatArray,
    direction: FloatArray,
    *,
    first: bool,
) -> IntArray:
    """(k,) int64: the side that each section leaves its face by, or -1."""
    ahead = np.einsum("ijk,ik->ij", place - at[:, None], direction)
    if not first:
        exits = exits & (np.arange(3) != came[:, None])
        ahead = np.zeros_like(ahead)
    ahead = np.where(exits, ahead, -np.inf)
    best: IntArray = ahead.argmax(axis=1)
    return np.where(exits.any(axis=1), best, -1)


def _cut_off(line: FloatArray, reach_mm: float) -> FloatArray:
    """A section up to its reach."""
    steps = np.hypot(*np.diff(line, axis=0).T)
    along = np.concatenate(([0.0], np.cumsum(steps)))
    if along[-1] <= reach_mm:
        return line
    last = int(np.searchsorted(along, reach_mm))
    share = (reach_mm - along[last - 1]) / (along[last] - along[last - 1])
    end = line[last - 1] + share * (line[last] - line[last - 1])
    return np.vstack((line[:last], end))
