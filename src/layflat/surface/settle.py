"""Vertices that lie next to a line moved onto it, so that cutting along it leaves no slivers.

Where a line crosses an edge close to one of its ends, or a picked point lies close to a vertex,
the vertex is moved there, along the surface. The line itself stays where it is; traced again it
runs through the moved vertices.
"""

from collections.abc import Sequence

import numpy as np

from layflat.base import FloatArray, IntArray
from layflat.surface.measure import triangle_quality
from layflat.surface.mesh import Mesh
from layflat.surface.topology import edge_table
from layflat.surface.trace import Line

SETTLE_MM = 0.05
"""How far a vertex may leave the planes of its triangles: below what a scanner resolves."""

_SHARE = 0.25
"""A vertex moves by at most this share of the edge that the line crosses."""

_POOR = 0.25
"""A triangle of less quality than this may not be made worse."""


def settle(mesh: Mesh, lines: Sequence[Line]) -> Mesh:
    """*mesh* with vertices moved onto the lines that pass close by.

    A vertex moves by at most a quarter of the edge that the line crosses, leaves the planes of
    its triangles by at most `SETTLE_MM`, and turns no triangle over. Vertices on the boundary
    of the mesh stay.
    """
    vertex, target, share = _candidates(mesh, lines)
    fixed, passed = np.zeros((2, len(mesh.vertices_mm)), np.bool_)
    table = edge_table(mesh.faces)
    fixed[table.ends[table.count == 1].reshape(-1)] = True
    for line in lines:
        on_vertex = line.at.simplex[:, 1] < 0
        fixed[line.at.simplex[on_vertex & (line.picked >= 0), 0]] = True
        passed[line.at.simplex[on_vertex, 0]] = True
    # A vertex that a line passes stays, unless a picked point lies next to it: a line that comes
    # to that point and leaves it could pass the vertex both times.
    good = (share < _SHARE) & ~fixed[vertex] & (~passed[vertex] | (share < 0))
    order = np.flatnonzero(good)[np.argsort(share[good], kind="stable")]
    _, first = np.unique(vertex[order], return_index=True)
    order = order[np.sort(first)]
    _, first = np.unique(target[order], axis=0, return_index=True)
    order = order[np.sort(first)]
    return _moved(mesh, vertex[order], target[order])


def _candidates(mesh: Mesh, lines: Sequence[Line]) -> tuple[IntArray, FloatArray, FloatArray]:
    """Vertices, where each might go, and how far that is as a share; picked points come first."""
    points = np.concatenate([line.at.points_mm for line in lines])
    simplex = np.concatenate([line.at.simplex for line in lines])
    picked = np.concatenate([line.picked for line in lines]) >= 0
    several = simplex[:, 1] >= 0
    points, simplex, picked = points[several], simplex[several], picked[several]
    valid = simplex >= 0
    corners = mesh.vertices_mm[np.maximum(simplex, 0)]
    away = np.linalg.norm(corners - points[:, None], axis=2)
    sides = np.linalg.norm(np.roll(corners, -1, axis=1) - corners, axis=2)
    third = valid[:, 2]
    shortest = np.where(third, sides.min(axis=1), sides[:, 0])
    share = away / np.maximum(shortest, 1e-300)[:, None] - np.where(picked, 1.0, 0.0)[:, None]
    share[(away > _SHARE * shortest[:, None]) | ~valid] = np.inf
    return simplex.reshape(-1), np.repeat(points, 3, axis=0), share.reshape(-1)


def _moved(mesh: Mesh, vertex: IntArray, target: FloatArray) -> Mesh:
    """The mesh with those moves that neither leave the surface nor spoil a triangle."""
    moving = np.zeros(len(mesh.vertices_mm), np.bool_)
    moving[vertex] = True
    near = np.flatnonzero(moving[mesh.faces].any(axis=1))
    faces = mesh.faces[near]
    step = np.zeros_like(mesh.vertices_mm)
    step[vertex] = target - mesh.vertices_mm[vertex]
    before = Mesh(mesh.vertices_mm, faces)
    normal = _normals(before)
    leaves = np.abs(np.einsum("ij,ikj->ik", normal, step[faces])) > SETTLE_MM
    step[faces[leaves]] = 0.0
    quality = triangle_quality(before)
    while True:
        after = Mesh(mesh.vertices_mm + step, faces)
        worse = triangle_quality(after)
        bad = (worse < np.minimum(quality, _POOR)) | (
            np.einsum("ij,ij->i", normal, _normals(after)) < 0.5
        )
        if not (bad & (step[faces] != 0).any(axis=(1, 2))).any():
            return Mesh(mesh.vertices_mm + step, mesh.faces)
        step[faces[bad].reshape(-1)] = 0.0


def _normals(mesh: Mesh) -> FloatArray:
    corners = mesh.vertices_mm[mesh.faces]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    units: FloatArray = normal / np.maximum(np.linalg.norm(normal, axis=1), 1e-300)[:, None]
    return units
