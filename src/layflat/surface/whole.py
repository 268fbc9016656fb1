"""A mesh that is itself one panel: its loops are its boundary, its corners where that turns."""

import numpy as np

from layflat.base import FloatArray, IntArray
from layflat.surface.measure import angle_defects, loop_length_mm
from layflat.surface.mesh import Mesh
from layflat.surface.panel import Edge, EdgeKind
from layflat.surface.region import Loop, Region
from layflat.surface.topology import compact, require_sheet


def whole_region(mesh: Mesh, *, corner_degrees: float = 30.0, name: str = "The surface") -> Region:
    """The region that covers all of *mesh*.

    The outer loop is the longest one. A boundary vertex is a corner where the boundary turns
    within the surface by more than *corner_degrees*; a loop without one is a single edge.
    Nobody said what lies beyond the edges, so all are of kind `open`. The vertices keep their
    order; unused ones are left out.

    Args:
        mesh: one piece, manifold, oriented, with a boundary.
        corner_degrees: the least turning of a corner.
        name: how the surface is called in an error, at the start of a sentence.

    Raises:
        MeshError: it is empty, closed, in pieces, not manifold or has a handle.
    """
    loops = require_sheet(mesh.faces, what=name)
    faces, used = compact(mesh.faces)
    mesh = Mesh(mesh.vertices_mm[used], faces)
    number = np.full(int(used.max()) + 1, -1)
    number[used] = np.arange(len(used))
    loops = [number[loop] for loop in loops]
    loops.sort(key=lambda loop: -loop_length_mm(mesh, loop))
    turning = np.abs(angle_defects(mesh))
    found = [_loop(mesh, loop, turning[loop] > np.radians(corner_degrees)) for loop in loops]
    return Region(mesh, tuple(found))


def _loop(
    mesh: Mesh, vertices: IntArray, corner: np.ndarray[tuple[int], np.dtype[np.bool_]]
) -> Loop:
    """One boundary loop as edges from corner to corner, beginning at its first corner."""
    start = int(np.argmax(corner))
    vertices, corner = np.roll(vertices, -start), np.roll(corner, -start)
    corner[0] = True
    edge_of = np.cumsum(corner) - 1
    points: FloatArray = mesh.vertices_mm[vertices]
    edges = tuple(Edge(EdgeKind.OPEN, points[edge_of == i]) for i in range(int(edge_of[-1]) + 1))
    return Loop(vertices, edge_of, edges)
