"""How far the edges of laid film end up from an outline on the surface."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from layflat.base import FloatArray, InputError, frozen

_STEP_MM = 2.0
_CANDIDATES = 4


@dataclass(frozen=True, eq=False)
class OffEdge:
    """The distances between a laid piece's edge and an outline.

    Attributes:
        distances_mm: (k,) float64, of each point of the piece's edge from the outline.
        points_mm: (k, 3) float64, these points on the surface.
        greatest_mm: the greatest of the distances.
        mean_mm: their mean, by length along the edge.
        where_mm: (3,) float64, where the greatest is.
        missed_mm: the greatest distance of the outline from the piece's edge; more than
            `greatest_mm` where film leaves a part of the outline, an opening say, without an edge.
        missed_where_mm: (3,) float64, where that is.
    """

    distances_mm: FloatArray
    points_mm: FloatArray
    greatest_mm: float
    mean_mm: float
    where_mm: FloatArray
    missed_mm: float
    missed_where_mm: FloatArray

    def __post_init__(self) -> None:
        for name in ("distances_mm", "points_mm", "where_mm", "missed_where_mm"):
            object.__setattr__(self, name, frozen(getattr(self, name)))


def checked_outline(outline: Sequence[FloatArray]) -> list[FloatArray]:
    """The closed loops of an outline, each (k, 3).

    Raises:
        InputError: there is none, or one has fewer than three points or a point not finite.
    """
    loops = [np.asarray(loop, np.float64) for loop in outline]
    for loop in loops:
        if loop.ndim != 2 or loop.shape[1] != 3 or len(loop) < 3 or not np.isfinite(loop).all():
            raise InputError(
                "Each loop of the outline must be at least three points of three finite numbers."
            )
    if not loops:
        raise InputError("The outline to compare with has no loop; leave it out instead.")
    return loops


def off_edge(edge: Sequence[FloatArray], outline: Sequence[FloatArray]) -> OffEdge:
    """The distances between two sets of closed loops, each (k, 3)."""
    points = np.concatenate(edge)
    distances = _distances(points, outline)
    sides = [np.linalg.norm(np.roll(loop, -1, axis=0) - loop, axis=1) for loop in edge]
    shares = np.concatenate([0.5 * (side + np.roll(side, 1)) for side in sides])
    corners = np.concatenate(outline)
    missed = _distances(corners, edge)
    return OffEdge(
        distances_mm=distances,
        points_mm=points,
        greatest_mm=float(distances.max()),
        mean_mm=float(shares @ distances / shares.sum()),
        where_mm=points[int(distances.argmax())],
        missed_mm=float(missed.max()),
        missed_where_mm=corners[int(missed.argmax())],
    )


def _distances(points: FloatArray, loops: Sequence[FloatArray]) -> FloatArray:
    """(k,): from each point to the nearest of the loops' segments.

    Segments are cut to `_STEP_MM`; those that begin or end at the nearest cuts are measured.
    """
    starts, ends = [], []
    for loop in loops:
        ahead = np.roll(loop, -1, axis=0) - loop
        parts = np.maximum(1, np.ceil(np.linalg.norm(ahead, axis=1) / _STEP_MM)).astype(int)
        number = np.repeat(np.arange(len(loop)), parts)
        within = np.arange(len(number)) - np.repeat(np.cumsum(parts) - parts, parts)
        cut = loop[number] + ahead[number] * (within / parts[number])[:, None]
        starts.append(cut)
        ends.append(np.roll(cut, -1, axis=0))
    start, end = np.concatenate(starts), np.concatenate(ends)
    count = min(_CANDIDATES, len(start))
    near = np.concatenate(
        [cKDTree(side).query(points, k=count)[1].reshape(len(points), -1) for side in (start, end)],
        axis=1,
    )
    ahead, gap = (end - start)[near], points[:, None] - start[near]
    length = np.maximum(np.einsum("kji,kji->kj", ahead, ahead), 1e-300)
    part = np.clip(np.einsum("kji,kji->kj", gap, ahead) / length, 0.0, 1.0)
    return np.asarray(np.linalg.norm(gap - part[..., None] * ahead, axis=2).min(axis=1))
