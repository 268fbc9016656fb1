"""An outline while it is drawn: points that are put, moved and taken away, and stretches named.

Every change gives a new outline; nothing is changed in place, so that each step can be taken back.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from layflat.base import FloatArray, MeshError
from layflat.surface.feature_path import FeaturePath
from layflat.surface.panel import Edge, EdgeKind

MOST_NODES = 400

Point = tuple[float, float, float]


@dataclass(frozen=True)
class Node:
    """A picked point of an outline, and the stretch from it to the next.

    Attributes:
        at_mm: where it is.
        straight: the line to the next point follows no feature.
        corner: an edge begins here.
        kind: of the edge that begins here; of no meaning where none does.
        name: of that edge.
    """

    at_mm: Point
    straight: bool = False
    corner: bool = False
    kind: EdgeKind = EdgeKind.INNER
    name: str = ""


@dataclass(frozen=True)
class Outline:
    """A line through picked points, open while it is drawn, closed at last.

    Attributes:
        nodes: in order.
        closed: whether the last is joined to the first.
    """

    nodes: tuple[Node, ...] = ()
    closed: bool = False

    def with_node(self, at_mm: Point, *, after: int | None = None) -> "Outline":
        """With a point more: at the end, or behind number *after* of a closed or open one.

        Raises:
            MeshError: there is no such place, or there are too many points.
        """
        if len(self.nodes) >= MOST_NODES:
            raise MeshError(f"An outline has {MOST_NODES} points at most.")
        if after is None:
            if self.closed:
                raise MeshError("The outline is closed; put a point between two of its points.")
            return replace(self, nodes=(*self.nodes, Node(at_mm)))
        self._require(after)
        # The new point takes over how its stretch is drawn, but begins no edge.
        fresh = Node(at_mm, straight=self.nodes[after].straight)
        return replace(self, nodes=(*self.nodes[: after + 1], fresh, *self.nodes[after + 1 :]))

    def moved(self, number: int, at_mm: Point) -> "Outline":
        """With one point somewhere else.

        Raises:
            MeshError: there is no such point.
        """
        self._require(number)
        return self._changed(number, replace(self.nodes[number], at_mm=at_mm))

    def without(self, number: int) -> "Outline":
        """Without one point; a closed outline of three points opens again.

        Raises:
            MeshError: there is no such point.
        """
        self._require(number)
        nodes = list(self.nodes)
        gone = nodes.pop(number)
        # What began here now belongs to the edge before it, unless it was the only one.
        if gone.corner and nodes and not any(node.corner for node in nodes):
            at = number % len(nodes)
            nodes[at] = replace(nodes[at], corner=True, kind=gone.kind, name=gone.name)
        return Outline(tuple(nodes), self.closed and len(nodes) >= 3)

    def joined(self) -> "Outline":
        """Closed; its first point begins an edge.

        Raises:
            MeshError: it has fewer than three points.
        """
        if len(self.nodes) < 3:
            raise MeshError("An outline needs three points or more before it is closed.")
        first = replace(self.nodes[0], corner=True)
        return Outline((first, *self.nodes[1:]), True)

    def with_edge(self, number: int, *, corner: bool, kind: EdgeKind, name: str) -> "Outline":
        """With an edge beginning at a point, or no longer.

        Raises:
            MeshError: there is no such point, or no edge would be left on a closed outline.
        """
        self._require(number)
        node = replace(self.nodes[number], corner=corner, kind=kind, name=name)
        changed = self._changed(number, node)
        if self.closed and not any(item.corner for item in changed.nodes):
            raise MeshError("An outline has one edge at least; make another point a corner first.")
        return changed

    def with_straight(self, number: int, *, straight: bool) -> "Outline":
        """With the stretch behind a point following features, or none.

        Raises:
            MeshError: there is no such point.
        """
        self._require(number)
        return self._changed(number, replace(self.nodes[number], straight=straight))

    def spans(self) -> list[tuple[int, int]]:
        """The numbers of the points that each stretch joins."""
        count = len(self.nodes)
        if count < 2:
            return []
        return [(i, (i + 1) % count) for i in range(count if self.closed else count - 1)]

    def _changed(self, number: int, node: Node) -> "Outline":
        return replace(self, nodes=(*self.nodes[:number], node, *self.nodes[number + 1 :]))

    def _require(self, number: int) -> None:
        if not 0 <= number < len(self.nodes):
            raise MeshError("The outline has no such point any more; look at it anew.")


def outline_edges(
    outline: Outline, paths: Sequence[FeaturePath], *, outward: FloatArray
) -> tuple[Edge, ...]:
    """The edges of a closed outline, counter-clockwise seen from outside.

    Args:
        outline: closed, with a corner.
        paths: for each of its stretches the line on the surface.
        outward: (3,) the mean normal of the surface within, or near, it.

    Raises:
        MeshError: it is not closed or has no corner.
    """
    corners = [i for i, node in enumerate(outline.nodes) if node.corner]
    if not outline.closed or not corners or len(paths) != len(outline.nodes):
        raise MeshError("Close the outline first.")
    runs: list[tuple[Node, FloatArray]] = []
    for k, start in enumerate(corners):
        stop = corners[(k + 1) % len(corners)]
        count = (stop - start) % len(outline.nodes) or len(outline.nodes)
        spans = [(start + i) % len(outline.nodes) for i in range(count)]
        points = [paths[i].points_mm[paths[i].kept[:-1]] for i in spans]
        end = paths[spans[-1]].points_mm[-1:]
        runs.append((outline.nodes[start], np.concatenate([*points, end])))
    ring = np.concatenate([points[:-1] for _, points in runs])
    around = ring - ring.mean(axis=0)
    area = 0.5 * np.cross(around, np.roll(around, -1, axis=0)).sum(axis=0)
    if float(area @ outward) < 0:
        runs = [(node, points[::-1]) for node, points in reversed(runs)]
    return tuple(Edge(node.kind, points[:-1], node.name) for node, points in runs)
