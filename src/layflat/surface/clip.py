"""A region up to a drawn line: the part of a panel that a cover takes."""

from itertools import pairwise

import numpy as np

from layflat.base import FloatArray, IntArray, MeshError, Progress, silent
from layflat.surface.locate import locate
from layflat.surface.measure import loop_length_mm
from layflat.surface.mesh import Mesh
from layflat.surface.panel import Edge, EdgeKind
from layflat.surface.prepare import BoolArray
from layflat.surface.region import Loop, Region
from layflat.surface.settle import settle
from layflat.surface.split import Split, split_along
from layflat.surface.tidy import tidy
from layflat.surface.topology import (
    boundary_loops,
    compact,
    edge_table,
    face_components,
    require_sheet,
)
from layflat.surface.trace import Stretch, spot, trace

LINE_EDGE = "line"
"""The name of the edge that the line becomes."""

REACH_MM = 5.0
"""How far a picked point between the ends may lie from the surface."""

END_REACH_MM = 25.0
"""How far an end of the line may lie from the edge of the region that it is drawn on to."""


_PART = "The part of the panel up to the line"
"""How what is kept is called in an error."""


def clip_region(
    region: Region, *, line_mm: FloatArray, keep_mm: FloatArray, progress: Progress = silent
) -> Region:
    """The part of *region* on one side of a line.

    The line is geodesic between its picked points; its ends go to the nearest places of the
    region's boundary, at most 25 mm away. It becomes an edge of kind `inner` called "line".

    Args:
        region: the panel.
        line_mm: (k, 3) float64, k >= 2, picked points from edge to edge.
        keep_mm: (3,) float64, a point on the side that is kept.
        progress: told what is being done.

    Raises:
        MeshError: an end is more than 25 mm from the region's boundary, another point more than
            5 mm from the surface, a point is not finite, the line does not part the region,
            or what is kept is no sheet.
    """
    points = np.array(line_mm, np.float64).reshape(-1, 3)
    if len(points) < 2:
        raise MeshError("The line that film ends at needs two points or more.")
    if not np.isfinite(points).all():
        raise MeshError("The line that film ends at has a point that is not a finite number.")
    for end, which in ((0, "start"), (-1, "end")):
        points[end] = _on_boundary(region, points[end], which)
    progress("tracing the line", 0.0)
    stretch = Stretch(points, False, "The line that film ends at")
    lines = trace(region.mesh, [stretch], reach_mm=REACH_MM)
    region = Region(settle(region.mesh, lines), region.loops)
    lines = trace(region.mesh, [stretch], reach_mm=REACH_MM)
    split = split_along(region.mesh, lines, what="The line that film ends at")
    kept = _kept_side(split, np.asarray(keep_mm, np.float64).reshape(3))
    region = _clipped(region, split, kept, lines[0].picked < 0)
    progress("clipped", 1.0)
    return region


def _on_boundary(region: Region, point: FloatArray, which: str) -> FloatArray:
    """The place of the region's boundary nearest to *point*, the start or the end of a line."""
    best, least = point, np.inf
    for loop in region.loops:
        start = region.mesh.vertices_mm[loop.vertices]
        along = np.roll(start, -1, axis=0) - start
        share = np.einsum("ij,ij->i", point - start, along) / np.einsum("ij,ij->i", along, along)
        near = start + np.clip(share, 0, 1)[:, None] * along
        gap = np.linalg.norm(near - point, axis=1)
        if gap.min() < least:
            best, least = near[int(gap.argmin())], float(gap.min())
    if least > END_REACH_MM:
        raise MeshError(
            f"The line that film ends at must run from edge to edge of the panel: its {which} at "
            f"{spot(point)} lies {least:.1f} mm from the nearest edge; at most "
            f"{END_REACH_MM:g} mm are bridged. Draw it on to the edge."
        )
    return best


def _kept_side(split: Split, keep_mm: FloatArray) -> BoolArray:
    """(m',) bool: the faces on the side of *keep_mm*."""
    table = edge_table(split.faces)
    line = np.sort(np.stack([split.lines[0][:-1], split.lines[0][1:]], axis=1), axis=1)
    span = np.int64(len(split.vertices_mm))
    barrier = np.isin(table.ends[:, 0] * span + table.ends[:, 1], line[:, 0] * span + line[:, 1])
    part = face_components(table, barrier=barrier)
    if int(part.max()) == 0:
        raise MeshError(
            "The line that film ends at does not part the panel; draw it from edge to edge."
        )
    nearest = locate(Mesh(split.vertices_mm, split.faces), keep_mm[None]).faces[0]
    kept: BoolArray = part == part[nearest]
    return kept


def _clipped(region: Region, split: Split, kept: BoolArray, crossing: BoolArray) -> Region:
    """The kept faces with loops whose edges are the region's own and the line, tidied.

    Of the boundary only crossings of the line may be dropped.
    """
    faces, used = compact(split.faces[kept])
    mesh = Mesh(split.vertices_mm[used], faces)
    require_sheet(mesh.faces, what=_PART)
    owner = _owners(region, split)
    loops = [_loop(region, mesh, used, ids, owner) for ids in boundary_loops(faces)]
    loops.sort(key=lambda loop: -loop_length_mm(mesh, loop.vertices))
    free = np.isin(used, split.lines[0][crossing])
    region = tidy(Region(mesh, tuple(loops)), free=free)
    require_sheet(region.mesh.faces, what=_PART)
    return region


def _owners(region: Region, split: Split) -> dict[tuple[int, int], tuple[int, int]]:
    """For each boundary step of the split mesh the (loop, edge) that it is a part of."""
    owner: dict[tuple[int, int], tuple[int, int]] = {}
    ends = [int(split.lines[0][0]), int(split.lines[0][-1])]
    first_new = len(region.mesh.vertices_mm)
    for i, loop in enumerate(region.loops):
        after = np.roll(loop.vertices, -1)
        for u, v, edge in zip(loop.vertices.tolist(), after.tolist(), loop.edge_of, strict=True):
            key = (i, int(edge))
            owner[u, v] = key
            for p in ends:
                # Only the line's ends can part a step of the boundary; they are new vertices.
                if p >= first_new and _between(split.vertices_mm, u, p, v):
                    owner[u, p] = owner[p, v] = key
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
) -> Loop:
    """One boundary loop of the kept part."""
    old = used[ids].tolist()
    keys = [owner.get((u, v)) for u, v in zip(old, old[1:] + old[:1], strict=True)]
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
            edges.append(Edge(EdgeKind.INNER, points, LINE_EDGE))
        else:
            edge = region.loops[key[0]].edges[key[1]]
            edges.append(Edge(edge.kind, points, edge.name))
    return Loop(ids, edge_of, tuple(edges))
