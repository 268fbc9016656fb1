"""Small holes filled with flat triangles over their rim."""

import mapbox_earcut
import numpy as np

from layflat.base import FloatArray, IntArray
from layflat.surface.measure import ring_length_mm
from layflat.surface.mesh import Mesh
from layflat.surface.topology import boundary_loops, edge_table, face_components

_LEAST_SHARE = 1e-7
"""A filling triangle has at least this share of the square of the rim's length, twice over."""


def fill_holes(
    vertices_mm: FloatArray, faces: IntArray, *, rim_mm: float
) -> tuple[FloatArray, IntArray, int, tuple[float, ...]]:
    """Fill the holes whose rim is at most *rim_mm* long.

    The rim is triangulated in the plane that fits it best; a rim that is not simple there, or
    whose triangulation would use an edge that is there already, gets a vertex in its middle and
    a fan round it. A rim whose fan would have no area stays open. So does the longest rim of a
    shell, its outer edge, unless the shell is far larger than what such a rim can border: a
    sheet with an outer edge of length L has an area of less than L².

    Args:
        vertices_mm: (n, 3) float64.
        faces: (m, 3) int64, manifold and oriented, each fan with a vertex of its own.
        rim_mm: the longest rim that is filled.

    Returns:
        The vertices, the faces, how many holes were filled, and the lengths of the rims that
        were kept, without the outer edges.
    """
    table = edge_table(faces)
    loops = boundary_loops(faces, table)
    shell_of = np.empty(len(vertices_mm), np.int64)
    shell_of[faces] = face_components(table)[:, None]
    lengths = [ring_length_mm(vertices_mm[loop]) for loop in loops]
    area = np.bincount(shell_of[faces[:, 0]], Mesh(vertices_mm, faces).face_areas_mm2)
    outer: dict[int, float] = {}
    for loop, length in zip(loops, lengths, strict=True):
        shell = int(shell_of[loop[0]])
        outer[shell] = max(outer.get(shell, 0.0), length)
    added: list[FloatArray] = []
    fresh: list[IntArray] = []
    kept: list[float] = []
    for loop, length in zip(loops, lengths, strict=True):
        shell = int(shell_of[loop[0]])
        if length == outer[shell] and area[shell] <= length**2:
            continue
        if length > rim_mm:
            kept.append(length)
            continue
        rim = loop[::-1]
        triangles = _over(vertices_mm[rim])
        if triangles is not None and not _doubles(rim[triangles], rim, table.ends):
            fresh.append(rim[triangles])
            continue
        centre = vertices_mm[rim].mean(axis=0)
        if not _has_area(vertices_mm[rim], centre):
            kept.append(length)
            continue
        middle = len(vertices_mm) + len(added)
        added.append(centre)
        fresh.append(np.stack([rim, np.roll(rim, -1), np.full(len(rim), middle)], axis=1))
    points = np.concatenate([vertices_mm, np.reshape(added, (-1, 3))])
    return points, np.concatenate([faces, *fresh]), len(fresh), tuple(kept)


def _doubles(triangles: IntArray, rim: IntArray, ends: IntArray) -> bool:
    """Whether the triangles use an edge across the rim that the mesh, with edges *ends*, has."""
    sides = np.sort(triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
    round_it = np.sort(np.stack([rim, np.roll(rim, -1)], axis=1), axis=1)
    across = set(map(tuple, sides.tolist())) - set(map(tuple, round_it.tolist()))
    for low, high in across:
        # The edges are sorted: those from `low` stand together, in the order of their ends.
        first, last = np.searchsorted(ends[:, 0], [low, low + 1])
        if high in ends[first:last, 1]:
            return True
    return False


def _has_area(rim: FloatArray, centre: FloatArray) -> bool:
    """Whether every triangle of the fan from the centre to the rim has an area."""
    spokes = rim - centre
    doubled = np.linalg.norm(np.cross(spokes, np.roll(spokes, -1, axis=0)), axis=1)
    return bool((doubled > _LEAST_SHARE * ring_length_mm(rim) ** 2).all())


def _over(rim: FloatArray) -> IntArray | None:
    """(k - 2, 3) indices of triangles over a rim that runs counter-clockwise, if it is simple."""
    centred = rim - rim.mean(axis=0)
    after = np.roll(centred, -1, axis=0)
    normal = np.cross(centred, after).sum(axis=0)
    axes = np.linalg.svd(centred, full_matrices=False)[2]
    first = axes[0]
    second = np.cross(normal, first)
    size = float(np.linalg.norm(second))
    if size <= 0:
        return None
    flat = np.stack([centred @ first, centred @ (second / size)], axis=1)
    found = mapbox_earcut.triangulate_float64(flat, np.array([len(rim)], np.uint32))
    triangles = np.asarray(found, np.int64).reshape(-1, 3)
    if len(triangles) != len(rim) - 2:
        return None
    a, b, c = (flat[triangles[:, i]] for i in range(3))
    doubled = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0])
    triangles = np.where((doubled < 0)[:, None], triangles[:, ::-1], triangles)
    return triangles if (np.abs(doubled) > _LEAST_SHARE * ring_length_mm(rim) ** 2).all() else None
