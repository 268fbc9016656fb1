"""A lighter mesh for the browser; computations keep the fine one.

Edges are collapsed where that changes the surface least (Garland and Heckbert, "Surface
Simplification Using Quadric Error Metrics", SIGGRAPH 1997; the implementation is libigl). A mesh of
millions of triangles takes it minutes: its vertices are drawn together in cells first.
"""

import igl
import numpy as np

from layflat.base import FloatArray, IntArray
from layflat.surface import Locator, Mesh, clustered, edge_table, locate, mend

LIGHT_TRIANGLES = 60_000
"""Turns smoothly on a tablet, and lies within about a millimetre of a vehicle's scan."""

_MANY, _FEWER = 8, 5
"""With so many times the wanted triangles a mesh is made coarser first, to so many times them."""

_SAMPLES = 20_000
_ROUNDS = 8
_FOLDED = 0.5
"""The cosine to the surface below which a triangle counts as folded."""


def light_mesh(mesh: Mesh, *, triangles: int = LIGHT_TRIANGLES) -> Mesh:
    """*mesh* with about *triangles* triangles, fit to have panels cut out of it.

    Args:
        mesh: manifold and oriented (see `layflat.surface.mend`).
        triangles: how many are wanted; a mesh with no more than that stays as it is.
    """
    if len(mesh.faces) <= triangles:
        return mesh
    if len(mesh.faces) > _MANY * triangles:
        coarser = clustered(mesh, triangles=_FEWER * triangles)
        mesh = mend(coarser, fill_mm=0.0, stray_share=0.0).mesh
    vertices, faces, _, _ = igl.qslim(np.array(mesh.vertices_mm), np.array(mesh.faces), triangles)
    # Collapsing can leave two triangles in one place or fans that touch at a point.
    fine = Locator(mesh)
    light = _unfolded(mend(Mesh(vertices, faces), fill_mm=0.0, stray_share=0.0).mesh, fine)
    # What cannot be laid flat is left out, and the gap is closed as any small hole.
    flat = light.faces[_facing(light.vertices_mm, light.faces, fine) >= _FOLDED]
    return mend(Mesh(light.vertices_mm, flat), stray_share=0.0).mesh


def _unfolded(light: Mesh, fine: Locator) -> Mesh:
    """*light* with its few folded triangles laid flat: they would show as dark specks.

    Vertices of triangles that face away from the surface go to the middle of their neighbours,
    and back onto the fine surface, a few times over.
    """
    table = edge_table(light.faces)
    rim = np.unique(table.ends[table.count == 1])
    ends = np.concatenate([table.ends, table.ends[:, ::-1]])
    points = np.array(light.vertices_mm)
    asked = light.faces
    for _ in range(_ROUNDS):
        folded = _facing(points, asked, fine) < _FOLDED
        moving = np.setdiff1d(asked[folded], rim)
        if not len(moving):
            break
        around = ends[np.isin(ends[:, 0], moving)]
        total, count = np.zeros_like(points), np.bincount(around[:, 0], minlength=len(points))
        np.add.at(total, around[:, 0], points[around[:, 1]])
        points[moving] = fine(total[moving] / count[moving, None]).points_mm
        asked = light.faces[np.isin(light.faces, moving).any(axis=1)]
    return Mesh(points, light.faces)


def _facing(points: FloatArray, faces: IntArray, fine: Locator) -> FloatArray:
    """(m,) the cosine between each triangle's normal and that of the fine surface at it."""
    corners = points[faces]
    mesh = fine.mesh
    there = mesh.vertices_mm[mesh.faces[fine(corners.mean(axis=1)).faces]]
    cosine: FloatArray = np.einsum("ij,ij->i", _normals(corners), _normals(there))
    return cosine


def _normals(corners: FloatArray) -> FloatArray:
    """(m, 3) unit normals of (m, 3, 3) corners; zero where there is no area."""
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    units: FloatArray = normal / np.maximum(np.linalg.norm(normal, axis=1), 1e-300)[:, None]
    return units


def deviation_mm(fine: Mesh, light: Mesh) -> float:
    """How far the vertices of *fine* lie from *light*: the 99th percentile of a sample."""
    every = max(1, len(fine.vertices_mm) // _SAMPLES)
    gaps = locate(light, fine.vertices_mm[::every]).distances_mm
    return float(np.quantile(gaps, 0.99))
