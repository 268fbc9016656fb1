"""A scanner's mesh made fit for computation, with a list of all that was mended.

The steps, in order: vertices at one place are merged; faces without area and repeated faces go;
where more than two triangles meet at an edge, or fans at a vertex, the surface is parted;
triangles are turned to face the same way; stray shells are dropped; small holes are filled.
Big holes are kept: they are openings, or places that nobody scanned.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from layflat.base import FloatArray, IntArray, MeshError, Progress, silent
from layflat.surface.holes import fill_holes
from layflat.surface.mesh import Mesh
from layflat.surface.topology import (
    EdgeTable,
    compact,
    edge_table,
    face_components,
    oriented,
    split_fans,
)

MERGE_MM = 1e-3
"""Vertices closer together than this are one: far below what a scanner resolves."""

FILL_MM = 120.0
"""Rims up to this length are filled: about 40 mm across."""

STRAY_SHARE = 5e-4
"""A shell with less than this share of the area is a stray."""

_NO_AREA = 1e-7
"""A triangle whose height is below this share of its longest side has no area."""

_INSIDE_OUT = -0.3
"""The mean cosine between outward and normal below which a shell is inside out."""


@dataclass(frozen=True)
class Mend:
    """One kind of thing that was mended.

    Attributes:
        kind: a short name: merged, degenerate, repeated, parted, turned, stray, filled, kept-hole.
        count: how many.
        sentence: for people.
    """

    kind: str
    count: int
    sentence: str


@dataclass(frozen=True, eq=False)
class Mended:
    """A mesh fit for computation: manifold, oriented, of shells that matter.

    Attributes:
        mesh: the mended mesh.
        mends: what was done, in order; empty when nothing was needed.
    """

    mesh: Mesh
    mends: tuple[Mend, ...]


def mend(
    mesh: Mesh,
    *,
    fill_mm: float = FILL_MM,
    stray_share: float = STRAY_SHARE,
    progress: Progress = silent,
) -> Mended:
    """Mend *mesh*.

    Which side is outside is taken from the majority of each shell's triangles, by area; only a
    shell that bulges clearly inward by that reckoning is turned as a whole.

    Args:
        mesh: any triangles with finite vertices.
        fill_mm: holes with a rim up to this length are filled; 0 fills none.
        stray_share: shells with less than this share of the whole area are dropped; the largest
            always stays.
        progress: told what is being done.

    Raises:
        MeshError: nothing is left, or a shell has only one side (like a Möbius strip).
    """
    mends: list[Mend] = []
    progress("merging vertices", 0.0)
    vertices, faces = _merged(mesh, mends)
    progress("sorting out faces", 0.3)
    faces = _without_degenerate(vertices, faces, mends)
    faces = _without_repeated(faces, mends)
    if not len(faces):
        raise MeshError("The mesh has no triangle with an area.")
    vertices, faces, table = _parted(vertices, faces, mends)
    progress("turning faces", 0.5)
    shell = face_components(table)
    faces = _turned(vertices, faces, table, shell, mends)
    vertices, faces = _without_strays(vertices, faces, shell, stray_share, mends)
    progress("filling holes", 0.7)
    before = len(faces)
    vertices, faces, filled, kept = fill_holes(vertices, faces, rim_mm=fill_mm)
    if filled:
        _note(
            mends, "filled", filled, "{} filled with " + f"{len(faces) - before} triangles", "hole"
        )
    large = [length for length in kept if length > fill_mm]
    narrow = [length for length in kept if length <= fill_mm]
    limit = f"only rims up to {fill_mm:.0f} mm are filled" if fill_mm else "none is filled"
    _note(mends, "kept-hole", len(large), "{} kept open, " + f"{_rims(large)}: {limit}", "hole")
    why = "there is no room for a triangle between its sides"
    _note(mends, "kept-hole", len(narrow), "{} kept open, " + f"{_rims(narrow)}: {why}", "hole")
    progress("mended", 1.0)
    return Mended(Mesh(vertices, faces), tuple(mends))


def faced_outward(mesh: Mesh) -> Mesh:
    """*mesh* with its shells facing outward by the reckoning of `mend`; nothing else is done.

    Args:
        mesh: manifold and oriented.
    """
    table = edge_table(mesh.faces)
    faces = _turned(mesh.vertices_mm, mesh.faces, table, face_components(table), [])
    return Mesh(mesh.vertices_mm, faces)


def _note(
    mends: list[Mend], kind: str, count: int, form: str, one: str, many: str | None = None
) -> None:
    """Add a mend with its count in words, if there is anything to tell."""
    if count:
        what = f"{count:,} {one if count == 1 else many or one + 's'}"
        mends.append(Mend(kind, count, form.format(what) + "."))


def _rims(lengths: Sequence[float]) -> str:
    """The lengths of some rims in words."""
    if len(lengths) == 1:
        return f"with a rim of {lengths[0]:.0f} mm"
    return f"with rims of {min(lengths, default=0):.0f} to {max(lengths, default=0):.0f} mm"


def _merged(mesh: Mesh, mends: list[Mend]) -> tuple[FloatArray, IntArray]:
    """Vertices at one place as one, each group at the place of its first member."""
    # Adding zero makes one zero of the two that floating point has.
    rows = np.ascontiguousarray(mesh.vertices_mm + 0.0)
    _, first, group = np.unique(
        rows.view(np.dtype((np.void, rows.dtype.itemsize * 3))).reshape(-1),
        return_index=True,
        return_inverse=True,
    )
    pairs = cKDTree(rows[first]).query_pairs(MERGE_MM, output_type="ndarray").astype(np.int64)
    graph = coo_array(
        (np.ones(len(pairs), np.int8), (pairs[:, 0], pairs[:, 1])), (len(first), len(first))
    )
    label = connected_components(graph, directed=False)[1].astype(np.int64)[group]
    _, first, group = np.unique(label, return_index=True, return_inverse=True)
    spare = len(rows) - len(first)
    if not spare:
        return mesh.vertices_mm, mesh.faces
    order = np.argsort(first)
    rank = np.empty(len(order), np.int64)
    rank[order] = np.arange(len(order))
    _note(mends, "merged", spare, "{} merged into another at the same place", "vertex", "vertices")
    faces: IntArray = rank[group][mesh.faces]
    return mesh.vertices_mm[first[order]], faces


def _without_degenerate(vertices: FloatArray, faces: IntArray, mends: list[Mend]) -> IntArray:
    corners = vertices[faces]
    sides = np.roll(corners, -1, axis=1) - corners
    longest = np.einsum("ijk,ijk->ij", sides, sides).max(axis=1)
    doubled = np.linalg.norm(np.cross(sides[:, 0], sides[:, 1]), axis=1)
    good = doubled > _NO_AREA * longest
    flat = faces[~good]
    _note(mends, "degenerate", len(flat), "{} without area dropped", "triangle")
    return _without_junctions(vertices, faces[good], flat[_distinct(flat)])


def _distinct(faces: IntArray) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """(m,) bool: faces with three different vertices."""
    a, b, c = faces.T
    distinct: np.ndarray[tuple[int], np.dtype[np.bool_]] = (a != b) & (b != c) & (c != a)
    return distinct


def _without_junctions(vertices: FloatArray, faces: IntArray, flat: IntArray) -> IntArray:
    """Split what lay beyond the long side of each dropped triangle at its middle vertex.

    A triangle without area has a vertex on the side between the other two. Without this, its
    going would leave a slit between that vertex and the triangle beyond the side.
    """
    if not len(flat):
        return faces
    rows = faces.tolist()
    beyond = {(row[i], row[i - 2]): k for k, row in enumerate(rows) for i in range(3)}
    for triangle in flat.tolist():
        sides = [
            np.linalg.norm(vertices[triangle[i - 2]] - vertices[triangle[i]]) for i in range(3)
        ]
        i = int(np.argmax(sides))
        start, end, middle = triangle[i], triangle[i - 2], triangle[i - 1]
        k = beyond.pop((end, start), None)
        if k is None:
            continue
        far = next(v for v in rows[k] if v not in (start, end))
        for row, place in (([end, middle, far], k), ([middle, start, far], len(rows))):
            rows[place : place + 1] = [row]
            beyond.update({(row[j], row[j - 2]): place for j in range(3)})
    return np.array(rows, np.int64)


def _without_repeated(faces: IntArray, mends: list[Mend]) -> IntArray:
    if not len(faces):
        return faces
    low, middle, high = np.sort(faces, axis=1).T
    span = np.int64(faces.max() + 1)
    _, pair = np.unique(low * span + middle, return_inverse=True)
    _, first = np.unique(pair * span + high, return_index=True)
    _note(
        mends, "repeated", len(faces) - len(first), "{} dropped that were there twice", "triangle"
    )
    kept: IntArray = faces[np.sort(first)]
    return kept


def _parted(
    vertices: FloatArray, faces: IntArray, mends: list[Mend]
) -> tuple[FloatArray, IntArray, EdgeTable]:
    """The surface parted where it is not manifold, and which of its half-edges match."""
    table = edge_table(faces)
    crowded = int((table.count > 2).sum())
    used = int(np.count_nonzero(np.bincount(faces.ravel())))
    faces, source = split_fans(faces, table)
    _note(mends, "parted", crowded, "the surface parted at {} with more than two triangles", "edge")
    if not crowded:
        _note(
            mends, "parted", len(source) - used,
            "the surface parted at {} where it touched itself", "vertex", "vertices",
        )  # fmt: skip
    # Vertices that are only numbered anew match as before.
    return vertices[source], faces, edge_table(faces) if len(source) > used else table


def _turned(
    vertices: FloatArray, faces: IntArray, table: EdgeTable, shell: IntArray, mends: list[Mend]
) -> IntArray:
    """Faces of each shell turned to face the same way, the majority's."""
    flip = _flips(table, faces)
    corners = vertices[faces]
    normal = 0.5 * np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    area = np.linalg.norm(normal, axis=1)
    total = np.bincount(shell, area)
    # Of the two ways to face alike, the one that turns less area.
    flip ^= (np.bincount(shell, area * flip) > 0.5 * total)[shell]
    normal[flip] *= -1
    middle = corners.mean(axis=1)
    centre = np.stack([np.bincount(shell, area * middle[:, i]) / total for i in range(3)], axis=1)
    out = middle - centre[shell]
    flux = np.bincount(shell, np.einsum("ij,ij->i", out, normal))
    most = np.bincount(shell, np.linalg.norm(out, axis=1) * area)
    flip ^= (flux < _INSIDE_OUT * most)[shell]
    _note(mends, "turned", int(flip.sum()), "{} turned to face outward like the rest", "triangle")
    return np.where(flip[:, None], faces[:, ::-1], faces)


def _flips(table: EdgeTable, faces: IntArray) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """(m,) bool: faces to turn so that neighbours face alike, one of the two ways for each shell.

    In the double cover each face stands twice, as it is and turned; neighbours are joined so
    that they face alike. A shell with two sides falls into two pieces, one for each way.
    """
    count = len(faces)
    if oriented(table):
        return np.zeros(count, np.bool_)
    side = np.flatnonzero(table.mate > np.arange(3 * count))
    other = table.mate[side]
    alike = table.forward[side] != table.forward[other]
    f, g = side // 3, other // 3
    rows = np.r_[f, f + count]
    columns = np.r_[np.where(alike, g, g + count), np.where(alike, g + count, g)]
    graph = coo_array((np.ones(len(rows), np.int8), (rows, columns)), (2 * count, 2 * count))
    label = connected_components(graph, directed=False)[1]
    as_is, turned = label[:count], label[count:]
    if (as_is == turned).any():
        raise MeshError(
            "The surface has only one side, like a strip that was twisted and joined; "
            "its outside cannot be told. Cut it open in the scanner's program."
        )
    flips: np.ndarray[tuple[int], np.dtype[np.bool_]] = as_is > turned
    return flips


def _without_strays(
    vertices: FloatArray, faces: IntArray, shell: IntArray, stray_share: float, mends: list[Mend]
) -> tuple[FloatArray, IntArray]:
    area = np.bincount(shell, Mesh(vertices, faces).face_areas_mm2)
    stray = area < stray_share * area.sum()
    stray[area.argmax()] = False
    _note(
        mends, "stray", int(stray.sum()),
        "{} dropped, " + f"{area[stray].sum() / 100:.0f} cm² together", "stray shell",
    )  # fmt: skip
    faces, used = compact(faces[~stray[shell]])
    return vertices[used], faces
