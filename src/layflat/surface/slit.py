"""A region opened along a line from its boundary inward: what a relief cut does to a piece."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from layflat.base import CheckError, FloatArray, IntArray, MeshError
from layflat.surface.insert import insert_places
from layflat.surface.locate import locate
from layflat.surface.mesh import Mesh
from layflat.surface.panel import Edge, EdgeKind
from layflat.surface.parted import nearest_on_boundary
from layflat.surface.place import Places, simplices
from layflat.surface.region import Loop, Region
from layflat.surface.settle import settle
from layflat.surface.split import Split, split_along
from layflat.surface.tidy import tidy
from layflat.surface.topology import edge_table, half_edges, require_sheet
from layflat.surface.trace import Stretch, spot, trace

SLIT_START_REACH_MM = 25.0
"""How far the start of a slit may lie from the edge that it is drawn from."""

SLIT_REACH_MM = 5.0
"""How far its other points may lie from the surface."""

_TIP_SHARE = 0.15
"""A tip that is nearer than this part of a triangle to its side or corner is put there."""

LEAST_SLIT_MM = 1.0
"""A slit shorter than this opens nothing."""


def slit_region(region: Region, path_mm: FloatArray, *, name: str) -> Region:
    """*region* opened along a path, its two sides two edges of the loop that it starts from.

    The path is geodesic between its points. Both sides are edges of kind `inner` called *name*,
    the first running inward, the second back out; the edge that it starts on is parted in two.

    Args:
        region: the panel, perhaps with slits in it already.
        path_mm: (k, 3) float64, k >= 2: from the edge inward. The first goes to the nearest place
            of the boundary, at most 25 mm away, the others to the surface, at most 5 mm; the last
            on to a vertex or an edge of the mesh if one is within 0.15 of a triangle.
        name: what both sides are called.

    Raises:
        MeshError: a point is too far away or not finite; the path touches the boundary again or
            itself, or has no length.
    """
    what = f"The cut “{name}”"
    points = np.array(path_mm, np.float64).reshape(-1, 3)
    if len(points) < 2:
        raise MeshError(f"{what} needs two points or more: from the edge inward.")
    if not np.isfinite(points).all():
        raise MeshError(f"{what} has a point that is not a finite number.")
    points[0] = _on_boundary(region, points[0], what)
    stretch = Stretch(points, False, what)
    lines = trace(region.mesh, [stretch], reach_mm=SLIT_REACH_MM)
    mesh, points[-1] = _with_tip(settle(region.mesh, lines), points[-1])
    settled = Region(mesh, region.loops)
    stretch = Stretch(points, False, what)
    lines = trace(settled.mesh, [stretch], reach_mm=SLIT_REACH_MM)
    line = lines[0].at.points_mm
    if len(line) < 2 or np.linalg.norm(np.diff(line, axis=0), axis=1).sum() < LEAST_SLIT_MM:
        raise MeshError(f"{what} is shorter than {LEAST_SLIT_MM:g} mm; draw it farther inward.")
    split = split_along(settled.mesh, lines, what=what)
    return _opened(settled, split, lines[0].picked < 0, name, what)


def _with_tip(mesh: Mesh, tip: FloatArray) -> tuple[Mesh, FloatArray]:
    """The mesh with a vertex at the tip, and where that is: no sliver beside it is left."""
    found = locate(mesh, tip[None])
    weights = np.where(found.barycentric < _TIP_SHARE, 0.0, found.barycentric)
    weights /= weights.sum()
    corners = mesh.faces[found.faces]
    at = Places(
        np.einsum("ki,kij->kj", weights, mesh.vertices_mm[corners]), simplices(corners, weights)
    )
    vertices, faces, number = insert_places(mesh.vertices_mm, mesh.faces, at)
    return Mesh(vertices, faces), vertices[number[0]]


def _on_boundary(region: Region, point: FloatArray, what: str) -> FloatArray:
    """The place of the boundary nearest to *point*, if it is near enough."""
    best, least = nearest_on_boundary(region, point)
    if least > SLIT_START_REACH_MM:
        raise MeshError(
            f"{what} must start on an edge of the panel: {spot(point)} lies {least:.1f} mm from "
            f"the nearest; at most {SLIT_START_REACH_MM:g} mm are bridged. Start it at the edge."
        )
    return best


def _opened(
    region: Region,
    split: Split,
    crossing: np.ndarray[tuple[int], np.dtype[np.bool_]],
    name: str,
    what: str,
) -> Region:
    """The split mesh with the line's vertices doubled, and its loops."""
    line = split.lines[0]
    mouth = _mouth(region, split, int(line[0]), what)
    rim = edge_table(split.faces)
    on_rim = np.zeros(len(split.vertices_mm), np.bool_)
    on_rim[rim.ends[rim.count == 1]] = True
    if on_rim[line[1:]].any():
        at = split.vertices_mm[line[1:][on_rim[line[1:]]][0]]
        raise MeshError(
            f"{what} touches an edge again near {spot(at)}; it must end inside the panel. Where it "
            "shall part the panel, draw a seam instead."
        )
    faces = np.array(split.faces)
    doubled = line[:-1]
    copies = len(split.vertices_mm) + np.arange(len(doubled))
    copy_of = dict(zip(doubled.tolist(), copies.tolist(), strict=True))
    for face in right_of(split.faces, line):
        faces[face] = [copy_of.get(v, v) for v in faces[face].tolist()]
    mesh = Mesh(np.concatenate((split.vertices_mm, split.vertices_mm[doubled])), faces)
    sides = np.sort(half_edges(split.faces), axis=1)
    steps = np.sort(np.column_stack((line[:-1], line[1:])), axis=1)
    span = len(split.vertices_mm)
    if not np.isin(steps[:, 0] * span + steps[:, 1], sides[:, 0] * span + sides[:, 1]).all():
        raise CheckError(f"{what} did not become edges of the mesh.")
    loops = list(region.loops)
    number, place = mouth
    loops[number] = _loop(mesh, loops[number], place, line, copies, name)
    free = np.zeros(len(mesh.vertices_mm), np.bool_)
    free[line[crossing]] = True
    free[copies[crossing[:-1]]] = True
    opened = tidy(Region(mesh, tuple(loops)), free=free)
    require_sheet(opened.mesh.faces, what=f"The panel with {what[0].lower()}{what[1:]}")
    return opened


def _mouth(region: Region, split: Split, start: int, what: str) -> tuple[int, "_Place"]:
    """The loop that the line starts from, and where."""
    point = split.vertices_mm[start]
    for number, loop in enumerate(region.loops):
        same = np.flatnonzero(loop.vertices == start)
        if len(same):
            return number, _Place(int(same[0]), between=False)
    for number, loop in enumerate(region.loops):
        a = split.vertices_mm[loop.vertices]
        b = np.roll(a, -1, axis=0)
        whole = np.linalg.norm(b - a, axis=1)
        parts = np.linalg.norm(point - a, axis=1) + np.linalg.norm(b - point, axis=1)
        step = int(np.argmin(parts - whole))
        if parts[step] - whole[step] < 1e-6 * whole[step]:
            return number, _Place(step, between=True)
    raise CheckError(f"{what} does not start on the boundary of the surface.")


@dataclass(frozen=True)
class _Place:
    """Where on a loop a slit starts: at its vertex *index*, or on the step behind that."""

    index: int
    between: bool


def right_of(faces: IntArray, line: IntArray) -> list[int]:
    """The faces at the vertices of a line of edges, without its tip, that lie to its right."""
    steps = {(u, v) for u, v in pairwise(line.tolist())}
    barrier = steps | {(v, u) for u, v in steps}
    near = np.isin(faces, line[:-1]).any(axis=1)
    owner: dict[tuple[int, int], int] = {}
    for f in np.flatnonzero(near).tolist():
        a, b, c = faces[f].tolist()
        owner.update({(a, b): f, (b, c): f, (c, a): f})
    found: set[int] = set()
    for v in line[:-1].tolist():
        front = [owner[y, x] for x, y in steps if v in (x, y) and (y, x) in owner]
        seen = set(front)
        while front:
            a, b, c = faces[front.pop()].tolist()
            for x, y in ((a, b), (b, c), (c, a)):
                if v in (x, y) and (x, y) not in barrier:
                    other = owner.get((y, x))
                    if other is not None and other not in seen:
                        seen.add(other)
                        front.append(other)
        found |= seen
    return sorted(found)


def _loop(
    mesh: Mesh, loop: Loop, place: _Place, line: IntArray, copies: IntArray, name: str
) -> Loop:
    """The loop with the slit's two sides in it."""
    vertices, edge_of = loop.vertices.tolist(), loop.edge_of.tolist()
    at = place.index
    if place.between:
        vertices.insert(at + 1, int(line[0]))
        edge_of.insert(at + 1, edge_of[at])
        at += 1
    # Keys tell the runs apart: an old edge and its part, or a side of the slit.
    keys: list[tuple[int, str]] = [(edge, "") for edge in edge_of]
    inward, outward = (-1, "in"), (-1, "out")
    inside = [*line.tolist(), *copies[::-1].tolist()]
    sides = [inward] * (len(line) - 1) + [outward] * (len(line) - 1)
    if len(loop.edges) == 1:
        vertices = [inside[-1], *vertices[at + 1 :], *vertices[:at], *inside[:-1]]
        keys = [keys[0]] * (len(vertices) - len(sides)) + sides
    else:
        corner = edge_of[at - 1] != edge_of[at]
        behind = [
            (edge, "" if corner or edge != edge_of[at] else "behind") for edge in edge_of[at:]
        ]
        vertices = [*vertices[:at], *inside, *vertices[at + 1 :]]
        keys = [*keys[:at], *sides, *behind]
    numbers, edges = list[int](), list[Edge]()
    for i, key in enumerate(keys):
        if i == 0 or key != keys[i - 1]:
            run = [vertices[j] for j in range(i, len(keys)) if keys[j] == key]
            edges.append(_edge(mesh, loop, key, keys, run, name))
        numbers.append(len(edges) - 1)
    return Loop(np.array(vertices), np.array(numbers), tuple(edges))


def _edge(
    mesh: Mesh,
    loop: Loop,
    key: tuple[int, str],
    keys: list[tuple[int, str]],
    run: list[int],
    name: str,
) -> Edge:
    """The edge of one run; an old one that is not parted stays as it is."""
    number, part = key
    points = mesh.vertices_mm[run]
    if number < 0:
        return Edge(EdgeKind.INNER, points, name)
    old = loop.edges[number]
    if part == "" and (number, "behind") not in keys:
        return old
    return Edge(old.kind, points, old.name)
