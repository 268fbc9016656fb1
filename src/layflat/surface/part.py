"""A region parted in two along a line: what a seam does to a panel."""

from itertools import pairwise

import numpy as np
from scipy.spatial import KDTree

from layflat.base import FloatArray, IntArray, MeshError, SettingError
from layflat.surface.mesh import Mesh
from layflat.surface.parted import kept_part, nearest_on_boundary
from layflat.surface.region import Region
from layflat.surface.settle import settle
from layflat.surface.split import Split, split_along
from layflat.surface.topology import edge_table, face_components, half_edges
from layflat.surface.trace import Stretch, spot, trace

SEAM_END_REACH_MM = 25.0
"""How far an end of a seam may lie from the edge that it is drawn on to."""

SEAM_REACH_MM = 5.0
"""How far its other points may lie from the surface."""

LEAST_WIDTH_MM = 20.0
"""A part that is narrower than this on average is no piece of film. Common practice, no source."""

MOST_OVERLAP_MM = 30.0

_NUDGE_MM = 1e-3


def part_region(
    region: Region, path_mm: FloatArray, *, name: str, overlap_mm: float = 0.0
) -> tuple[Region, Region]:
    """*region* in two, along a line from edge to edge.

    The line is geodesic between its points. The first part is the one on its left as seen from
    outside, and reaches *overlap_mm* over the line; the second ends at it. In both the cut is an
    edge of kind `inner` called *name*; all other edges keep their names and kinds.

    Args:
        region: the panel.
        path_mm: (k, 3) float64, k >= 2. The first and the last go to the nearest place of the
            boundary, at most 25 mm away, the others to the surface, at most 5 mm.
        name: what the cut is called.
        overlap_mm: how far both parts cover the surface beside the line.

    Raises:
        SettingError: the overlap is out of range.
        MeshError: a point is too far away or not finite; the line does not part the region in
            two, touches itself or an edge; or a part is no more than a sliver.
    """
    if not 0.0 <= overlap_mm <= MOST_OVERLAP_MM:
        raise SettingError(
            f"The overlap of a seam is {overlap_mm:g} mm; it must lie between 0 and "
            f"{MOST_OVERLAP_MM:g} mm."
        )
    what = f"The seam “{name}”"
    points = np.array(path_mm, np.float64).reshape(-1, 3)
    if len(points) < 2:
        raise MeshError(f"{what} needs two points or more, from edge to edge.")
    if not np.isfinite(points).all():
        raise MeshError(f"{what} has a point that is not a finite number.")
    for end, which in ((0, "start"), (-1, "end")):
        points[end] = _on_boundary(region, points[end], what, which)
    stretch = Stretch(points, False, what)
    lines = trace(region.mesh, [stretch], reach_mm=SEAM_REACH_MM)
    settled = Region(settle(region.mesh, lines), region.loops)
    lines = trace(settled.mesh, [stretch], reach_mm=SEAM_REACH_MM)
    split = split_along(settled.mesh, lines, what=what)
    left = _left(split, what)
    line = split.lines[0]
    _require_wide(split, left, what)
    free = line[lines[0].picked < 0]
    second = kept_part(
        settled,
        split.vertices_mm,
        split.faces[~left],
        ends=line[[0, -1]],
        free=free,
        name=name,
        what=f"The second part beside {what[0].lower()}{what[1:]}",
    )
    vertices, faces, ends = split.vertices_mm, split.faces[left], line[[0, -1]]
    if overlap_mm > 0.0:
        vertices, faces, free = _reached_over(split, left, overlap_mm)
        rim = edge_table(split.faces)
        on_rim = np.zeros(len(vertices), np.bool_)
        on_rim[_crossed(vertices, rim.ends[rim.count == 1], free)] = True
        ends, free = np.concatenate((ends, free[on_rim[free]])), free[~on_rim[free]]
    first = kept_part(
        settled,
        vertices,
        faces,
        ends=ends,
        free=free,
        name=name,
        what=f"The first part beside {what[0].lower()}{what[1:]}",
    )
    return first, second


def _on_boundary(region: Region, point: FloatArray, what: str, which: str) -> FloatArray:
    best, least = nearest_on_boundary(region, point)
    if least > SEAM_END_REACH_MM:
        raise MeshError(
            f"{what} must run from edge to edge of the panel: its {which} at {spot(point)} lies "
            f"{least:.1f} mm from the nearest edge; at most {SEAM_END_REACH_MM:g} mm are bridged. "
            "Draw it on to the edge."
        )
    return best


def parted_by(faces: IntArray, line: IntArray) -> IntArray:
    """(m,) int64: the number of the part that each face lies in if a line of edges parts them."""
    table = edge_table(faces)
    span = int(faces.max()) + 1
    steps = np.sort(np.stack([line[:-1], line[1:]], axis=1), axis=1)
    barrier = np.isin(table.ends[:, 0] * span + table.ends[:, 1], steps[:, 0] * span + steps[:, 1])
    return face_components(table, barrier=barrier)


def _left(split: Split, what: str) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """(m',) bool: the faces on the left of the line."""
    line = split.lines[0]
    if len(line) < 2:
        raise MeshError(f"{what} starts and ends at one place; draw it across the panel.")
    part = parted_by(split.faces, line)
    parts = int(part.max()) + 1
    if parts == 1:
        raise MeshError(
            f"{what} does not part the panel in two; draw it from one side of the panel to the "
            "other, round its openings."
        )
    if parts > 2:
        raise MeshError(f"{what} touches an edge between its ends; keep it inside the panel there.")
    directed = half_edges(split.faces)
    begins = np.flatnonzero((directed[:, 0] == line[0]) & (directed[:, 1] == line[1]))
    beside = part[begins[0] // 3] if len(begins) else 1 - part[_face_right(directed, line)]
    found: np.ndarray[tuple[int], np.dtype[np.bool_]] = part == beside
    return found


def _face_right(directed: IntArray, line: IntArray) -> int:
    """The face on the right of the line's first step."""
    return int(np.flatnonzero((directed[:, 0] == line[1]) & (directed[:, 1] == line[0]))[0] // 3)


def _require_wide(
    split: Split, left: np.ndarray[tuple[int], np.dtype[np.bool_]], what: str
) -> None:
    """Refuse a part that is too narrow to be laid."""
    mesh = Mesh(split.vertices_mm, split.faces)
    steps = np.diff(split.vertices_mm[split.lines[0]], axis=0)
    length = float(np.linalg.norm(steps, axis=1).sum())
    area = min(float(mesh.face_areas_mm2[side].sum()) for side in (left, ~left))
    if area < LEAST_WIDTH_MM * length:
        raise MeshError(
            f"{what} takes off a sliver of {area / length:.0f} mm by {length:.0f} mm; a piece must "
            f"be {LEAST_WIDTH_MM:g} mm wide or more. Draw it farther from the edge."
        )


def _reached_over(
    split: Split, left: np.ndarray[tuple[int], np.dtype[np.bool_]], overlap_mm: float
) -> tuple[FloatArray, IntArray, IntArray]:
    """All vertices, the faces on the left with a band beyond the line, and the band's new vertices.

    The band ends where the distance from the line, in space, is the overlap; between vertices it is
    taken to change evenly.
    """
    points = split.vertices_mm
    beyond = split.faces[~left]
    away = _away(points, beyond, points[split.lines[0]], overlap_mm) - overlap_mm
    away[np.abs(away) < _NUDGE_MM] = _NUDGE_MM
    inside = away < 0.0
    count = inside[beyond].sum(axis=1)
    faces = [split.faces[left], beyond[count == 3]]
    added: dict[tuple[int, int], int] = {}
    places: list[FloatArray] = []

    def crossing(u: int, v: int) -> int:
        key = (min(u, v), max(u, v))
        if key not in added:
            share = away[key[0]] / (away[key[0]] - away[key[1]])
            added[key] = len(points) + len(places)
            places.append(points[key[0]] + share * (points[key[1]] - points[key[0]]))
        return added[key]

    fresh: list[tuple[int, int, int]] = []
    for face in beyond[(count == 1) | (count == 2)].tolist():
        one = inside[face].sum() == 1
        turn = next(i for i in range(3) if inside[face[i]] == one and inside[face[i - 1]] != one)
        a, b, c = face[turn:] + face[:turn]
        if one:
            fresh.append((a, crossing(a, b), crossing(c, a)))
        else:
            # a alone is outside.
            fresh += [(crossing(a, b), b, c), (crossing(a, b), c, crossing(c, a))]
    vertices = np.concatenate((points, np.reshape(places, (-1, 3))))
    joined = np.concatenate((*faces, np.reshape(fresh, (-1, 3)).astype(np.int64)))
    # A fold of the panel may come near the line elsewhere; the band is what hangs together.
    part = face_components(edge_table(joined))
    return vertices, joined[part == part[0]], np.arange(len(points), len(vertices))


def _away(points: FloatArray, faces: IntArray, line: FloatArray, overlap_mm: float) -> FloatArray:
    """(n,) float64: how far vertices near the line are from it; far ones just far.

    The line goes straight on beyond its ends, so that the band is as wide there.
    """
    sides = points[faces] - np.roll(points[faces], 1, axis=1)
    reach = overlap_mm + 2.0 * float(np.linalg.norm(sides, axis=2).max())
    reach += float(np.linalg.norm(np.diff(line, axis=0), axis=1).max())
    near = np.zeros(len(points), np.bool_)
    near[faces] = True
    near &= KDTree(line).query(points)[0] <= reach
    least = np.full(len(points), 2.0 * reach)
    last = len(line) - 2
    for i, (a, b) in enumerate(pairwise(line)):
        along = b - a
        share = (points[near] - a) @ along / max(float(along @ along), 1e-24)
        share = np.clip(share, -np.inf if i == 0 else 0.0, np.inf if i == last else 1.0)
        off = np.linalg.norm(points[near] - a - share[:, None] * along, axis=1)
        least[near] = np.minimum(least[near], off)
    return least


def _crossed(vertices: FloatArray, steps: IntArray, new: IntArray) -> IntArray:
    """Those of the new vertices that lie on the straight steps."""
    a, b = vertices[steps[:, 0]], vertices[steps[:, 1]]
    whole = np.linalg.norm(b - a, axis=1)
    on = [
        p
        for p in new.tolist()
        if (
            np.linalg.norm(vertices[p] - a, axis=1) + np.linalg.norm(b - vertices[p], axis=1)
            < whole * (1.0 + 1e-9)
        ).any()
    ]
    return np.array(on, np.int64)
