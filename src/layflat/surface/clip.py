"""A region up to a drawn line: the part of a panel that a cover takes."""

import numpy as np

from layflat.base import FloatArray, MeshError, Progress, silent
from layflat.surface.locate import locate
from layflat.surface.mesh import Mesh
from layflat.surface.parted import kept_part, nearest_on_boundary
from layflat.surface.prepare import BoolArray
from layflat.surface.region import Region
from layflat.surface.settle import settle
from layflat.surface.split import Split, split_along
from layflat.surface.topology import edge_table, face_components
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
    line = split.lines[0]
    region = kept_part(
        region,
        split.vertices_mm,
        split.faces[kept],
        ends=line[[0, -1]],
        free=line[lines[0].picked < 0],
        name=LINE_EDGE,
        what=_PART,
    )
    progress("clipped", 1.0)
    return region


def _on_boundary(region: Region, point: FloatArray, which: str) -> FloatArray:
    """The place of the region's boundary nearest to *point*, the start or the end of a line."""
    best, least = nearest_on_boundary(region, point)
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
