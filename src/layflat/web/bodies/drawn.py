"""Panels, edges and keep-outs as they lie on a body: what the viewer and the pictures draw."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from layflat.base import CheckError, FloatArray, InputError, IntArray, Progress, frozen, silent
from layflat.surface import (
    BodyInfo,
    Edge,
    EdgeKind,
    KeepOut,
    Loop,
    Mesh,
    Panel,
    Prepared,
    Region,
    cut_region,
    locate,
)


@dataclass(frozen=True, eq=False)
class DrawnEdge:
    """An edge as a polyline on the surface.

    Attributes:
        edge: as it was picked.
        points_mm: (k, 3) float64, from its corner to the next edge's.
        is_opening: whether it belongs to an opening of the panel.
    """

    edge: Edge
    points_mm: FloatArray
    is_opening: bool

    def __post_init__(self) -> None:
        object.__setattr__(self, "points_mm", frozen(self.points_mm).reshape(-1, 3))


@dataclass(frozen=True, eq=False)
class DrawnKeepOut:
    """A keep-out on the surface.

    Attributes:
        keep_out: as it was picked.
        points_mm: (k, 3) float64, its rim; the last point is joined to the first.
        mesh: the surface within it; None where it could not be cut out.
    """

    keep_out: KeepOut
    points_mm: FloatArray
    mesh: Mesh | None

    def __post_init__(self) -> None:
        object.__setattr__(self, "points_mm", frozen(self.points_mm).reshape(-1, 3))


@dataclass(frozen=True, eq=False)
class DrawnPanel:
    """A panel on the surface.

    Attributes:
        panel: as it was picked.
        mesh: its surface; None where it could not be cut out.
        edges: of its outline and its openings, in order.
        keep_outs: in the panel's order.
        fault: why it could not be cut out, or "".
    """

    panel: Panel
    mesh: Mesh | None
    edges: tuple[DrawnEdge, ...]
    keep_outs: tuple[DrawnKeepOut, ...]
    fault: str


def draw_panels(
    body: Prepared, info: BodyInfo, *, progress: Progress = silent
) -> tuple[DrawnPanel, ...]:
    """Every panel of *info* on *body*, edges as geodesic lines through their picked points.

    Where a line cannot be traced, the picked points are put on the surface and joined by straight
    lines, and the panel's `fault` says why.
    """
    found = []
    for i, panel in enumerate(info.panels):
        progress(f"drawing {panel.name}", i / len(info.panels))
        keep_outs = tuple(_keep_out(body, item) for item in panel.keep_outs)
        try:
            region = cut_region(body, panel)
        except (InputError, CheckError) as error:
            found.append(
                DrawnPanel(panel, None, tuple(_picked(body.mesh, panel)), keep_outs, str(error))
            )
        else:
            edges = tuple(traced_edges(region))
            found.append(DrawnPanel(panel, region.mesh, edges, keep_outs, ""))
    return tuple(found)


def traced_edges(region: Region) -> Iterator[DrawnEdge]:
    """The edges of a region, as they were traced."""
    for k, loop in enumerate(region.loops):
        for i, edge in enumerate(loop.edges):
            points = region.mesh.vertices_mm[along_edge(loop, i)]
            if len(points):
                yield DrawnEdge(edge, points, k > 0)


def along_edge(loop: Loop, index: int) -> IntArray:
    """(k,) int64: the vertices along one edge of a loop, with the one that it ends at."""
    steps = np.flatnonzero(loop.edge_of == index)
    if not len(steps):
        return np.zeros(0, np.int64)
    # An edge is one run of steps, which may pass the place where the loop's numbering begins.
    gap = np.flatnonzero(np.diff(steps) > 1)
    if len(gap):
        steps = np.roll(steps, -(int(gap[0]) + 1))
    ends = (steps[-1] + 1) % len(loop.vertices)
    along: IntArray = loop.vertices[np.append(steps, ends)]
    return along


def _picked(mesh: Mesh, panel: Panel) -> Iterator[DrawnEdge]:
    for k, edges in enumerate((panel.outline, *panel.openings)):
        for i, edge in enumerate(edges):
            after = edges[(i + 1) % len(edges)].points_mm[:1]
            points = locate(mesh, np.concatenate([edge.points_mm, after])).points_mm
            yield DrawnEdge(edge, points, k > 0)


def _keep_out(body: Prepared, item: KeepOut) -> DrawnKeepOut:
    # A rim may run either way round; a panel's outline runs counter-clockwise.
    for points in (item.points_mm, item.points_mm[::-1]):
        try:
            region = cut_region(body, Panel(item.name, (Edge(EdgeKind.INNER, points),)))
        except (InputError, CheckError):
            continue
        # On a closed body the wrong way round encloses all the rest.
        if region.mesh.area_mm2 > 0.5 * body.mesh.area_mm2:
            continue
        rim = region.mesh.vertices_mm[region.loops[0].vertices]
        return DrawnKeepOut(item, rim, region.mesh)
    return DrawnKeepOut(item, locate(body.mesh, item.points_mm).points_mm, None)
