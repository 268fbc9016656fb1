"""A relief cut into a region: the surface opened along a path, and laid flat anew."""

import numpy as np

from layflat.base import FloatArray, IntArray
from layflat.film import Flat, flatten
from layflat.pattern import relief_name, reliefs_of
from layflat.surface import Mesh, Region, locate, right_of, slit_region

_INWARD = 0.05
"""Vertices are looked up so far from their place towards the middle of one of their triangles."""


def cut_relief(region: Region, path_mm: FloatArray) -> Region:
    """*region* opened along a path from an edge inward.

    The sides are two edges of kind `inner` called "relief 1", or the next number. In the pattern
    the cut ends in a round hole, see `layflat.pattern.relief`.

    Args:
        region: the panel, perhaps with reliefs in it.
        path_mm: (k, 3) float64, k >= 2, from the edge to the tip; geodesic between its points.

    Raises:
        MeshError: the path does not start at an edge, leaves the surface, or touches an edge or
            another relief.
    """
    taken = {slit.name for slit in reliefs_of(region)}
    number = 1
    while relief_name(number) in taken:
        number += 1
    return slit_region(region, path_mm, name=relief_name(number))


def flatten_again(region: Region, before: Flat) -> Flat:
    """*region*'s flat shape, sought from that of nearly the same surface, *before*."""
    return flatten(
        region.mesh,
        before.film,
        finger_aversion=before.finger_aversion,
        start_mm=carried(before, region.mesh),
    )


def carried(flat: Flat, mesh: Mesh) -> FloatArray:
    """(n, 2) float64: where each vertex of *mesh* lies in *flat*, a flat shape of its surface.

    The two sides of a relief lie at one place of the surface; each vertex is looked up from inside
    one of its own triangles, so that it stays on its side.
    """
    points = mesh.vertices_mm
    own = np.zeros(len(points), np.int64)
    for corner in range(3):
        own[mesh.faces[:, corner]] = np.arange(len(mesh.faces))
    middle = points[mesh.faces[own]].mean(axis=1)
    faces = locate(flat.mesh, points + _INWARD * (middle - points)).faces
    a, b, c = (flat.mesh.vertices_mm[flat.mesh.faces[faces, i]] for i in range(3))
    p, q, r = (flat.points_mm[flat.mesh.faces[faces, i]] for i in range(3))
    # Weights of the vertex itself: it may lie a little outside of that triangle.
    u, v, w = b - a, c - a, points - a
    uu, uv, vv = (np.einsum("ij,ij->i", x, y) for x, y in ((u, u), (u, v), (v, v)))
    wu, wv = (np.einsum("ij,ij->i", w, x) for x in (u, v))
    area = uu * vv - uv * uv
    s, t = (vv * wu - uv * wv) / area, (uu * wv - uv * wu) / area
    return np.asarray(p + s[:, None] * (q - p) + t[:, None] * (r - p))


def opened_along(flat: Flat, path: IntArray) -> tuple[Mesh, FloatArray]:
    """The mesh opened along its own edges, and where its vertices lie before it is laid anew.

    Args:
        flat: the piece.
        path: (k,) int64, vertices from the boundary inward, each joined to the next by an edge;
            none but the first lies on the boundary.
    """
    faces = np.array(flat.mesh.faces)
    first = len(flat.mesh.vertices_mm)
    copies = first + np.arange(len(path) - 1)
    copy_of = dict(zip(path[:-1].tolist(), copies.tolist(), strict=True))
    for face in right_of(flat.mesh.faces, path):
        faces[face] = [copy_of.get(v, v) for v in faces[face].tolist()]
    doubled = path[:-1]
    mesh = Mesh(np.concatenate((flat.mesh.vertices_mm, flat.mesh.vertices_mm[doubled])), faces)
    return mesh, np.concatenate((flat.points_mm, flat.points_mm[doubled]))
