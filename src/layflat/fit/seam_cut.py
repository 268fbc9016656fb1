"""Seams cut into a region: one panel, covered with two pieces or more."""

from collections.abc import Sequence

import numpy as np

from layflat.base import FloatArray
from layflat.surface import EdgeKind, Region, locate, part_region

OVERLAP_MM = 3.0
"""How far the first piece reaches over the seam. Common practice, no source."""

SEAM = "seam"
"""How the edges of seams are called, followed by a number."""


def seam_name(number: int) -> str:
    """What the edges along the seam with this *number*, from 1, are called."""
    return f"{SEAM} {number}"


def is_seam(kind: EdgeKind, name: str) -> bool:
    """Whether an edge is the edge of a piece along a seam."""
    return kind is EdgeKind.INNER and name.startswith(f"{SEAM} ")


def split_region(
    region: Region, path_mm: FloatArray, *, overlap_mm: float = OVERLAP_MM
) -> tuple[Region, Region]:
    """*region* in two along a seam, the first reaching over the second.

    In both the seam is an edge of kind `inner` called "seam 1", or the next number; all other
    edges keep their names and kinds.

    Args:
        region: the panel, or a part of it.
        path_mm: (k, 3) float64, k >= 2, from edge to edge, geodesic between its points. The
            first part lies on its left as seen from outside.
        overlap_mm: how far the first part reaches over the seam.

    Raises:
        SettingError: the overlap is out of range.
        MeshError: the path does not part the region in two pieces that can be laid; says why.
    """
    taken = {edge.name for loop in region.loops for edge in loop.edges}
    number = 1
    while seam_name(number) in taken:
        number += 1
    return part_region(region, path_mm, name=seam_name(number), overlap_mm=overlap_mm)


def split_regions(
    region: Region, paths: Sequence[FloatArray], *, overlap_mm: float = OVERLAP_MM
) -> tuple[Region, ...]:
    """*region* in pieces along several seams, each in the piece that it lies in.

    Raises:
        SettingError, MeshError: as `split_region`.
    """
    parts = [region]
    for number, path in enumerate(paths, start=1):
        mine = nearest_part(parts, path)
        parts[mine : mine + 1] = part_region(
            parts[mine], path, name=seam_name(number), overlap_mm=overlap_mm
        )
    return tuple(parts)


def nearest_part(parts: Sequence[Region], path_mm: FloatArray) -> int:
    """The number, from 0, of the part that a path lies in: nearest to all of its points."""
    points = np.asarray(path_mm, np.float64).reshape(-1, 3)
    if len(parts) == 1 or not np.isfinite(points).all():
        return 0
    # The ends of its steps may be drawn on to an edge, so that the middles tell more.
    points = np.concatenate((points, 0.5 * (points[1:] + points[:-1])))
    off = [float(locate(part.mesh, points).distances_mm.sum()) for part in parts]
    return int(np.argmin(off))
