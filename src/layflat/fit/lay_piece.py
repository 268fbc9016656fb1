"""A flat piece as triangles: an even lattice inside, the outline kept to a stated tolerance."""

from dataclasses import dataclass

import numpy as np
import shapely
from scipy.spatial import Delaunay, cKDTree
from shapely import LinearRing, Polygon
from shapely.geometry.polygon import orient
from shapely.validation import explain_validity

from layflat.base import CheckError, FloatArray, InputError, IntArray, frozen
from layflat.surface import boundary_loops, compact

SMOOTH_MM = 0.02
"""The outline of the triangles differs from the piece's by no more than this."""

MOST_TRIANGLES = 400_000
_CLEARANCE = 0.55
"""No lattice point lies nearer to the outline than this part of the lattice's spacing."""

_CLOSEST = 0.4
"""Nor two given points nearer to each other than this part of their surroundings' spacing."""

_DENSE = 0.2

_FILL = 1.2
_FEW = 7
_HEX = 0.433
_SAME_MM = 1e-6
_ROUNDS = 16
_LEAST_AREA = 1e-6
_LEAST_PIECE_MM = 1.0


@dataclass(frozen=True, eq=False)
class PieceMesh:
    """The triangles of a flat piece.

    Attributes:
        points_mm: (n, 2) float64.
        faces: (m, 3) int64, counter-clockwise.
        loops: the vertices of the outline and of each hole, material on the left.
        spacing_mm: of the lattice.
        least_angle_deg: the least angle of any triangle.
    """

    points_mm: FloatArray
    faces: IntArray
    loops: tuple[IntArray, ...]
    spacing_mm: float
    least_angle_deg: float

    def __post_init__(self) -> None:
        object.__setattr__(self, "points_mm", frozen(self.points_mm).reshape(-1, 2))
        object.__setattr__(self, "faces", frozen(self.faces, np.int64).reshape(-1, 3))
        object.__setattr__(self, "loops", tuple(frozen(loop, np.int64) for loop in self.loops))


def checked_piece(piece: Polygon) -> Polygon:
    """*piece* if it is a shape that film can be cut to, its outline counter-clockwise.

    Raises:
        InputError: it is empty, not of finite numbers, or crosses itself.
    """
    if not isinstance(piece, Polygon):
        raise InputError(
            f"The piece is a {getattr(piece, 'geom_type', type(piece).__name__)}; "
            "one polygon can be laid at a time, with or without holes."
        )
    if not np.isfinite(shapely.get_coordinates(piece)).all():
        raise InputError("The piece has a corner that is not a finite number; draw it again.")
    if not piece.is_valid:
        where = explain_validity(piece)
        raise InputError(f"The piece's outline crosses or touches itself ({where}); mend it first.")
    if not piece.area > _LEAST_PIECE_MM**2:
        raise InputError(
            f"The piece covers {piece.area:.3g} mm²; there is no film to lay. Check its unit."
        )
    return orient(piece)


def triangulated(
    piece: Polygon,
    *,
    spacing_mm: float,
    anchors_mm: FloatArray | None = None,
    inner_mm: FloatArray | None = None,
) -> PieceMesh:
    """Triangles over *piece*, with a vertex at each anchor.

    Args:
        piece: as `checked_piece` gives it.
        spacing_mm: sides of the triangles inside, and of the outline at most.
        anchors_mm: (k, 2) points on the piece that become vertices; they are the first k.
        inner_mm: (j, 2) points that become vertices where they lie well inside; the lattice
            fills the places that are far from them.

    Raises:
        InputError: that would be too many triangles.
        CheckError: the outline could not be followed.
    """
    if piece.area / (_HEX * spacing_mm**2) > MOST_TRIANGLES:
        raise InputError(
            f"The piece covers {piece.area / 1e6:.2f} m²; at {spacing_mm:g} mm that is more than "
            f"{MOST_TRIANGLES} triangles. Take a larger spacing."
        )
    rings = [_ring(ring, spacing_mm) for ring in (piece.exterior, *piece.interiors)]
    fixed = np.zeros((0, 2)) if anchors_mm is None else np.asarray(anchors_mm, np.float64)
    # Nothing but this counts as inside from here on, or slim triangles at the edge would be lost.
    piece = Polygon(rings[0], rings[1:])
    inside = _lattice(piece, spacing_mm)
    if inner_mm is not None and len(inner_mm):
        inner = _thinned(piece, inner_mm, spacing_mm)
        if len(inner):
            inside = inside[cKDTree(inner).query(inside)[0] > _FILL * spacing_mm]
        inside = np.concatenate((inner, inside))
    if len(fixed):
        inside = inside[cKDTree(fixed).query(inside)[0] > 0.5 * _CLEARANCE * spacing_mm]
    for _ in range(_ROUNDS):
        points, number = _merged(fixed, np.concatenate(rings), inside)
        faces = Delaunay(points).simplices.astype(np.int64)
        faces, missing = _kept(piece, points, faces, _segments(rings, number))
        if not missing.any():
            return _finished(points, faces, len(fixed), spacing_mm)
        rings = _halved(rings, missing)
    raise CheckError("The piece's outline is too fine to be followed by triangles; simplify it.")


def _ring(ring: LinearRing, spacing_mm: float) -> FloatArray:
    """(k, 2): the corners of *ring* and points between them, at most *spacing_mm* apart."""
    smooth = ring.simplify(min(SMOOTH_MM, 0.02 * spacing_mm))
    return np.asarray(shapely.get_coordinates(smooth.segmentize(spacing_mm))[:-1])


def _lattice(piece: Polygon, spacing_mm: float) -> FloatArray:
    """The points of a hexagonal lattice that keep their distance from the outline."""
    x0, y0, x1, y1 = piece.bounds
    rise = spacing_mm * np.sqrt(0.75)
    rows = np.arange(y0 + 0.5 * rise, y1, rise)
    columns = np.arange(x0 + 0.25 * spacing_mm, x1, spacing_mm)
    x, y = np.meshgrid(columns, rows)
    x = x + 0.5 * spacing_mm * (np.arange(len(rows)) % 2)[:, None]
    points = np.column_stack((x.reshape(-1), y.reshape(-1)))
    core = piece.buffer(-_CLEARANCE * spacing_mm, quad_segs=4)
    shapely.prepare(core)
    return np.asarray(points[shapely.contains_xy(core, points)])


def _thinned(piece: Polygon, inner_mm: FloatArray, spacing_mm: float) -> FloatArray:
    """Those points of *inner_mm* that lie inside, not too near to each other or to the outline."""
    shapely.prepare(piece)
    points = inner_mm[shapely.contains_xy(piece, inner_mm)]
    if len(points) < _FEW:
        return np.zeros((0, 2))
    near = np.asarray(cKDTree(points).query(points, k=_FEW)[0])
    local = np.minimum(np.median(near[:, 1:], axis=1), spacing_mm)
    dense = piece.boundary.segmentize(_DENSE * spacing_mm)
    gap = cKDTree(shapely.get_coordinates(dense)).query(points)[0]
    far = gap > _CLEARANCE * np.maximum(local, 0.5 * spacing_mm)
    points, local = points[far], local[far]
    clash = cKDTree(points).query_pairs(_CLOSEST * spacing_mm, output_type="ndarray")
    gap = np.linalg.norm(points[clash[:, 0]] - points[clash[:, 1]], axis=1)
    close = gap < _CLOSEST * np.minimum(local[clash[:, 0]], local[clash[:, 1]])
    keep = np.ones(len(points), dtype=bool)
    keep[clash[close].max(axis=1)] = False
    return np.asarray(points[keep])


def _merged(
    fixed: FloatArray, outline: FloatArray, inside: FloatArray
) -> tuple[FloatArray, IntArray]:
    """All points, the fixed ones first, and (k,) where each point of the outline is in them."""
    number = np.full(len(outline), -1)
    for i, anchor in enumerate(fixed):
        gap = np.linalg.norm(outline - anchor, axis=1)
        if gap.min() < _SAME_MM:
            number[int(gap.argmin())] = i
    own = number < 0
    number[own] = len(fixed) + np.arange(int(own.sum()))
    return np.concatenate((fixed, outline[own], inside)), number


def _segments(rings: list[FloatArray], number: IntArray) -> IntArray:
    """(k, 2) vertex ids of the outline's segments, ring by ring."""
    pairs, start = [], 0
    for ring in rings:
        ids = number[start : start + len(ring)]
        pairs.append(np.column_stack((ids, np.roll(ids, -1))))
        start += len(ring)
    return np.concatenate(pairs)


def _kept(
    piece: Polygon, points: FloatArray, faces: IntArray, segments: IntArray
) -> tuple[IntArray, np.ndarray[tuple[int], np.dtype[np.bool_]]]:
    """The triangles inside the piece, and which segments of the outline are no side of any."""
    n = len(points)
    a, b, c = (points[faces[:, i]] for i in range(3))
    p, q = b - a, c - a
    doubled = p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0]
    faces = np.where((doubled < 0)[:, None], faces[:, [0, 2, 1]], faces)
    longest = np.maximum((p**2).sum(axis=1), np.maximum((q**2).sum(1), ((q - p) ** 2).sum(1)))
    shapely.prepare(piece)
    inside = shapely.contains_xy(piece, (a + b + c) / 3.0) & (
        np.abs(doubled) > _LEAST_AREA * longest
    )
    faces = faces[inside]
    sides = faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    missing = ~np.isin(segments @ np.array([n, 1]), sides @ np.array([n, 1]))
    return faces, missing


def _halved(
    rings: list[FloatArray], missing: np.ndarray[tuple[int], np.dtype[np.bool_]]
) -> list[FloatArray]:
    """The rings with a point in the middle of each missing segment."""
    result, start = [], 0
    for ring in rings:
        gone = np.flatnonzero(missing[start : start + len(ring)])
        middles = 0.5 * (ring[gone] + np.roll(ring, -1, axis=0)[gone])
        result.append(np.insert(ring, gone + 1, middles, axis=0))
        start += len(ring)
    return result


def _finished(points: FloatArray, faces: IntArray, kept: int, spacing_mm: float) -> PieceMesh:
    faces, used = compact(faces)
    if not np.array_equal(used[:kept], np.arange(kept)):
        raise CheckError("An anchor lies in no triangle of the piece.")
    points = points[used]
    loops = boundary_loops(faces)
    loops.sort(key=lambda loop: -perimeter_mm(points[loop]))
    return PieceMesh(points, faces, tuple(loops), spacing_mm, _least_angle_deg(points, faces))


def perimeter_mm(loop: FloatArray) -> float:
    """The length of the closed line through the (k, d) points of *loop*."""
    return float(np.linalg.norm(np.roll(loop, -1, axis=0) - loop, axis=1).sum())


def _least_angle_deg(points: FloatArray, faces: IntArray) -> float:
    corners = points[faces]
    ahead = np.roll(corners, -1, axis=1) - corners
    back = np.roll(corners, 1, axis=1) - corners
    cross = ahead[..., 0] * back[..., 1] - ahead[..., 1] * back[..., 0]
    return float(np.degrees(np.arctan2(cross, (ahead * back).sum(axis=2))).min())
