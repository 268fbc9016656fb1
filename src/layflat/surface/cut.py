"""A panel's region cut out of a body along its outline.

The outline is traced as geodesic lines through its picked points (`trace`), the triangles it
crosses are split along it (`split`), and what lies to its left is kept. Vertices next to the
line are moved onto it beforehand (`settle`), and the splinters that are left along it are
tidied away afterwards (`tidy`). Corners and the kinds of the edges go with the loops. All this
is done on the triangles near the outline; those farther inside are found by spreading from it
(`prepare`).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from layflat.base import CheckError, FloatArray, IntArray, MeshError, Progress, counted, silent
from layflat.surface.mesh import Mesh
from layflat.surface.panel import Edge, Panel
from layflat.surface.prepare import BoolArray, Prepared, prepare
from layflat.surface.region import Loop, Region
from layflat.surface.settle import settle
from layflat.surface.split import Split, directed_keys, split_along
from layflat.surface.tidy import tidy
from layflat.surface.topology import (
    boundary_loops,
    compact,
    edge_table,
    face_components,
    require_sheet,
)
from layflat.surface.trace import BorderTouchedError, Line, Stretch, require_reach, spot, trace

REACH_MM = 5.0
"""How far a picked point may lie from the surface."""

_WIDTHS = (1.0, 3.0)
"""How wide a part of the body is tried, one after the other, before all of it is taken."""


def cut_region(
    mesh: Mesh | Prepared,
    panel: Panel,
    *,
    reach_mm: float = REACH_MM,
    progress: Progress = silent,
) -> Region:
    """The region of *mesh* inside the outline of *panel*, without its openings.

    Each picked point goes to the nearest place of the surface, at most *reach_mm* away, and
    becomes a vertex. The boundary of the region is the geodesic line through them to within
    0.015 mm: 0.005 where a point is put on an edge next to it, 0.01 where points are dropped so
    that no splinters are left. Tidying moves the surface by at most 0.02 mm.

    Args:
        mesh: manifold, oriented, in mm (see `mend`). Where several panels of one body are cut,
            `prepare` it once; the result is the same.
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
    progress("tracing the outline", 0.0)
    body = prepare(mesh) if isinstance(mesh, Mesh) else mesh
    loops = (panel.outline, *panel.openings)
    names = (what, *(f"Opening {i + 1} of “{panel.name}”" for i in range(len(panel.openings))))
    stretches = [
        Stretch(_outline_points(edges, name), True, name)
        for edges, name in zip(loops, names, strict=True)
    ]
    near, split, lines = _split_near(body, stretches, what, reach_mm)
    progress("cutting along the outline", 0.5)
    split = _with_inside(body, near, split)
    region = _region(split, _inside(split, names), lines, loops, panel.name)
    progress("cut", 1.0)
    return region


def _split_near(
    body: Prepared, stretches: Sequence[Stretch], what: str, reach_mm: float
) -> tuple[IntArray, Split, list[Line]]:
    """The faces near the outline, ascending, these split along it, and the lines."""
    starts, ends = [], []
    for stretch in stretches:
        found = body.locate(stretch.points_mm)
        require_reach(stretch, found, reach_mm)
        starts.append(found.points_mm)
        ends.append(np.roll(found.points_mm, -1, axis=0))
    for wide in _WIDTHS:
        near = body.near(np.concatenate(starts), np.concatenate(ends), wide=wide)
        try:
            return near, *_split(body, near, stretches, what, reach_mm)
        except BorderTouchedError:
            pass
    near = np.arange(len(body.mesh.faces))
    return near, *_split(body, near, stretches, what, reach_mm)


def _split(
    body: Prepared, near: IntArray, stretches: Sequence[Stretch], what: str, reach_mm: float
) -> tuple[Split, list[Line]]:
    """The near faces split along the outline, and the lines along which they were."""
    part = Mesh(body.mesh.vertices_mm, body.mesh.faces[near])
    lines = trace(part, stretches, reach_mm=reach_mm, rims=body.rims)
    part = settle(part, lines)
    lines = trace(part, stretches, reach_mm=reach_mm, rims=body.rims)
    for line, stretch in zip(lines, stretches, strict=True):
        if len(line.picked) < 3:
            raise MeshError(f"{stretch.what} has no extent; pick at least three points round it.")
    split = split_along(part, lines, what=what)
    inner = np.zeros(len(body.mesh.faces) + 1, np.bool_)
    inner[near], inner[-1] = True, True
    if not inner[_neighbours(body)[near[split.source[split.untouched :]]]].all():
        raise BorderTouchedError
    return split, lines


def _neighbours(body: Prepared) -> IntArray:
    """(m, 3) int64: the faces beside each face of the body, -1 at its rims."""
    beside: IntArray = body.table.mate.reshape(-1, 3) // 3
    return beside


def _with_inside(body: Prepared, near: IntArray, split: Split) -> Split:
    """The split near faces, and the body's other faces that hang together with their left side."""
    along = _along(split)
    whole = near[split.source[: split.untouched]]
    piece = along.piece[: split.untouched]
    piece_of = np.full(len(body.mesh.faces), -1)
    piece_of[whole] = piece
    is_near = np.zeros(len(body.mesh.faces), np.bool_)
    is_near[near] = True
    wanted = np.zeros(int(along.piece.max()) + 1, np.bool_)
    wanted[along.piece[along.left[0][along.left[0] >= 0] // 3]] = True
    beyond = np.zeros(len(body.mesh.faces), np.bool_)
    beside = _neighbours(body)
    while True:
        seeds = beside[whole[wanted[piece]]].reshape(-1)
        seeds = seeds[(seeds >= 0)]
        seeds = seeds[~is_near[seeds] & ~beyond[seeds]]
        if not len(seeds):
            break
        beyond |= body.spread(seeds, is_near | beyond)
        # The near part may be entered again elsewhere, past a part of it that no line crosses.
        around = beside[beyond].reshape(-1)
        around = around[around >= 0]
        wanted[piece_of[around[is_near[around]]]] = True
    inside = np.flatnonzero(beyond)
    source = np.concatenate([whole, inside])
    order = np.argsort(source)
    faces = np.concatenate([split.faces[: split.untouched], body.mesh.faces[inside]])
    return Split(
        split.vertices_mm,
        np.concatenate([faces[order], split.faces[split.untouched :]]),
        np.concatenate([source[order], near[split.source[split.untouched :]]]),
        len(source),
        split.lines,
    )


def _outline_points(edges: Sequence[Edge], name: str) -> FloatArray:
    """The picked points of a loop, all edges in order."""
    if not edges or any(not len(edge.points_mm) for edge in edges):
        raise MeshError(f"{name} has an edge without a point.")
    points = np.concatenate([edge.points_mm for edge in edges])
    if len(points) < 3:
        raise MeshError(f"{name} has {counted(len(points), 'point')}; at least three are needed.")
    if not np.isfinite(points).all():
        raise MeshError(f"{name} has a point that is not a finite number.")
    return points


@dataclass(frozen=True, eq=False)
class _Along:
    """What lies along the lines of a split mesh.

    Attributes:
        left: for each line the (k,) half-edges along its steps, -1 where there is none.
        right: the same against it.
        piece: (m',) int64, the piece that each face belongs to when the lines part them.
    """

    left: list[IntArray]
    right: list[IntArray]
    piece: IntArray


def _along(split: Split) -> _Along:
    """The two sides of the lines, and the pieces that they part."""
    span = len(split.vertices_mm)
    keys = directed_keys(split.faces, span)
    order = np.argsort(keys)

    def half_edges_along(start: IntArray, end: IntArray) -> IntArray:
        wanted = start * span + end
        at = np.minimum(np.searchsorted(keys[order], wanted), len(keys) - 1)
        return np.where(keys[order[at]] == wanted, order[at], -1)

    table = edge_table(split.faces)
    barrier = np.zeros(len(table.ends), np.bool_)
    lefts, rights = [], []
    for line in split.lines:
        after = np.roll(line, -1)
        left, right = half_edges_along(line, after), half_edges_along(after, line)
        if ((left < 0) & (right < 0)).any():
            raise CheckError("A line did not become edges of the mesh.")
        barrier[table.edge_of[np.where(left >= 0, left, right)]] = True
        lefts.append(left)
        rights.append(right)
    return _Along(lefts, rights, face_components(table, barrier=barrier))


def _inside(split: Split, names: Sequence[str]) -> BoolArray:
    """(m',) bool: the faces to the left of all lines."""
    along = _along(split)
    wanted = along.piece[along.left[0][along.left[0] >= 0] // 3]
    kept: BoolArray = np.isin(along.piece, wanted)
    sides = zip(along.left, along.right, strict=True)
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
    inside: BoolArray,
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
    free = np.zeros(len(mesh.vertices_mm), np.bool_)
    for loop, line in zip(found, lines, strict=True):
        free[loop.vertices] = line.picked < 0
    region = tidy(Region(mesh, tuple(found)), free=free)
    _require_no_hole(region.mesh, region.loops, name)
    require_sheet(region.mesh.faces, what=f"The panel “{name}”")
    return region


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
