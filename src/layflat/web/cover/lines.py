"""Lines drawn on a panel, traced on the light surface that the browser shows.

The computation traces them anew on the fine one; the light one lies within about a millimetre of
it.
"""

import functools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from layflat.base import CheckError, FloatArray, InputError, IntArray, MeshError, frozen
from layflat.papers import panel_title
from layflat.surface import (
    END_REACH_MM,
    LINE_EDGE,
    REACH_MM,
    Mesh,
    Region,
    clip_region,
    locate,
    whole_region,
)
from layflat.web.bodies.drawn import along_edge
from layflat.web.bodies.models import Revision
from layflat.web.cover.choices import MOST_POINTS, Point
from layflat.web.cover.panels import panels_on, surfaces_in
from layflat.web.cover.sentences import without_places

_REMEMBERED = 256


@dataclass(frozen=True, eq=False)
class DrawnPart:
    """The part of a panel on one side of a drawn line, on the light surface.

    Attributes:
        points_mm: (k, 3) float64, the line as it runs on the surface.
        share: of the panel's area that is covered, 0 to 1.
        keep_mm: a point on the covered side: the given one, or one well inside it.
        mesh: the covered part.
        outline_mm: (n, 3) float64, its rim, in order.
    """

    points_mm: FloatArray
    share: float
    keep_mm: Point
    mesh: Mesh
    outline_mm: FloatArray

    @property
    def positions(self) -> FloatArray:
        """(n, 3) float64, mm: the vertices of the covered part."""
        return self.mesh.vertices_mm

    @property
    def indices(self) -> IntArray:
        """(m, 3) int64: its triangles, into `positions`."""
        return self.mesh.faces


def trace_line(
    revision: Revision, panel: str, points: Sequence[Point], keep: Point | None
) -> DrawnPart:
    """The part of a panel on one side of a line.

    Args:
        revision: that is shown.
        panel: its name.
        points: that were picked on the surface, in order, the first and the last near an edge.
        keep: a point on the covered side; None takes the larger side.

    Raises:
        InputError: there is no such panel, or the line does not part it; one sentence says why.
    """
    if not revision.has_scan:
        raise InputError("The body has no scan, so no line can be drawn on it.")
    if revision.light is None:
        raise InputError("The body is not prepared yet; wait until its page shows it in 3D.")
    facts = panels_on(revision).of(panel)
    if not facts.mesh:
        raise InputError(
            f"{facts.title} cannot be cut out of this scan, so no line can be drawn on it; see the "
            "body's page."
        )
    picked = tuple((float(x), float(y), float(z)) for x, y, z in points)
    return _traced(revision.light.sha256, facts.mesh, panel, picked, keep)


@functools.lru_cache(maxsize=_REMEMBERED)
def _traced(
    light: str, mesh: str, panel: str, points: tuple[Point, ...], keep: Point | None
) -> DrawnPart:
    whole = _whole(light, mesh)
    line = np.array(points, np.float64).reshape(-1, 3)
    _require_line(line, whole, panel_title(panel))
    if keep is not None:
        _require_near(np.array([keep]), whole, f"The covered side of {panel_title(panel)}")
        return _part(whole, line, keep, panel)
    far = _farthest(whole.mesh, line)
    part = _part(whole, line, far, panel)
    if part.share >= 0.5:
        return part
    return _part(whole, line, _farthest(whole.mesh, part.mesh.vertices_mm), panel)


@functools.lru_cache(maxsize=_REMEMBERED)
def _whole(light: str, mesh: str) -> Region:
    return whole_region(surfaces_in(light)[mesh])


def _require_line(line: FloatArray, whole: Region, title: str) -> None:
    if len(line) < 2:
        raise InputError(f"A line on {title} needs two points or more; tap the next one.")
    if len(line) > MOST_POINTS:
        raise InputError(f"A line on {title} has {MOST_POINTS} points at most; draw fewer.")
    if not np.isfinite(line).all():
        raise InputError(f"A point of the line on {title} cannot be read; draw it anew.")
    _require_near(line[1:-1], whole, f"The line on {title}")
    _require_near(line[[0, -1]], whole, f"The line on {title}", reach_mm=END_REACH_MM)
    rim = np.concatenate([whole.mesh.vertices_mm[loop.vertices] for loop in whole.loops])
    after = np.concatenate(
        [whole.mesh.vertices_mm[np.roll(loop.vertices, -1)] for loop in whole.loops]
    )
    for which, end in (("beginning", line[0]), ("end", line[-1])):
        along = after - rim
        share = np.einsum("ij,ij->i", end - rim, along) / np.einsum("ij,ij->i", along, along)
        gap = np.linalg.norm(rim + np.clip(share, 0, 1)[:, None] * along - end, axis=1)
        if gap.min() > END_REACH_MM:
            raise InputError(
                f"The line on {title} must run from edge to edge: its {which} stops within the "
                "panel. Draw it on to the edge."
            )


def _require_near(
    points: FloatArray, whole: Region, what: str, *, reach_mm: float = REACH_MM
) -> None:
    if not len(points):
        return
    if not np.isfinite(points).all() or locate(whole.mesh, points).distances_mm.max() > reach_mm:
        raise InputError(f"{what} leaves the panel; tap on the panel itself.")


def _part(whole: Region, line: FloatArray, keep: Point, panel: str) -> DrawnPart:
    title = panel_title(panel)
    try:
        region = clip_region(whole, line_mm=line, keep_mm=np.array(keep))
    except (MeshError, CheckError) as error:
        sentence = without_places(str(error)).replace(
            "The line that film ends at", f"The line on {title}"
        )
        raise InputError(
            sentence.replace("The part of the panel", f"The part of {title}")
        ) from error
    share = region.mesh.area_mm2 / whole.mesh.area_mm2
    outer = region.loops[0]
    return DrawnPart(
        points_mm=frozen(_line_of(region)),
        share=share,
        keep_mm=keep,
        mesh=region.mesh,
        outline_mm=frozen(region.mesh.vertices_mm[outer.vertices]),
    )


def _line_of(region: Region) -> FloatArray:
    """The line's points, in the order of the rim."""
    parts = [
        region.mesh.vertices_mm[along_edge(loop, index)]
        for loop in region.loops
        for index, edge in enumerate(loop.edges)
        if edge.name == LINE_EDGE
    ]
    return np.concatenate(parts) if parts else np.zeros((0, 3))


def _farthest(mesh: Mesh, points: FloatArray) -> Point:
    """The middle of the triangle that lies farthest from all of *points*."""
    middles = mesh.vertices_mm[mesh.faces].mean(axis=1)
    gaps = np.min(
        [np.linalg.norm(middles - point, axis=1) for point in points[:: _every(points)]], axis=0
    )
    x, y, z = (float(value) for value in middles[int(gaps.argmax())])
    return (x, y, z)


def _every(points: FloatArray) -> int:
    return max(1, len(points) // 400)
