"""Which edge of one panel lies on which of the other, once the first is mirrored."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from layflat.base import FloatArray, counted
from layflat.fit.pairs_mirror import Mirroring, nearest_on_segments
from layflat.surface import Loop, Region

EdgePlace = tuple[int, int]
"""The numbers of a loop of a region and of an edge in it, from 0."""


@dataclass(frozen=True)
class MatchedEdges:
    """Edges of two panels, each with its image.

    Attributes:
        other: for each edge of the left panel that of the right one; empty where they differ.
        unlike: why they do not match, as the end of a sentence, or "".
    """

    other: Mapping[EdgePlace, EdgePlace]
    unlike: str = ""


@dataclass(frozen=True, eq=False)
class _Run:
    """One edge in a loop, as it goes round: its number, and the corner that it starts at."""

    edge: int
    corner_mm: FloatArray


def match_edges(
    left: Region,
    right: Region,
    mirroring: Mirroring,
    *,
    names: tuple[str, str],
    tolerance_mm: float,
) -> MatchedEdges:
    """Put each edge of *left*, mirrored, to the edge of *right* that it lies on.

    They match where both have as many in each loop, of the same kinds, and where no corner lies
    farther from its image than the tolerance.

    Args:
        left, right: the panels.
        mirroring: takes *left* onto *right*.
        names: what the panels are called.
        tolerance_mm: how far corners may lie apart.
    """
    of_loop = _loops(left, right, mirroring)
    if sorted(of_loop) != list(range(len(right.loops))):
        return MatchedEdges({}, "their openings do not lie on each other.")
    found: dict[EdgePlace, EdgePlace] = {}
    worst, place = 0.0, np.zeros(3)
    for number, (loop, other) in enumerate(zip(left.loops, of_loop, strict=True)):
        ours = list(_turned(_runs(left, loop), mirroring))
        theirs = list(_runs(right, right.loops[other]))
        if len(ours) != len(theirs):
            edges = counted(len(ours), "edge")
            return MatchedEdges(
                {}, f"“{names[0]}” has {edges} where “{names[1]}” has {len(theirs)}."
            )
        ours, apart = _shifted(ours, theirs)
        if len(ours) > 1 and apart.max() > worst:
            worst, place = float(apart.max()), theirs[int(apart.argmax())].corner_mm
        found |= {
            (number, one.edge): (other, two.edge) for one, two in zip(ours, theirs, strict=True)
        }
    if worst > tolerance_mm:
        x, y, z = place
        return MatchedEdges(
            {},
            f"a corner lies {worst:.2f} mm off at ({x:.0f}, {y:.0f}, {z:.0f}) mm on “{names[1]}”, "
            f"and {tolerance_mm:g} mm are allowed.",
        )
    for (i, j), (k, m) in found.items():
        one, two = left.loops[i].edges[j], right.loops[k].edges[m]
        if one.kind is not two.kind:
            return MatchedEdges(
                {},
                f"{_called(one.name)} of “{names[0]}” is of the kind {one.kind}, and "
                f"{_called(two.name)} of “{names[1]}”, its image, of the kind {two.kind}.",
            )
    return MatchedEdges(found)


def _called(name: str) -> str:
    return f"the edge “{name}”" if name else "an edge without a name"


def _loops(left: Region, right: Region, mirroring: Mirroring) -> list[int]:
    """For each loop of *left* the loop of *right* that its image lies on."""
    rims = [_segments(right, loop) for loop in right.loops]
    found = []
    for loop in left.loops:
        image = mirroring.of(left.mesh.vertices_mm[loop.vertices])
        off = [
            float(np.linalg.norm(image - nearest_on_segments(image, rim)[0], axis=1).mean())
            for rim in rims
        ]
        found.append(int(np.argmin(off)))
    return found


def _segments(region: Region, loop: Loop) -> FloatArray:
    """(s, 2, 3) float64: the segments of one loop."""
    ring = region.mesh.vertices_mm[loop.vertices]
    return np.stack((ring, np.roll(ring, -1, axis=0)), axis=1)


def _runs(region: Region, loop: Loop) -> Iterator[_Run]:
    """The edges of a loop in the order in which they come, each once."""
    starts = np.flatnonzero(loop.edge_of != np.roll(loop.edge_of, 1))
    for at in starts if len(starts) else np.zeros(1, np.int64):
        yield _Run(int(loop.edge_of[at]), region.mesh.vertices_mm[loop.vertices[at]])


def _turned(runs: Iterator[_Run], mirroring: Mirroring) -> Iterator[_Run]:
    """The same in the image, which is gone round the other way: edges start where they ended."""
    known = list(runs)
    ends = [*known[1:], known[0]]
    for run, after in zip(known[::-1], ends[::-1], strict=True):
        yield _Run(run.edge, mirroring.of(after.corner_mm[None])[0])


def _shifted(ours: list[_Run], theirs: list[_Run]) -> tuple[list[_Run], FloatArray]:
    """Ours begun with the one that lies on their first, and how far corners lie apart, in mm."""
    corners = np.array([run.corner_mm for run in theirs])
    moved = [ours[shift:] + ours[:shift] for shift in range(len(ours))]
    apart = [
        np.linalg.norm(np.array([run.corner_mm for run in runs]) - corners, axis=1)
        for runs in moved
    ]
    best = int(np.argmin([float(off @ off) for off in apart]))
    return moved[best], apart[best]
