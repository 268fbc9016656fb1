"""Flat panels for the tests: drawn in the plane, so that every number can be checked by hand."""

from collections.abc import Sequence

import mapbox_earcut
import numpy as np

from layflat.base import FloatArray
from layflat.film import Flat, Strain, generic_film
from layflat.surface import Edge, EdgeKind, Loop, Mesh, Region

Line = tuple[str, Sequence[tuple[float, float]]]
"""An edge: its name and its points, the first point of the next edge not repeated."""


def panel(outline: Sequence[Line], openings: Sequence[Sequence[Line]] = ()) -> tuple[Flat, Region]:
    """A panel in the plane z = 0 and its flat shape, which is itself.

    Args:
        outline: the edges counter-clockwise.
        openings: the edges of each opening, clockwise.
    """
    rings = [outline, *openings]
    points = np.array([point for ring in rings for _, line in ring for point in line], float)
    ends = np.cumsum([sum(len(line) for _, line in ring) for ring in rings])
    faces = mapbox_earcut.triangulate_float64(points, ends.astype(np.uint32)).reshape(-1, 3)
    space = np.column_stack((points, np.zeros(len(points))))
    corner = points[faces]
    across = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    faces = np.where((across < 0)[:, None], faces[:, ::-1], faces).astype(np.int64)
    mesh = Mesh(space, faces)
    loops, first = [], 0
    for ring in rings:
        count = sum(len(line) for _, line in ring)
        edges = tuple(
            Edge(EdgeKind.OPEN, np.column_stack((line, np.zeros(len(line)))), name)
            for name, line in ring
        )
        edge_of = np.repeat(np.arange(len(ring)), [len(line) for _, line in ring])
        loops.append(Loop(np.arange(first, first + count), edge_of, edges))
        first += count
    count = len(faces)
    strain = Strain(np.ones(count), np.ones(count), np.tile([1.0, 0.0], (count, 1)))
    flat = Flat(mesh, points, generic_film(), 1.0, 0.0, strain, 0, True)
    return flat, Region(mesh, tuple(loops))


def straight(start: tuple[float, float], end: tuple[float, float], step: float) -> FloatArray:
    """Points from *start* up to, without, *end*, no farther apart than *step*."""
    count = max(1, int(np.ceil(np.hypot(end[0] - start[0], end[1] - start[1]) / step)))
    return np.linspace(start, end, count + 1)[:-1]


def polygon_edges(
    corners: Sequence[tuple[float, float]], *, names: Sequence[str] = (), step: float = 10.0
) -> list[Line]:
    """The edges of a polygon, one per side."""
    names = names or [f"side {i + 1}" for i in range(len(corners))]
    following = [*corners[1:], corners[0]]
    return [
        (name, [tuple(point) for point in straight(a, b, step)])
        for name, a, b in zip(names, corners, following, strict=True)
    ]


def circle_edge(
    name: str, centre: tuple[float, float], radius: float, *, step: float, clockwise: bool = False
) -> list[Line]:
    """A circle as one closed edge."""
    count = max(12, round(2 * np.pi * radius / step))
    angles = 2 * np.pi * np.arange(count) / count * (-1 if clockwise else 1)
    points = np.column_stack(
        (centre[0] + radius * np.cos(angles), centre[1] + radius * np.sin(angles))
    )
    return [(name, [tuple(point) for point in points])]
