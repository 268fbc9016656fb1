"""Panels from lines on the skin: chained into loops, turned the right way round, mirrored."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from layflat.base import FloatArray
from layflat.demo.drawing import Sheet, evened
from layflat.demo.fields import Field, drop, gradient
from layflat.surface import Edge, EdgeKind, KeepOut, KeepOutKind, Panel

SPACING_MM = 40.0
"""About the distance of picked points along an edge."""

Stroke = tuple[str, EdgeKind, FloatArray]
"""Name, kind and line (k, 3) of an edge; the lines of a loop may run either way."""

_IMAGE = np.array([1.0, -1.0, 1.0])
_SAME_MM = 1e-6


def across(line: FloatArray) -> FloatArray:
    """A line that ends on the middle plane, and its image: one line from left to right."""
    return np.vstack([line, line[-2::-1] * _IMAGE])


def panel(
    name: str,
    skin: Field,
    strokes: Sequence[Stroke],
    *,
    openings: Sequence[tuple[str, EdgeKind, FloatArray]] = (),
    keep_outs: Sequence[KeepOut] = (),
) -> Panel:
    """A panel whose outline is the closed chain of *strokes*.

    Raises:
        ValueError: two successive lines do not share an end.
    """
    loop = _turned(skin, _chained(name, strokes), clockwise=False)
    holes = []
    for hole_name, kind, ring in openings:
        closed = np.vstack([ring, ring[:1]])
        holes.append(_edges(skin, _turned(skin, [(hole_name, kind, closed)], clockwise=True)))
    return Panel(
        name=name, outline=_edges(skin, loop), openings=tuple(holes), keep_outs=tuple(keep_outs)
    )


def keep_out(kind: KeepOutKind, name: str, skin: Field, sheet: Sheet, ring: FloatArray) -> KeepOut:
    """A keep-out with the rim *ring* (k, 2) drawn on a sheet."""
    rim = sheet.lay(skin, ring)
    [(_, _, rim)] = _turned(skin, [(name, EdgeKind.TRIM, rim)], clockwise=False)
    return KeepOut(kind=kind, name=name, points_mm=rim)


def image(panel: Panel, name: str) -> Panel:
    """The same panel on the other side of the body, running the right way round there."""
    return Panel(
        name=name,
        outline=_imaged(panel.outline),
        openings=tuple(_imaged(loop) for loop in panel.openings),
        keep_outs=tuple(
            replace(item, name=_sided(item.name), points_mm=item.points_mm[::-1] * _IMAGE)
            for item in panel.keep_outs
        ),
    )


def image_keep_out(item: KeepOut) -> KeepOut:
    """The same keep-out on the other side."""
    return replace(item, name=_sided(item.name), points_mm=item.points_mm[::-1] * _IMAGE)


def _sided(name: str) -> str:
    return name.replace("left", "right")


def _imaged(loop: tuple[Edge, ...]) -> tuple[Edge, ...]:
    edges = []
    for edge, after in zip(loop, loop[1:] + loop[:1], strict=True):
        points = np.vstack([after.points_mm[:1], edge.points_mm[:0:-1]]) * _IMAGE
        edges.append(replace(edge, points_mm=points))
    return tuple(edges[::-1])


def _chained(name: str, strokes: Sequence[Stroke]) -> list[Stroke]:
    first = strokes[0][2]
    second = strokes[1][2]
    if not any(_same(first[-1], end) for end in (second[0], second[-1])):
        first = first[::-1]
    chain: list[Stroke] = [(strokes[0][0], strokes[0][1], first)]
    for edge, kind, line in strokes[1:]:
        end = chain[-1][2][-1]
        if not _same(end, line[0]):
            line = line[::-1]
        if not _same(end, line[0]):
            raise ValueError(f"{name}: edge {edge!r} does not start where the last one ends")
        chain.append((edge, kind, line))
    if not _same(chain[-1][2][-1], chain[0][2][0]):
        raise ValueError(f"{name}: the outline is not closed")
    return chain


def _same(first: FloatArray, second: FloatArray) -> bool:
    return bool(np.linalg.norm(first - second) < _SAME_MM)


def _turned(skin: Field, chain: Sequence[Stroke], *, clockwise: bool) -> list[Stroke]:
    """The chain running counter-clockwise seen from outside, or clockwise."""
    points = np.vstack([line for _, _, line in chain])
    arms = points - points.mean(axis=0)
    area = np.cross(arms, np.roll(arms, -1, axis=0)).sum(axis=0)
    outward = gradient(skin, points).mean(axis=0)
    if (area @ outward > 0) != clockwise:
        return list(chain)
    return [(name, kind, line[::-1]) for name, kind, line in reversed(chain)]


def _edges(skin: Field, chain: Sequence[Stroke]) -> tuple[Edge, ...]:
    edges = []
    for name, kind, line in chain:
        points = evened(line, SPACING_MM)
        points[1:-1] = drop(skin, points[1:-1], steps=3)
        edges.append(Edge(kind=kind, name=name, points_mm=points[:-1]))
    return tuple(edges)
