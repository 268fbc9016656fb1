"""Loose lines and arcs joined into closed loops.

Words: a *stroke* is what one entity of a drawing draws, open or closed; its *ends* are its
first and last point. Open strokes whose ends meet within a tolerance become a loop.
"""

from dataclasses import dataclass, replace

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import KDTree

from layflat.base import DrawingError, FloatArray, frozen
from layflat.pattern.curve import sample
from layflat.pattern.piece import Curve, MarkKind

_SAME_POINT_MM = 1e-9


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
    """

    points_mm: FloatArray
    bulges: FloatArray
    closed: bool
    source: str
    kind: MarkKind = MarkKind.ALIGN
    label: str = ""

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
    """

    curve: Curve
    source: str
    widest_gap_mm: float
    label: str = ""


def place_of(point_mm: FloatArray) -> str:
    """A point as people read it, in a message."""
    return f"({point_mm[0]:.2f}, {point_mm[1]:.2f}) mm"


def close_loops(strokes: list[Stroke], *, layer: str, join_mm: float) -> list[ClosedLoop]:
    """Closed loops from closed strokes and from open strokes whose ends meet.

    Args:
        strokes: in the order of the drawing.
        layer: for messages.
        join_mm: ends no farther apart than this are taken for one point; at least 0.

    Raises:
        DrawingError: an end meets none or several others.
    """
    loops: list[tuple[int, ClosedLoop]] = []
    open_strokes: list[tuple[int, Stroke]] = []
    for order, stroke in enumerate(strokes):
        gap = float(np.linalg.norm(stroke.points_mm[-1] - stroke.points_mm[0]))
        if stroke.closed:
            loops.append((order, ClosedLoop(_clean(stroke), stroke.source, 0.0, stroke.label)))
        elif gap <= join_mm and len(stroke.points_mm) > 2:
            loops.append((order, ClosedLoop(_clean(stroke), stroke.source, gap, stroke.label)))
        elif len(stroke.points_mm) > 2 or gap > _SAME_POINT_MM:
            open_strokes.append((order, stroke))
    loops.extend(_chain(open_strokes, layer=layer, join_mm=join_mm))
    return [loop for _, loop in sorted(loops, key=lambda item: item[0])]


def _clean(stroke: Stroke) -> Curve:
    """The stroke as a closed curve, without elements of no length."""
    points, bulges = stroke.points_mm, stroke.bulges
    if not stroke.closed:
        points, bulges = points[:-1], bulges
    lengths = np.linalg.norm(np.roll(points, -1, axis=0) - points, axis=1)
    keep = lengths > _SAME_POINT_MM
    return Curve(points[keep], bulges[keep])


def _chain(
    strokes: list[tuple[int, Stroke]], *, layer: str, join_mm: float
) -> list[tuple[int, ClosedLoop]]:
    """Loops from open strokes; each with the order of its first stroke."""
    if not strokes:
        return []
    ends = np.vstack([stroke.points_mm[[0, -1]] for _, stroke in strokes])
    knot = _knots(ends, join_mm=join_mm)
    members: list[list[int]] = [[] for _ in range(int(knot.max()) + 1)]
    for end, which in enumerate(knot):
        members[which].append(end)
    for meeting in members:
        if len(meeting) != 2:
            _refuse_knot(meeting, ends, [s for _, s in strokes], layer=layer, join_mm=join_mm)

    loops = []
    used = np.zeros(len(strokes), dtype=bool)
    for first in range(len(strokes)):
        if used[first]:
            continue
        chain, widest, end = [], 0.0, 2 * first
        while not used[end // 2]:
            used[end // 2] = True
            stroke = strokes[end // 2][1]
            chain.append(stroke if end % 2 == 0 else stroke.reversed())
            leaving = end ^ 1
            one, two = members[knot[leaving]]
            end = two if one == leaving else one
            widest = max(widest, float(np.linalg.norm(ends[leaving] - ends[end])))
        points = np.vstack([stroke.points_mm[:-1] for stroke in chain])
        bulges = np.concatenate([stroke.bulges for stroke in chain])
        source = " + ".join(stroke.source for stroke in chain[:3])
        source += f" + {len(chain) - 3} more" if len(chain) > 3 else ""
        curve = _clean(Stroke(points, bulges, closed=True, source=source))
        loops.append((strokes[first][0], ClosedLoop(curve, source, widest)))
    return loops


def _knots(ends: FloatArray, *, join_mm: float) -> np.ndarray:
    """(n,) the number of the knot that each end belongs to, ends within *join_mm* together."""
    pairs = KDTree(ends).query_pairs(join_mm, output_type="ndarray")
    graph = coo_array(
        (np.ones(len(pairs), dtype=np.int8), (pairs[:, 0], pairs[:, 1])), shape=(len(ends),) * 2
    )
    return connected_components(graph, directed=False)[1]


def _refuse_knot(
    meeting: list[int], ends: FloatArray, strokes: list[Stroke], *, layer: str, join_mm: float
) -> None:
    """Say why the ends that meet at one place make no loop."""
    at = place_of(ends[meeting[0]])
    names = sorted({strokes[end // 2].source for end in meeting})
    if len(meeting) > 2:
        raise DrawingError(
            f"Layer {layer}: {len(meeting)} line ends meet at {at} ({', '.join(names[:4])}), so "
            "the loop is not clear; remove the lines that do not belong."
        )
    others = np.delete(np.arange(len(ends)), meeting)
    hint = ""
    if len(others):
        gaps = np.linalg.norm(ends[others] - ends[meeting[0]], axis=1)
        hint = f"; the nearest other end is {gaps.min():.3g} mm away"
    raise DrawingError(
        f"Layer {layer}: the line is open at {at} ({names[0]}){hint}. Close it; only ends "
        f"up to {join_mm:g} mm apart are joined."
    )
