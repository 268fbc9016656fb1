"""A closed line with what is picked and named on it, from which parts can be left out."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from layflat.base import CheckError, FloatArray
from layflat.surface.feature_path import FeaturePath
from layflat.surface.outline import Node

Bools = np.ndarray[tuple[int], np.dtype[np.bool_]]


@dataclass(frozen=True)
class Mark:
    """A picked point, and the number that it has for the person, from 1."""

    node: Node
    number: int


@dataclass(frozen=True, eq=False)
class Ring:
    """A closed line: (n, 3) points, and for each of them (n,) what begins there.

    Attributes:
        points: the last is joined to the first.
        mark: the picked point at each, or None.
        followed: whether the step behind it follows a feature.
        kept: whether it is needed to give the line.
    """

    points: FloatArray
    mark: list[Mark | None]
    followed: Bools
    kept: Bools

    @classmethod
    def of(cls, marks: Sequence[Mark], paths: Sequence[FeaturePath]) -> "Ring":
        """The ring of lines that each begin at a picked point."""
        mark: list[Mark | None] = []
        kept = []
        for start, path in zip(marks, paths, strict=True):
            mark += [start, *[None] * (len(path.points_mm) - 2)]
            needed = np.zeros(len(path.points_mm), np.bool_)
            needed[path.kept] = True
            kept.append(needed[:-1])
        return cls(
            np.concatenate([path.points_mm[:-1] for path in paths]),
            mark,
            np.concatenate([path.followed for path in paths]),
            np.concatenate(kept),
        )

    def turned(self, by: int) -> "Ring":
        """The same ring from another point on."""
        order = np.roll(np.arange(len(self.points)), -by)
        mark = [self.mark[i] for i in order]
        return Ring(self.points[order], mark, self.followed[order], self.kept[order])

    def number_before(self, step: int) -> int:
        """The number of the picked point from which a step leads on."""
        for i in range(len(self.mark)):
            found = self.mark[step - i]
            if found is not None:
                return found.number
        raise CheckError("An outline was left without a picked point.")

    def paths(self) -> tuple[list[Node], list[FeaturePath]]:
        """The picked points with the line behind each."""
        first = next(i for i, mark in enumerate(self.mark) if mark is not None)
        ring = self.turned(first)
        at = [i for i, mark in enumerate(ring.mark) if mark is not None]
        points = np.concatenate([ring.points, ring.points[:1]])
        nodes, paths = [], []
        for start, end in zip(at, [*at[1:], len(ring.points)], strict=True):
            needed = np.append(ring.kept[start:end], True)
            needed[0] = True
            run = points[start : end + 1]
            paths.append(FeaturePath(run, ring.followed[start:end], np.flatnonzero(needed)))
            mark = ring.mark[start]
            if mark is not None:
                x, y, z = run[0].tolist()
                nodes.append(replace(mark.node, at_mm=(x, y, z)))
        return nodes, paths


def with_edge_of(node: Node, gone: Node) -> Node:
    """A point that takes over the edge that began at one left out, unless one begins at it."""
    if node.corner or not gone.corner:
        return node
    return replace(node, corner=True, kind=gone.kind, name=gone.name)


def merged(ring: Ring) -> Ring:
    """The ring without steps that have no length."""
    steps = np.linalg.norm(np.roll(ring.points, -1, axis=0) - ring.points, axis=1)
    marks = list(ring.mark)
    stays = steps > 1e-6
    for i in np.flatnonzero(~stays).tolist():
        after = (i + 1) % len(marks)
        mark, other = marks[i], marks[after]
        if mark is not None:
            marks[after] = (
                mark if other is None else Mark(with_edge_of(other.node, mark.node), other.number)
            )
    return Ring(
        ring.points[stays],
        [mark for mark, stay in zip(marks, stays.tolist(), strict=True) if stay],
        ring.followed[stays],
        ring.kept[stays] | ~np.roll(stays, 1)[stays],
    )
