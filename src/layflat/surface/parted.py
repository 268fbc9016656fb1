"""A part of a region after it was cut: its loops, with edges that keep their names and kinds."""

from itertools import pairwise

import numpy as np

from layflat.base import FloatArray, IntArray, MeshError
from layflat.surface.measure import loop_length_mm
from layflat.surface.mesh import Mesh
from layflat.surface.panel import Edge, EdgeKind
from layflat.surface.region import Loop, Region
from layflat.surface.tidy import tidy
from layflat.surface.topology import boundary_loops, compact, require_sheet


def nearest_on_boundary(region: Region, point: FloatArray) -> tuple[FloatArray, float]:
    """The place of the region's boundary nearest to *point*, and how far off it is, in mm."""
    best, least = point, np.inf
    for loop in region.loops:
        start = region.mesh.vertices_mm[loop.vertices]
        along = np.roll(start, -1, axis=0) - start
        share = np.einsum("ij,ij->i", point - start, along) / np.einsum("ij,ij->i", along, along)
        near = start + np.clip(share, 0, 1)[:, None] * along
        gap = np.linalg.norm(near - point, axis=1)
        if gap.min() < least:
            best, least = near[int(gap.argmin())], float(gap.min())
    return best, least


def kept_part(
    region: Region,
    vertices_mm: FloatArray,
    faces: IntArray,
    *,
    ends: IntArray,
    free: IntArray,
    name: str,
    what: str,
) -> Region:
    """The region of *faces*, tidied; edges of *region* stay what they are, the cut is a new one.

    Args:
        region: what was cut.
        vertices_mm: (n + k, 3) float64; the first n are the region's.
        faces: (m, 3) int64, those that are kept.
        ends: vertices that may lie on the steps of the region's boundary and part them.
        free: vertices that may be dropped from the boundary.
        name: the new edge's; its kind is `inner`.
        what: what is kept, at the start of a sentence.

    Raises:
        MeshError: it is no sheet, or the cut encloses an opening of its own.
    """
    faces, used = compact(faces)
    mesh = Mesh(vertices_mm[used], faces)
    require_sheet(mesh.faces, what=what)
    owner = _owners(region, vertices_mm, ends.tolist())
    loops = [_loop(region, mesh, used, ids, owner, name, what) for ids in boundary_loops(faces)]
    loops.sort(key=lambda loop: -loop_length_mm(mesh, loop.vertices))
    part = tidy(Region(mesh, tuple(loops)), free=np.isin(used, free))
    require_sheet(part.mesh.faces, what=what)
    return part


def _owners(
    region: Region, vertices: FloatArray, ends: list[int]
) -> dict[tuple[int, int], tuple[int, int]]:
    """For each boundary step of the cut mesh the (loop, edge) that it is a part of."""
    owner: dict[tuple[int, int], tuple[int, int]] = {}
    # Only new vertices can part a step of the boundary.
    new = [p for p in ends if p >= len(region.mesh.vertices_mm)]
    for i, loop in enumerate(region.loops):
        after = np.roll(loop.vertices, -1)
        for u, v, edge in zip(
            loop.vertices.tolist(), after.tolist(), loop.edge_of.tolist(), strict=True
        ):
            on = [p for p in new if _between(vertices, u, p, v)]
            on.sort(key=lambda p: float(np.linalg.norm(vertices[p] - vertices[u])))
            for step in pairwise([u, *on, v]):
                owner[step] = (i, int(edge))
            owner[u, v] = (i, int(edge))
    return owner


def _between(vertices: FloatArray, u: int, p: int, v: int) -> bool:
    """Whether p lies on the straight step from u to v."""
    whole = float(np.linalg.norm(vertices[v] - vertices[u]))
    parts = np.linalg.norm(vertices[p] - vertices[u]) + np.linalg.norm(vertices[v] - vertices[p])
    return float(parts) - whole < 1e-9 * whole


def _loop(
    region: Region,
    mesh: Mesh,
    used: IntArray,
    ids: IntArray,
    owner: dict[tuple[int, int], tuple[int, int]],
    name: str,
    what: str,
) -> Loop:
    """One boundary loop of the kept part."""
    old = used[ids].tolist()
    keys = [owner.get((u, v)) for u, v in zip(old, old[1:] + old[:1], strict=True)]
    if not any(keys):
        raise MeshError(
            f"{what} has a hole where the line turns back beside itself; draw it wider."
        )
    starts = [i for i, key in enumerate(keys) if key != keys[i - 1]]
    shift = starts[0] if starts else 0
    keys, ids = keys[shift:] + keys[:shift], np.roll(ids, -shift)
    edge_of = np.cumsum([0] + [a != b for a, b in pairwise(keys)])
    edges = []
    for i in range(int(edge_of[-1]) + 1):
        run = np.flatnonzero(edge_of == i)
        points = mesh.vertices_mm[ids[run]]
        key = keys[int(run[0])]
        if key is None:
            edges.append(Edge(EdgeKind.INNER, points, name))
        else:
            edge = region.loops[key[0]].edges[key[1]]
            edges.append(Edge(edge.kind, points, edge.name))
    return Loop(ids, edge_of, tuple(edges))
