"""A panel's region cut out of a body along its outline.

The outline is traced as geodesic lines through its picked points (`trace`), the triangles it
crosses are split along it (`split`), and what lies to its left is kept. Vertices next to the
line are moved onto it beforehand (`settle`), so that no slivers are left. Corners and the kinds
of the edges go with the loops.
"""

from collections.abc import Sequence

import numpy as np

from layflat.base import CheckError, FloatArray, IntArray, MeshError, Progress, silent
from layflat.surface.mesh import Mesh
from layflat.surface.panel import Edge, Panel
from layflat.surface.region import Loop, Region
from layflat.surface.settle import settle
from layflat.surface.split import Split, directed_keys, split_along
from layflat.surface.topology import (
    boundary_loops,
    compact,
    edge_table,
    face_components,
    manifold_fault,
    require_sheet,
)
from layflat.surface.trace import Line, Stretch, spot, trace

REACH_MM = 5.0
"""How far a picked point may lie from the surface."""


def cut_region(
    mesh: Mesh, panel: Panel, *, reach_mm: float = REACH_MM, progress: Progress = silent
) -> Region:
    """The region of *mesh* inside the outline of *panel*, without its openings.

    Each picked point goes to the nearest place of the surface, at most *reach_mm* away, and
    becomes a vertex. The boundary of the region is the geodesic line through them to within
    0.005 mm.

    Args:
        mesh: manifold, oriented, in mm (see `mend`).
        panel: its outline counter-clockwise seen from outside, its openings clockwise.
        reach_mm: how far a picked point may lie from the surface.
        progress: told what is being done.

    Raises:
        MeshError: the mesh is not manifold; a point is too far away; the outline crosses or
            touches itself, leads over a hole or off the mesh, runs the wrong way round, or
            encloses a hole or several pieces.
        CheckError: the result failed the check that guards it.
    """
    what = f"The outline of “{panel.name}”"
    _require_manifold(mesh)
    loops = (panel.outline, *panel.openings)
    names = (what, *(f"Opening {i + 1} of “{panel.name}”" for i in range(len(panel.openings))))
    stretches = [
        Stretch(_outline_points(edges, name), True, name)
        for edges, name in zip(loops, names, strict=True)
    ]
    progress("tracing the outline", 0.0)
    lines = trace(mesh, stretches, reach_mm=reach_mm)
    mesh = settle(mesh, lines)
    lines = trace(mesh, stretches, reach_mm=reach_mm)
    for line, name in zip(lines, names, strict=True):
        if len(line.picked) < 3:
            raise MeshError(f"{name} has no extent; pick at least three points round it.")
    progress("cutting along the outline", 0.5)
    split = split_along(mesh, lines, what=what)
    inside = _inside(split, names)
    region = _region(split, inside, lines, loops, panel.name)
    progress("cut", 1.0)
    return region


def _require_manifold(mesh: Mesh) -> None:
    if not len(mesh.faces):
        raise MeshError("The mesh has no triangles.")
    if fault := manifold_fault(mesh.faces):
        raise MeshError(f"The mesh cannot be cut as it is: {fault}. Mend it first.")


def _outline_points(edges: Sequence[Edge], name: str) -> FloatArray:
    """The picked points of a loop, all edges in order."""
    if not edges or any(not len(edge.points_mm) for edge in edges):
        raise MeshError(f"{name} has an edge without a point.")
    points = np.concatenate([edge.points_mm for edge in edges])
    if len(points) < 3:
        raise MeshError(f"{name} has {len(points)} point(s); at least three are needed.")
    if not np.isfinite(points).all():
        raise MeshError(f"{name} has a point that is not a finite number.")
    return points


def _inside(split: Split, names: Sequence[str]) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """(m',) bool: the faces to the left of all lines."""
    span = len(split.vertices_mm)
    keys = directed_keys(split.faces, span)
    order = np.argsort(keys)

    def half_edges_along(start: IntArray, end: IntArray) -> IntArray:
        wanted = start * span + end
        at = np.minimum(np.searchsorted(keys[order], wanted), len(keys) - 1)
        return np.where(keys[order[at]] == wanted, order[at], -1)

    table = edge_table(split.faces)
    barrier = np.zeros(len(table.ends), np.bool_)
    sides = []
    for line in split.lines:
        after = np.roll(line, -1)
        left, right = half_edges_along(line, after), half_edges_along(after, line)
        if ((left < 0) & (right < 0)).any():
            raise CheckError("A line did not become edges of the mesh.")
        barrier[table.edge_of[np.where(left >= 0, left, right)]] = True
        sides.append((left, right))
    piece = face_components(table, barrier=barrier)
    wanted = piece[sides[0][0][sides[0][0] >= 0] // 3]
    kept = np.isin(piece, wanted)
    for k, ((left, right), name) in enumerate(zip(sides, names, strict=True)):
        wrong = right[right >= 0]
        if (left < 0).any() or (not kept[left // 3].all()) or kept[wrong // 3].any():
            way = "counter-clockwise" if k == 0 else "clockwise"
            raise MeshError(
                f"{name} does not part an inside from an outside. It must run {way} seen from "
                f"outside{'' if k == 0 else ', within the outline'}, and close round one place."
            )
    if len(np.unique(wanted)) > 1:
        raise MeshError(f"{names[0]} encloses {len(np.unique(wanted))} separate pieces.")
    return kept


def _region(
    split: Split,
    inside: np.ndarray[tuple[int], np.dtype[np.bool_]],
    lines: Sequence[Line],
    loops: Sequence[tuple[Edge, ...]],
    name: str,
) -> Region:
    """The kept faces with the lines as loops."""
    faces, used = compact(split.faces[inside])
    number = np.full(len(split.vertices_mm), -1)
    number[used] = np.arange(len(used))
    mesh = Mesh(split.vertices_mm[used], faces)
    found = [
        Loop(number[ids], _edge_of(line, edges), edges)
        for ids, line, edges in zip(split.lines, lines, loops, strict=True)
    ]
    _require_no_hole(mesh, found, name)
    require_sheet(mesh.faces, what=f"The panel “{name}”")
    return Region(mesh, tuple(found))


def _edge_of(line: Line, edges: Sequence[Edge]) -> IntArray:
    """The edge of each step of a line, from the picked points that it passes."""
    of_pick = np.repeat(np.arange(len(edges)), [len(edge.points_mm) for edge in edges])
    last = np.maximum.accumulate(np.where(line.picked >= 0, np.arange(len(line.picked)), 0))
    return of_pick[line.picked[last]]


def _require_no_hole(mesh: Mesh, loops: Sequence[Loop], name: str) -> None:
    """Refuse a region with a boundary that nobody drew."""
    drawn = set(np.concatenate([loop.vertices for loop in loops]).tolist())
    for loop in boundary_loops(mesh.faces):
        if not drawn.intersection(loop.tolist()):
            points = mesh.vertices_mm[loop]
            length = np.linalg.norm(np.roll(points, -1, axis=0) - points, axis=1).sum()
            raise MeshError(
                f"Inside the outline of “{name}” the mesh has a hole with a rim of {length:.0f} mm "
                f"near {spot(points.mean(axis=0))}, or the outline runs clockwise. Fill the hole, "
                "or trace it as an opening."
            )
