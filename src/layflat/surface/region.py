"""A region cut out of a body: the mesh of one panel with its boundary loops."""

from dataclasses import dataclass

import numpy as np

from layflat.base import IntArray, frozen
from layflat.surface.mesh import Mesh
from layflat.surface.panel import Edge


@dataclass(frozen=True, eq=False)
class Loop:
    """One boundary loop of a region.

    Attributes:
        vertices: (k,) int64, the vertex ids along the loop, material on the left.
        edge_of: (k,) int64, for the segment from vertex i to vertex i + 1 (the last closes the
            loop): the index in `edges` of the edge that it belongs to.
        edges: the edges of the loop in order; their first points are its corners.
    """

    vertices: IntArray
    edge_of: IntArray
    edges: tuple[Edge, ...]

    def __post_init__(self) -> None:
        object.__setattr__(self, "vertices", frozen(self.vertices, np.int64).reshape(-1))
        object.__setattr__(self, "edge_of", frozen(self.edge_of, np.int64).reshape(-1))


@dataclass(frozen=True, eq=False)
class Region:
    """A panel's surface, cut along its outline.

    Attributes:
        mesh: the triangles inside the outline, one piece, manifold, facing outward.
        loops: the outer loop first (counter-clockwise seen from outside), then its openings.
    """

    mesh: Mesh
    loops: tuple[Loop, ...]
