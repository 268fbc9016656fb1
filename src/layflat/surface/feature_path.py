"""Lines between picked points that follow creases, gaps and open edges.

The cheapest way along the edges of the mesh, where a millimetre on a feature costs a third of one
elsewhere (Dijkstra, "A note on two problems in connexion with graphs", Numer. Math. 1, 1959;
scipy.sparse.csgraph). Where the way has no feature it is replaced by the geodesic line, as
`trace` finds it, so that a line across plain surface is straight on it. Between two picks that both
lie off all features the line is the geodesic one throughout.
"""

from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import dijkstra

from layflat.base import FloatArray, IntArray, MeshError, frozen
from layflat.surface.features import CHEAP, FEATURE, Features
from layflat.surface.place import ids_of, places
from layflat.surface.prepare import Prepared
from layflat.surface.trace import BorderTouchedError, Stretch, spot, trace

SNAP_MM = 8.0
"""How far a pick is drawn to a feature."""

REACH_MM = 10.0
"""How far a pick may lie from the surface: those from a lighter mesh lie a little off."""

KEPT_MM = 0.2
"""How far the line may lie from the one through the points that are kept of it."""

_WIDTHS = (1.0, 3.0)
_ROOM, _ROOM_MM = 1.6, 60.0
"""The way is looked for where the detour over a place is at most so many times as long, and so much
more, as the straight distance; after that everywhere."""
_LEAST_FOLLOWED = 0.5
"""A line that would follow features for less of its length is the geodesic one: a short run along a
crease before it leaves would lie over the next line, which follows the same crease."""
_STRAY_MM = 15.0
"""A stretch without a feature that is shorter than this between two with one stays on the edges."""


@dataclass(frozen=True, eq=False)
class FeaturePath:
    """A line on a surface between two picks.

    Attributes:
        points_mm: (k, 3) float64, k >= 2.
        followed: (k - 1,) bool, whether each step follows a feature.
        kept: ascending numbers of the points that give the line to within 0.2 mm as geodesic
            lines between them; the first and the last are among them.
    """

    points_mm: FloatArray
    followed: np.ndarray[tuple[int], np.dtype[np.bool_]]
    kept: IntArray

    def __post_init__(self) -> None:
        object.__setattr__(self, "points_mm", frozen(self.points_mm).reshape(-1, 3))
        object.__setattr__(self, "followed", frozen(self.followed, np.bool_))
        object.__setattr__(self, "kept", frozen(self.kept, np.int64))

    @property
    def length_mm(self) -> float:
        """How long the line is."""
        return float(_steps(self.points_mm).sum())

    @property
    def share_followed(self) -> float:
        """How much of its length follows a feature, 0 to 1."""
        steps = _steps(self.points_mm)
        return float(steps[self.followed].sum() / max(steps.sum(), 1e-12))


def _steps(points: FloatArray) -> FloatArray:
    steps: FloatArray = np.linalg.norm(np.diff(points, axis=0), axis=1)
    return steps


def snapped(found: Features, point_mm: FloatArray, *, snap_mm: float = SNAP_MM) -> FloatArray:
    """(3,) float64: the nearest place on a feature within *snap_mm*, or else on the surface.

    It stays on the piece that is nearest: what stands on a panel or behind a gap draws nothing.
    A corner, where features meet at an angle, is taken before a nearer place beside it.

    Raises:
        MeshError: the point is not finite or more than 10 mm from the surface.
    """
    at = found.body.locate(np.asarray(point_mm, np.float64).reshape(1, 3))
    if at.distances_mm[0] > REACH_MM:
        raise MeshError(
            f"The point at {spot(np.asarray(point_mm, np.float64))} lies {at.distances_mm[0]:.0f} "
            "mm from the surface; pick it on the surface."
        )
    here: FloatArray = at.points_mm[0]
    edges = found.on_feature
    if snap_mm <= 0.0 or not len(edges):
        return here
    points = found.body.mesh.vertices_mm
    ends = found.body.table.ends[edges]
    middle_near = np.abs(points[ends[:, 0]] - here).max(axis=1) <= snap_mm + found.length_mm[edges]
    ends, edges = ends[middle_near], edges[middle_near]
    if not len(ends):
        return here
    mine = found.piece[found.body.table.edge_of[3 * at.faces[0]]]
    same = found.piece[edges] == mine
    ends, edges = ends[same], edges[same]
    if not len(ends):
        return here
    start, along = points[ends[:, 0]], points[ends[:, 1]] - points[ends[:, 0]]
    size = np.einsum("ij,ij->i", along, along)
    share = np.clip(np.einsum("ij,ij->i", here - start, along) / np.maximum(size, 1e-24), 0.0, 1.0)
    feet = start + share[:, None] * along
    # A stronger feature draws from farther away than a weak one.
    gap = np.linalg.norm(feet - here, axis=1) / found.strength[edges]
    best = int(gap.argmin())
    if gap[best] > snap_mm:
        return here
    place: FloatArray = feet[best]
    corner = _corner_near(points, ends, place, 0.5 * snap_mm)
    return place if corner is None else corner


def _corner_near(
    points: FloatArray, ends: IntArray, place: FloatArray, reach: float
) -> FloatArray | None:
    """A vertex near the place where feature edges meet otherwise than as one smooth line."""
    near = np.unique(ends)
    near = near[np.linalg.norm(points[near] - place, axis=1) <= reach]
    for vertex in near[np.argsort(np.linalg.norm(points[near] - place, axis=1))]:
        at = (ends == vertex).any(axis=1)
        beyond = ends[at].sum(axis=1) - vertex
        away = points[beyond] - points[vertex]
        away /= np.linalg.norm(away, axis=1, keepdims=True)
        if len(away) == 2 and float(away[0] @ away[1]) > -0.8:
            corner: FloatArray = points[vertex]
            return corner
        if len(away) == 3 and float(np.abs(np.linalg.det(away))) > 0.3:
            met: FloatArray = points[vertex]
            return met
    return None


def feature_path(
    found: Features, start_mm: FloatArray, end_mm: FloatArray, *, straight: bool = False
) -> FeaturePath:
    """The line from one pick to the next.

    Args:
        found: the body with its features.
        start_mm, end_mm: (3,) float64, at most 10 mm from the surface. They are taken as they
            are: draw them to a feature with `snapped` before.
        straight: follow no feature.

    Raises:
        MeshError: a point is too far away, the two lie on separate pieces or at one place, or
            the line would lead over a hole or a long way round.
        CheckError: a line could not be followed from triangle to triangle.
    """
    body = found.body
    picks = np.stack([start_mm, end_mm]).astype(np.float64)
    at = body.locate(picks)
    if (worst := int(at.distances_mm.argmax())) >= 0 and at.distances_mm[worst] > REACH_MM:
        raise MeshError(
            f"The point at {spot(picks[worst])} lies {at.distances_mm[worst]:.0f} mm from the "
            "surface; pick it on the surface."
        )
    if np.linalg.norm(at.points_mm[0] - at.points_mm[1]) < 0.01:
        raise MeshError("Two points that follow each other lie at one place; move one of them.")
    if not straight and any(_lies_on(found, pick) for pick in at.points_mm):
        path = _shortened(found, at.points_mm, _cheapest(found, picks))
        if path.share_followed >= _LEAST_FOLLOWED:
            return path
    points = _geodesic(body, at.points_mm)
    return _path(points, np.zeros(len(points) - 1, np.bool_), np.array([0, len(points) - 1]))


def _lies_on(found: Features, pick: FloatArray) -> bool:
    """Whether a place of the surface lies on a feature."""
    home = places(found.body.mesh, found.body.locate(pick[None])).simplex[0]
    ids = ids_of(home)
    if len(ids) == 3:
        return False
    ends = found.body.table.ends[found.on_feature]
    return bool(np.isin(ends, list(ids)).sum(axis=1).max(initial=0) == len(ids))


def _cheapest(found: Features, picks: FloatArray) -> IntArray:
    """(k,) int64: the vertices passed on the cheapest way; none where the picks share a face."""
    body = found.body
    at = places(body.mesh, body.locate(picks))
    points = body.mesh.vertices_mm
    straight = float(np.linalg.norm(picks[0] - picks[1]))
    detour = np.linalg.norm(points - picks[0], axis=1) + np.linalg.norm(points - picks[1], axis=1)
    within = np.flatnonzero(detour <= _ROOM * straight + _ROOM_MM)
    for part in (within, np.arange(len(points))):
        way = _way_within(found, part, at.points_mm, [ids_of(ids) for ids in at.simplex])
        if way is not None:
            return way
    raise MeshError(
        f"Between {spot(picks[0])} and {spot(picks[1])} the surface is not connected: they lie on "
        "separate pieces. Move the points to one piece."
    )


def _way_within(
    found: Features, part: IntArray, picks: FloatArray, homes: list[frozenset[int]]
) -> IntArray | None:
    points = found.body.mesh.vertices_mm
    number = np.full(len(points), -1)
    number[part] = np.arange(len(part))
    count = len(part)
    table = found.body.table
    inside = np.flatnonzero((number[table.ends] >= 0).all(axis=1))
    rows, columns = number[table.ends[inside]].T
    cost = found.cost[inside]
    strength = {
        (int(a), int(b)): float(s) for (a, b), s in _edges_at(found, frozenset().union(*homes))
    }
    extra: list[tuple[int, int, float]] = []
    for k, home in enumerate(homes):
        on = strength.get((min(home), max(home)), 0.0) if len(home) == 2 else 0.0
        for vertex in home:
            if number[vertex] >= 0:
                gap = float(np.linalg.norm(points[vertex] - picks[k]))
                extra.append(
                    (count + k, int(number[vertex]), gap * (1.0 - (1.0 - CHEAP) * on) + 1e-9)
                )
    if homes[0] <= homes[1] or homes[1] <= homes[0]:
        gap = float(np.linalg.norm(picks[0] - picks[1]))
        both = max(homes, key=len)
        on = strength.get((min(both), max(both)), 0.0) if len(both) == 2 else 0.0
        extra.append((count, count + 1, gap * (1.0 - (1.0 - CHEAP) * on) + 1e-9))
    more = np.array([(i, j) for i, j, _ in extra], np.int64).reshape(-1, 2)
    graph = coo_array(
        (
            np.concatenate([cost, [c for _, _, c in extra]]),
            (np.concatenate([rows, more[:, 0]]), np.concatenate([columns, more[:, 1]])),
        ),
        shape=(count + 2, count + 2),
    )
    far, before = dijkstra(graph.tocsr(), directed=False, indices=[count], return_predecessors=True)
    if not np.isfinite(far[0, count + 1]):
        return None
    way = [count + 1]
    while way[-1] != count:
        way.append(int(before[0, way[-1]]))
    return part[np.array(way[1:-1][::-1], np.int64)]


def _edges_at(found: Features, vertices: frozenset[int]) -> list[tuple[tuple[int, int], float]]:
    """The edges between some vertices with their strengths."""
    ends = found.body.table.ends
    listed = sorted(vertices)
    low = np.searchsorted(ends[:, 0], listed)
    high = np.searchsorted(ends[:, 0], listed, side="right")
    result = []
    for start, stop in zip(low.tolist(), high.tolist(), strict=True):
        for edge in range(start, stop):
            u, v = int(ends[edge, 0]), int(ends[edge, 1])
            if v in vertices:
                result.append(((u, v), float(found.strength[edge])))
    return result


def _shortened(found: Features, picks: FloatArray, way: IntArray) -> FeaturePath:
    """The way with its stretches that follow no feature replaced by geodesic lines."""
    points = np.concatenate([picks[:1], found.body.mesh.vertices_mm[way], picks[1:]])
    on = _on_feature(found, way, points)
    done: list[FloatArray] = [points[:1]]
    marks: list[np.ndarray[tuple[int], np.dtype[np.bool_]]] = []
    kept = [0]
    count = 1
    starts = np.flatnonzero(np.diff(on.astype(np.int8))) + 1
    for run in np.split(np.arange(len(on)), starts):
        begin, end = int(run[0]), int(run[-1]) + 1
        if on[begin]:
            line = points[begin : end + 1]
            inner = _corners(line, KEPT_MM)[1:]
        else:
            line = _geodesic(found.body, points[[begin, end]])
            inner = np.array([len(line) - 1])
        done.append(line[1:])
        marks.append(np.full(len(line) - 1, on[begin]))
        kept += (count - 1 + inner).tolist()
        count += len(line) - 1
    return _path(np.concatenate(done), np.concatenate(marks), np.array(kept))


def _on_feature(
    found: Features, way: IntArray, points: FloatArray
) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """(k,) bool: which of the steps lie on a feature; short gaps between two such count as it."""
    on = np.zeros(len(points) - 1, np.bool_)
    if len(way) > 1:
        strength = dict(_edges_at(found, frozenset(way.tolist())))
        pairs = zip(np.minimum(way[:-1], way[1:]), np.maximum(way[:-1], way[1:]), strict=True)
        on[1:-1] = [strength[int(u), int(v)] >= FEATURE for u, v in pairs]
    if len(way):
        # The step from a pick on a feature edge to the edge's end lies on the feature, too.
        for step, pick, vertex in ((0, points[0], way[0]), (-1, points[-1], way[-1])):
            on[step] = _along_feature(found, pick, int(vertex))
    steps = _steps(points)
    starts = np.flatnonzero(np.diff(on.astype(np.int8))) + 1
    runs = np.split(np.arange(len(on)), starts)
    for run in runs[1:-1]:
        if not on[run[0]] and steps[run].sum() < _STRAY_MM:
            on[run] = True
    return on


def _along_feature(found: Features, pick: FloatArray, vertex: int) -> bool:
    home = ids_of(places(found.body.mesh, found.body.locate(pick[None])).simplex[0])
    if home == {vertex} or len(home) == 1:
        home = home | {vertex}
    if len(home) != 2 or vertex not in home:
        return len(home) == 1
    strength = dict(_edges_at(found, home))
    return strength.get((min(home), max(home)), 0.0) >= FEATURE


def _geodesic(body: Prepared, picks: FloatArray) -> FloatArray:
    """(k, 3) float64: the geodesic line between two places, with where it crosses edges."""
    stretch = Stretch(picks, False, "The line")
    for wide in _WIDTHS:
        near = body.near(picks[:1], picks[1:], wide=wide)
        part = type(body.mesh)(body.mesh.vertices_mm, body.mesh.faces[near])
        try:
            line = trace(part, [stretch], reach_mm=REACH_MM, rims=body.rims)[0]
            break
        except BorderTouchedError:
            continue
    else:
        line = trace(body.mesh, [stretch], reach_mm=REACH_MM, rims=body.rims)[0]
    if len(line.at.points_mm) < 2:
        return picks
    return line.at.points_mm


def _path(
    points: FloatArray, followed: np.ndarray[tuple[int], np.dtype[np.bool_]], kept: IntArray
) -> FeaturePath:
    """A path without steps that have no length."""
    steps = _steps(points)
    longer = steps > 1e-9
    number = np.concatenate([[0], np.cumsum(longer)])
    first = np.concatenate([[True], longer])
    return FeaturePath(points[first], followed[longer], np.unique(number[kept]))


def _corners(line: FloatArray, within_mm: float) -> IntArray:
    """Numbers of the points of a line that give it to within a distance when joined.

    By Douglas and Peucker, "Algorithms for the reduction of the number of points required to
    represent a digitized line or its caricature", Cartographica 10(2), 1973.
    """
    keep = np.zeros(len(line), np.bool_)
    keep[[0, -1]] = True
    stack = [(0, len(line) - 1)]
    while stack:
        start, end = stack.pop()
        if end - start < 2:
            continue
        along = line[end] - line[start]
        offset = line[start + 1 : end] - line[start]
        share = np.clip(offset @ along / max(float(along @ along), 1e-24), 0.0, 1.0)
        off = np.linalg.norm(offset - share[:, None] * along, axis=1)
        worst = int(off.argmax())
        if off[worst] > within_mm:
            middle = start + 1 + worst
            keep[middle] = True
            stack += [(start, middle), (middle, end)]
    return np.flatnonzero(keep)
