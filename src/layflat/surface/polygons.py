"""Faces with any number of corners, and how they become triangles.

A face of four corners is split along the diagonal whose smaller triangle is the larger one, in
its own best plane: right for dented ones too. A face of more is split by ear clipping (the
mapbox_earcut library) in its best plane. That plane's normal is the face's vector area
(Newell's sum), which for a flat face is exact whatever its shape.
"""

from dataclasses import dataclass

import mapbox_earcut
import numpy as np
import shapely

from layflat.base import FloatArray, IntArray, MeshError

MAX_TRIANGLES = 3_000_000
MAX_VERTICES = 3 * MAX_TRIANGLES
MAX_CORNERS = 1_000
"""The most corners of one face; ear clipping takes up to the square of it."""

MAX_COORDINATE = 1e9
"""In the file's own unit: anything larger is a damaged number, and its square must not overflow."""

_BENT = 0.05
_CHUNK = 100_000
_ROUNDING = 1e-9


@dataclass(frozen=True, eq=False)
class Polygons:
    """Faces as a file has them.

    Attributes:
        vertices: (n, 3) float64, in the file's unit; unchecked.
        corners: (k,) int64, the faces' vertices one face after the other; unchecked.
        sizes: (m,) int64, how many corners each face has.
    """

    vertices: FloatArray
    corners: IntArray
    sizes: IntArray


def require_count(triangles: int, where: str) -> None:
    """Refuse more triangles than are read.

    Raises:
        MeshError: there are more than `MAX_TRIANGLES`.
    """
    if triangles > MAX_TRIANGLES:
        raise MeshError(
            f"{where} has {triangles:,} triangles; at most {MAX_TRIANGLES:,} are read. "
            "Thin the mesh out in the scanner's program first."
        )


def require_sound(vertices: FloatArray, corners: IntArray, where: str) -> None:
    """Refuse what could crash a compiled library.

    Raises:
        MeshError: a face names a vertex that is not there, or a coordinate is no finite number
            or beyond `MAX_COORDINATE`.
    """
    if int(corners.min()) < 0 or int(corners.max()) >= len(vertices):
        raise MeshError(f"{where} has a face that names a vertex that is not there; it is damaged.")
    bad = int((~np.isfinite(vertices)).any(axis=1).sum())
    if bad:
        raise MeshError(f"{where} has {bad:,} vertices whose coordinates are not finite numbers.")
    if float(np.abs(vertices).max()) > MAX_COORDINATE:
        raise MeshError(
            f"{where} has coordinates beyond {MAX_COORDINATE:.0e}, which no vehicle panel has; "
            "it is damaged."
        )


def triangles(polygons: Polygons, *, where: str) -> tuple[IntArray, tuple[str, ...]]:
    """The faces as triangles, in the file's order.

    Args:
        polygons: the file's faces.
        where: what the file is called in errors and notes.

    Returns:
        (m, 3) int64 triangles, and sentences on what was split and left out.

    Raises:
        MeshError: no triangles or too many, a vertex that is not there, a coordinate that is
            not finite, or a face that crosses itself or has more than `MAX_CORNERS` corners.
    """
    corners, sizes = polygons.corners, polygons.sizes
    require_count(int(np.maximum(sizes - 2, 0).sum()), where)
    if not (sizes >= 3).any():
        raise MeshError(f"{where} has no triangles.")
    require_sound(polygons.vertices, corners, where)
    if (sizes == 3).all():
        return corners.reshape(-1, 3), ()
    corners, sizes, repeated = _without_repeats(corners, sizes)
    number = np.arange(1, len(sizes) + 1)
    real = sizes >= 3
    notes: list[str] = []
    if repeated:
        notes.append(
            f"{where} has {_faces(repeated)} with a corner named twice in a row; it was taken once."
        )
    if not real.all():
        notes.append(
            f"{where} has {_faces(int((~real).sum()))} of fewer than three corners, left out."
        )
        corners = corners[np.repeat(real, sizes)]
        sizes, number = sizes[real], number[real]
    if not len(sizes):
        raise MeshError(f"{where} has no triangles.")
    if int(sizes.max()) > MAX_CORNERS:
        raise MeshError(
            f"{where} has a face of {int(sizes.max()):,} corners; at most {MAX_CORNERS:,} are read."
        )
    faces, bends, crossing = _split(polygons.vertices, corners, sizes)
    if crossing.any():
        raise MeshError(
            f"{where} has {_faces(int(crossing.sum()))} with an outline that crosses itself, the "
            f"first is number {int(number[crossing.argmax()]):,}; split such faces into triangles "
            "in the program that they come from."
        )
    if many := int((sizes > 3).sum()):
        notes.append(
            f"{where} has {_faces(many)} of more than three corners, split into triangles."
        )
    if bent := int((bends > _BENT).sum()):
        notes.append(
            f"{where} has {_faces(bent)} of more than three corners that are not flat, out by up "
            f"to {100 * float(bends.max()):.0f} % of their width; other splits would differ."
        )
    return faces, tuple(notes)


def _faces(count: int) -> str:
    return "1 face" if count == 1 else f"{count:,} faces"


def _without_repeats(corners: IntArray, sizes: IntArray) -> tuple[IntArray, IntArray, int]:
    """Faces of more than three corners without corners that follow themselves; how many had any."""
    face = np.repeat(np.arange(len(sizes)), sizes)
    after = np.arange(1, len(corners) + 1)
    ends = np.cumsum(sizes)[sizes > 0]
    after[ends - 1] = ends - sizes[sizes > 0]
    repeat = (corners == corners[after]) & (sizes[face] > 3)
    if not repeat.any():
        return corners, sizes, 0
    gone = np.bincount(face[repeat], minlength=len(sizes))
    return corners[~repeat], sizes - gone, int((gone > 0).sum())


def _split(
    vertices: FloatArray, corners: IntArray, sizes: IntArray
) -> tuple[IntArray, FloatArray, np.ndarray[tuple[int], np.dtype[np.bool_]]]:
    """Triangles in order; how far each face is from flat by its width; whether it crosses."""
    first = np.cumsum(sizes) - sizes
    into = first - 2 * np.arange(len(sizes))
    faces = np.empty((int((sizes - 2).sum()), 3), np.int64)
    bends = np.zeros(len(sizes))
    crossing = np.zeros(len(sizes), np.bool_)
    for size in np.unique(sizes):
        chosen = np.flatnonzero(sizes == size)
        for begin in range(0, len(chosen), _CHUNK):
            some = chosen[begin : begin + _CHUNK]
            ids = corners[first[some, None] + np.arange(size)]
            if size == 3:
                faces[into[some]] = ids
                continue
            local, bends[some], crossing[some] = _split_equal(vertices[ids], ids)
            rows = into[some, None] + np.arange(size - 2)
            faces[rows] = np.take_along_axis(ids[:, None, :], local, axis=2)
    return faces, bends, crossing


def _split_equal(
    points: FloatArray, ids: IntArray
) -> tuple[IntArray, FloatArray, np.ndarray[tuple[int], np.dtype[np.bool_]]]:
    """Split (g, n, 3) faces of equally many corners: (g, n - 2, 3) corners, bends, crossings."""
    size = points.shape[1]
    points = points - points.mean(axis=1, keepdims=True)
    width = 2 * np.linalg.norm(points, axis=2).max(axis=1)
    points = points / np.where(width > 0, width, 1.0)[:, None, None]
    vector = 0.5 * np.cross(points, np.roll(points, -1, axis=1)).sum(axis=1)
    area = np.linalg.norm(vector, axis=1)
    thin = area <= _ROUNDING
    normal = np.where(thin[:, None], [0.0, 0.0, 1.0], vector / np.where(thin, 1.0, area)[:, None])
    bends = np.abs(np.einsum("gni,gi->gn", points, normal)).max(axis=1)
    flat = _in_plane(points, normal)
    local, crossing = _quads(flat) if size == 4 else _ears(flat, ids)
    if thin.any():
        # Without area it is a line, which mending drops, or two halves that cancel.
        values = np.linalg.svd(points[thin], compute_uv=False)
        crossing[thin] = values[:, 1] > 1e-6
        bends[thin] = 0.0
        fan = np.arange(1, size - 1)
        local[thin] = np.column_stack([np.zeros_like(fan), fan, fan + 1])
    return local, bends, crossing


def _in_plane(points: FloatArray, normal: FloatArray) -> FloatArray:
    """(g, n, 2) coordinates across *normal*, counter-clockwise about it."""
    axis = np.eye(3)[np.abs(normal).argmin(axis=1)]
    along = np.cross(axis, normal)
    along /= np.linalg.norm(along, axis=1, keepdims=True)
    across = np.cross(normal, along)
    flat: FloatArray = np.einsum("gni,gki->gnk", points, np.stack([along, across], axis=1))
    return flat


_DIAGONALS = np.array([[[0, 1, 2], [0, 2, 3]], [[1, 2, 3], [1, 3, 0]]])


def _quads(
    flat: FloatArray,
) -> tuple[IntArray, np.ndarray[tuple[int], np.dtype[np.bool_]]]:
    least = _areas(flat[:, _DIAGONALS]).min(axis=2)
    # The first diagonal unless the second is better by more than rounding.
    second = least[:, 1] > least[:, 0] + _ROUNDING
    return _DIAGONALS[second.astype(np.int64)], least.max(axis=1) < -_ROUNDING


def _ears(
    flat: FloatArray, ids: IntArray
) -> tuple[IntArray, np.ndarray[tuple[int], np.dtype[np.bool_]]]:
    groups, size = flat.shape[:2]
    ring = np.array([size], np.uint32)
    local = np.zeros((groups, size - 2, 3), np.int64)
    whole = np.zeros(groups, np.bool_)
    for i in range(groups):
        found = mapbox_earcut.triangulate_float64(flat[i], ring)
        if len(found) == 3 * (size - 2):
            local[i] = found.reshape(-1, 3)
            whole[i] = True
    areas = _areas(flat[np.arange(groups)[:, None, None], local])
    # Ear clipping may wind either way; the face winds counter-clockwise here.
    turned = areas.sum(axis=1) < 0
    local[turned] = local[turned][:, :, ::-1]
    areas[turned] = -areas[turned]
    inside = areas.min(axis=1) >= -_ROUNDING
    # A hole's bridge makes an outline touch itself, but names its ends twice.
    ordered = np.sort(ids, axis=1)
    bridged = (ordered[:, 1:] == ordered[:, :-1]).any(axis=1)
    simple = shapely.is_valid(shapely.polygons(flat)) | bridged
    return local, ~(whole & inside & simple)


def _areas(corners: FloatArray) -> FloatArray:
    """The signed areas of (..., 3, 2) triangles."""
    a, b, c = corners[..., 0, :], corners[..., 1, :], corners[..., 2, :]
    u, v = b - a, c - a
    areas: FloatArray = 0.5 * (u[..., 0] * v[..., 1] - u[..., 1] * v[..., 0])
    return areas
