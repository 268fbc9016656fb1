"""Loose lines and arcs chained into closed loops where their ends leave no doubt.

Words: a *stroke* is what one entity of a drawing draws, open or closed; its *ends* are its
first and last point. Ends within a tolerance are one *knot*. Where every knot of a group of
strokes holds two ends, the group is a loop; an end alone in its knot is *lone*, a knot of three
ends or more is *busy*.
"""

from dataclasses import dataclass, replace

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import KDTree

from layflat.base import DrawingError, FloatArray, IntArray, frozen
from layflat.pattern.curve import sample
from layflat.pattern.piece import Curve, MarkKind

_SAME_POINT_MM = 1e-9
_MOST_MEETING = 100
"""Line ends that may meet in one place, on the average."""


@dataclass(frozen=True, eq=False)
class Stroke:
    """What one entity of a drawing draws.

    Attributes:
        points_mm: (k, 2) float64, k >= 2.
        bulges: (k,) float64 when closed, (k - 1,) when open.
        closed: whether the last point is joined to the first.
        source: how to find the entity in its file, e.g. "LINE 2F".
        kind: what it is for, if it is a mark.
        label: the name or word that the file keeps with the entity itself, if any.
        order: its place among the strokes of its layer.
    """

    points_mm: FloatArray
    bulges: FloatArray
    closed: bool
    source: str
    kind: MarkKind = MarkKind.ALIGN
    label: str = ""
    order: int = 0

    def __post_init__(self) -> None:
        object.__setattr__(self, "points_mm", frozen(self.points_mm).reshape(-1, 2))
        object.__setattr__(self, "bulges", frozen(self.bulges).reshape(-1))

    def reversed(self) -> "Stroke":
        """The open stroke run through the other way."""
        return replace(self, points_mm=self.points_mm[::-1], bulges=-self.bulges[::-1])

    def sampled(self, *, deviation_mm: float) -> FloatArray:
        """(n, 2) float64 points along it; a closed stroke comes back to its first point."""
        if self.closed:
            points = sample(Curve(self.points_mm, self.bulges), deviation_mm=deviation_mm)
            return np.vstack((points, points[:1]))
        back = Curve(self.points_mm, np.append(self.bulges, 0.0))
        return sample(back, deviation_mm=deviation_mm)


@dataclass(frozen=True, eq=False)
class ClosedLoop:
    """A closed loop with the entities that it came from.

    Attributes:
        curve: the loop.
        source: the entities, for messages.
        widest_gap_mm: the widest gap between two ends that was closed; 0 if none.
        label: the name that the file keeps with the loop itself, if any.
        order: of its first stroke.
    """

    curve: Curve
    source: str
    widest_gap_mm: float
    label: str = ""
    order: int = 0


def place_of(point_mm: FloatArray) -> str:
    """A point as people read it, in a message."""
    return f"({point_mm[0]:.2f}, {point_mm[1]:.2f}) mm"


def loop_of(stroke: Stroke, *, gap_mm: float = 0.0) -> ClosedLoop:
    """The loop of one stroke that is closed, or whose ends meet; without elements of no length."""
    points, bulges = stroke.points_mm, stroke.bulges
    if not stroke.closed:
        points = points[:-1]
    lengths = np.linalg.norm(np.roll(points, -1, axis=0) - points, axis=1)
    keep = lengths > _SAME_POINT_MM
    curve = Curve(points[keep], bulges[keep])
    return ClosedLoop(curve, stroke.source, gap_mm, stroke.label, stroke.order)


@dataclass(frozen=True, eq=False)
class Knots:
    """Open strokes with what meets where; end 2 i is the first of stroke i, 2 i + 1 its last.

    Attributes:
        strokes: open ones.
        ends: (2 n, 2) float64, mm.
        knot: (2 n,) int64, the knot of each end.
        members: the ends in each knot.
    """

    strokes: list[Stroke]
    ends: FloatArray
    knot: IntArray
    members: list[list[int]]

    @property
    def lone(self) -> list[int]:
        """The ends that meet no other."""
        return [ends[0] for ends in self.members if len(ends) == 1]

    @property
    def busy(self) -> list[list[int]]:
        """The ends of each busy knot."""
        return [ends for ends in self.members if len(ends) > 2]

    def walk(self, end: int) -> list[int]:
        """The strokes from an end on, by the ends that they are entered at, up to no plain knot."""
        entered: list[int] = []
        seen: set[int] = set()
        while end // 2 not in seen:
            seen.add(end // 2)
            entered.append(end)
            meeting = self.members[self.knot[end ^ 1]]
            if len(meeting) != 2:
                break
            end = meeting[1] if meeting[0] == end ^ 1 else meeting[0]
        return entered


def knots_of(strokes: list[Stroke], *, join_mm: float) -> Knots:
    """What meets where; ends no farther apart than *join_mm* are taken for one point."""
    if not strokes:
        return Knots([], np.zeros((0, 2)), np.zeros(0, dtype=np.int64), [])
    ends = np.vstack([stroke.points_mm[[0, -1]] for stroke in strokes])
    tree = KDTree(ends)
    if tree.count_neighbors(tree, join_mm) > _MOST_MEETING * len(ends):
        raise DrawingError(
            f"More than {_MOST_MEETING} line ends meet in one place near "
            f"{place_of(ends[0])}; remove the lines that do not belong."
        )
    pairs = tree.query_pairs(join_mm, output_type="ndarray")
    graph = coo_array(
        (np.ones(len(pairs), dtype=np.int8), (pairs[:, 0], pairs[:, 1])), shape=(len(ends),) * 2
    )
    knot = connected_components(graph, directed=False)[1].astype(np.int64)
    members: list[list[int]] = [[] for _ in range(int(knot.max()) + 1)]
    for end, which in enumerate(knot.tolist()):
        members[which].append(end)
    return Knots(strokes, ends, knot, members)


def chain(strokes: list[Stroke], *, join_mm: float) -> tuple[list[ClosedLoop], list[Stroke]]:
    """The loops that open strokes make without any doubt, and the strokes that are left."""
    knots = knots_of(strokes, join_mm=join_mm)
    if not strokes:
        return [], []
    count = len(knots.members)
    pairs = knots.knot.reshape(-1, 2)
    graph = coo_array((np.ones(len(pairs), dtype=np.int8), pairs.T), shape=(count, count))
    part = connected_components(graph, directed=False)[1]
    plain = np.ones(int(part.max()) + 1, dtype=bool)
    np.logical_and.at(plain, part, np.array([len(ends) == 2 for ends in knots.members]))
    loops, left = [], []
    used = np.zeros(len(strokes), dtype=bool)
    for first, stroke in enumerate(strokes):
        if not plain[part[knots.knot[2 * first]]]:
            left.append(stroke)
        elif not used[first]:
            entered = knots.walk(2 * first)
            used[[end // 2 for end in entered]] = True
            loops.append(_loop(knots, entered))
    return loops, left


def _loop(knots: Knots, entered: list[int]) -> ClosedLoop:
    """The loop of strokes that are entered at these ends, one after the other."""
    run = [knots.strokes[end // 2] for end in entered]
    way = [1 if end % 2 == 0 else -1 for end in entered]
    leaving = knots.ends[[end ^ 1 for end in entered]]
    gaps = np.linalg.norm(leaving - knots.ends[np.roll(entered, -1)], axis=1)
    return loop_of(
        Stroke(
            points_mm=np.vstack(
                [s.points_mm[::step][:-1] for s, step in zip(run, way, strict=True)]
            ),
            bulges=np.concatenate(
                [step * s.bulges[::step] for s, step in zip(run, way, strict=True)]
            ),
            closed=True,
            source=sources(run),
            order=run[0].order,
        ),
        gap_mm=float(gaps.max()),
    )


def sources(strokes: list[Stroke]) -> str:
    """The entities of a run of strokes, for messages."""
    words = " + ".join(stroke.source for stroke in strokes[:3])
    return words + (f" + {len(strokes) - 3} more" if len(strokes) > 3 else "")
