"""Splinters along a cut tidied away, so that what is computed on the region is well posed.

A line crosses the triangles of a body where it will, and leaves needles and flat caps beside
it. Two local operations make them go: edges are collapsed into one of their ends, or the common
edge of two triangles is flipped. Each is done only if no triangle turns, neither the surface nor
the boundary leaves its tolerance, and the poorest triangle in hand is gone or better for it. No
vertex is moved, vertices only disappear: each loop of the result passes through vertices of the
loop that it was, in their order.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from heapq import heapify, heappop, heappush

import numpy as np
from numpy.typing import NDArray

from layflat.base import IntArray
from layflat.surface.measure import triangle_quality
from layflat.surface.mesh import Mesh
from layflat.surface.region import Loop, Region
from layflat.surface.topology import compact
from layflat.surface.triples import (
    Triple,
    apart,
    cross,
    dot,
    minus,
    normal_of,
    quality_of,
    unit,
)

LINE_MM = 0.01
"""How far the points of a line may lie from the boundary that is left of it."""

SURFACE_MM = 0.02
"""How far the surface may move: a fifth of a scanner's noise."""

_POOR = 0.1
"""A triangle of less quality than this is made better where that can be done."""

_TURN = math.cos(math.radians(15.0))
"""The cosine of the angle by which a triangle's normal may turn at most."""

_FLIP_GAIN = 1.05
"""A flip must gain this factor, so that no two flips undo each other for ever."""

_COLLAPSE_GAIN = 0.5
"""A collapse may leave a triangle poorer by this factor; there are fewer of them, so it ends."""

_RINGS = 3
"""So many rings of triangles round a poor one can take part in its mending."""

_HUDDLE = 4.0
"""Crossings this many times as far apart as a vertex lies from them collapse with it."""

_FEW = 6
"""At most this many neighbours along the boundary are collapsed in one go."""

_Face = tuple[int, int, int]


@dataclass(frozen=True)
class _Change:
    """One collapse or flip.

    Attributes:
        worst: the quality of the poorest triangle after it.
        faces: the triangles that become others, by number.
        ends: the vertices at which the surface moves.
        moved_mm: a bound on how far it has moved there then.
        gone: the vertex that is collapsed, if one is.
    """

    worst: float
    faces: dict[int, _Face]
    ends: tuple[int, ...]
    moved_mm: float
    gone: tuple[int, ...]


def tidy(region: Region, *, free: NDArray[np.bool_]) -> Region:
    """*region* without the splinters along its boundary.

    The boundary keeps within `LINE_MM` of where it was and the surface within `SURFACE_MM`;
    vertices that are not *free* stay on the boundary.

    Args:
        region: as it was cut.
        free: (n,) bool, the vertices of the boundary that may be dropped; none of them a corner.
    """
    poor = _poor_beside(region)
    if not len(poor):
        return region
    work = _Work(region, free, poor)
    work.run()
    return work.region(region)


def _poor_beside(region: Region) -> IntArray:
    """The poor faces that have a vertex on the boundary, ascending."""
    faces = region.mesh.faces
    near = np.zeros(len(region.mesh.vertices_mm), np.bool_)
    for loop in region.loops:
        near[loop.vertices] = True
    beside = _grown(faces, near)
    quality = triangle_quality(Mesh(region.mesh.vertices_mm, faces[beside]))
    return beside[quality < _POOR]


def _grown(faces: IntArray, near: NDArray[np.bool_]) -> IntArray:
    """The faces that have a marked vertex, ascending; all their vertices are marked as well."""
    found = np.flatnonzero(near[faces].any(axis=1))
    near[faces[found]] = True
    return found


class _Work:
    """The triangles round the poor ones, as they are changed.

    Attributes:
        points: the place of each vertex.
        faces: the triangles by number; those collapsed are gone.
        star: for each vertex the numbers of its triangles.
        whole: the vertices all of whose triangles are here; only these are worked on.
        after, before: the next and the previous vertex along the boundary.
        dropped: for each vertex of the boundary the places of those dropped behind it.
        moved_mm: for each vertex a bound on how far the surface at it has moved.
    """

    def __init__(self, region: Region, free: NDArray[np.bool_], poor: IntArray) -> None:
        mesh = region.mesh
        near = np.zeros(len(mesh.vertices_mm), np.bool_)
        near[mesh.faces[poor]] = True
        for _ in range(_RINGS - 1):
            _grown(mesh.faces, near)
        whole = np.flatnonzero(near)
        taken = _grown(mesh.faces, near)
        self.taken = taken
        used = np.flatnonzero(near)
        self.points: dict[int, Triple] = dict(
            zip(used.tolist(), map(tuple, mesh.vertices_mm[used].tolist()), strict=True)
        )
        self.faces: dict[int, _Face] = dict(
            zip(taken.tolist(), map(tuple, mesh.faces[taken].tolist()), strict=True)
        )
        self.star: dict[int, set[int]] = {v: set() for v in self.points}
        for number, face in self.faces.items():
            for v in face:
                self.star[v].add(number)
        self.whole = set(whole.tolist())
        self.free = set(np.flatnonzero(free & near).tolist())
        self.after: dict[int, int] = {}
        for loop in region.loops:
            self.after.update(
                zip(loop.vertices.tolist(), np.roll(loop.vertices, -1).tolist(), strict=True)
            )
        self.before = {v: u for u, v in self.after.items()}
        self.dropped: dict[int, list[Triple]] = {}
        self.moved_mm: dict[int, float] = {}
        self._queue = [(self._quality(self.faces[f]), f) for f in poor.tolist()]

    def run(self) -> None:
        """Mend the poorest triangle that can be mended until none is left."""
        heapify(self._queue)
        while self._queue:
            quality, number = heappop(self._queue)
            face = self.faces.get(number)
            if face is None or self._quality(face) != quality:
                continue
            best: _Change | None = None
            for change in self._changes(face):
                gain = _COLLAPSE_GAIN if change.gone else _FLIP_GAIN
                if change.worst > (gain * quality if best is None else best.worst):
                    best = change
                    if best.worst >= _POOR:
                        break
            if best is not None:
                self._apply(best)

    def _changes(self, face: _Face) -> Iterator[_Change]:
        """What can be done about a face, what changes least first."""
        a, b, c = face
        sides = ((a, b), (b, c), (c, a))
        for u, v in sides:
            yield from self._flip(u, v)
        for u, v in sides:
            yield from self._collapse((u,), v)
            yield from self._collapse((v,), u)
        inner = [v for v in face if v not in self.after]
        for v in face:
            if v not in self.after:
                continue
            for u in face:
                if u != v and u in self.after:
                    yield from self._collapse(self._run(u, v), v)
            for w in (self.before[v], v, self.after[v]):
                if w in self.whole:
                    if w not in face:
                        yield from self._collapse((v,), w)
                    for u in inner:
                        yield from self._collapse((u, *self._huddle(u, w)), w)

    def _run(self, gone: int, kept: int) -> tuple[int, ...]:
        """The vertices of the boundary from *gone* to just before *kept*, if there are few."""
        for way in (self.before, self.after):
            found = [gone]
            while len(found) < _FEW and (v := way[found[-1]]) in self.whole and v != kept:
                found.append(v)
            if len(found) > 1 and way[found[-1]] == kept:
                return tuple(found)
        return ()

    def _huddle(self, inner: int, kept: int) -> list[int]:
        """The vertices of the boundary on both sides of *kept* that *inner* lies close to.

        Where a line passes close by a vertex, it crosses most edges of that vertex there.
        """
        near = _HUDDLE * math.dist(self.points[inner], self.points[kept])
        found: list[int] = []
        for way in (self.before, self.after):
            v = way[kept]
            while (
                len(found) < _FEW
                and v in self.free
                and v in self.whole
                and math.dist(self.points[v], self.points[kept]) < near
                and self.star[v] & self.star[inner]
            ):
                found.append(v)
                v = way[v]
        return found

    def _collapse(self, gone: tuple[int, ...], kept: int) -> Iterator[_Change]:
        """The collapse of some vertices into one next to them, if it may be done."""
        if not gone or not self.whole.issuperset((*gone, kept)):
            return
        ends = self._ends(gone, kept)
        if ends is None:
            return
        faces, beside, moved, worst = {}, set[int](), 0.0, 1.0
        for f in sorted(set[int]().union(*(self.star[v] for v in gone))):
            old = self.faces[f]
            beside.update(old)
            normal = self._normal(old)
            for v in old:
                if v in gone:
                    step = minus(self.points[kept], self.points[v])
                    moved = max(moved, abs(dot(normal, step)))
            face = _replaced(old, gone, kept)
            if face.count(kept) == 1:
                if dot(normal, self._normal(face)) < _TURN:
                    return
                worst = min(worst, self._quality(face))
                faces[f] = face
        moved += max(self.moved_mm.get(v, 0.0) for v in beside)
        if moved <= SURFACE_MM and self._is_fan(gone, kept, faces, ends):
            yield _Change(worst, faces, (kept,), moved, gone)

    def _ends(self, gone: tuple[int, ...], kept: int) -> tuple[int, ...] | None:
        """The neighbours of *kept* along the boundary after a collapse; () inside the mesh.

        None if the boundary may not be collapsed so: a vertex of it is not free or not next to
        *kept*, or a point of the line would lie too far from what is left.
        """
        dropping = [v for v in gone if v in self.after]
        if kept not in self.after:
            return None if dropping else ()
        if not self.free.issuperset(dropping):
            return None
        ends: list[int] = []
        passed = 0
        for way in (self.before, self.after):
            v = kept
            places = list[Triple]()
            while True:
                last, v = v, way[v]
                places += self.dropped.get(v if way is self.before else last, ())
                if v not in gone:
                    break
                places.append(self.points[v])
                passed += 1
            if v not in self.points:
                return None
            ends.append(v)
            start, end = self.points[kept], self.points[v]
            if v == kept or any(apart(place, start, end) > LINE_MM for place in places):
                return None
        return tuple(ends) if passed == len(dropping) and ends[0] != ends[1] else None

    def _is_fan(
        self, gone: tuple[int, ...], kept: int, faces: dict[int, _Face], ends: tuple[int, ...]
    ) -> bool:
        """Whether the triangles round *kept* are one fan after a collapse."""
        others = (self.faces[f] for f in self.star[kept] if f not in faces)
        round_it = [*faces.values(), *(face for face in others if not set(face) & set(gone))]
        following: dict[int, int] = {}
        for face in round_it:
            i = face.index(kept)
            u, v = face[i - 2], face[i - 1]
            if u in following:
                return False
            following[u] = v
        start = ends[1] if ends else next(iter(following), -1)
        v = following.pop(start, -1)
        while v in following:
            v = following.pop(v)
        return not following and v == (ends[0] if ends else start)

    def _flip(self, u: int, v: int) -> Iterator[_Change]:
        """The flip of the edge from u to v, if it may be done."""
        numbers = sorted(self.star[u] & self.star[v])
        if len(numbers) != 2:
            return
        first, second = numbers
        left, right = (sum(self.faces[f]) - u - v for f in numbers)
        if not self.whole.issuperset((u, v, left, right)) or self.star[left] & self.star[right]:
            return
        faces = {
            first: _replaced(self.faces[first], (v,), right),
            second: _replaced(self.faces[second], (u,), left),
        }
        normals = [self._normal(self.faces[f]) for f in numbers]
        if any(dot(self._normal(faces[f]), n) < _TURN for f in numbers for n in normals):
            return
        moved = self._between_diagonals(u, v, left, right)
        moved += max(self.moved_mm.get(w, 0.0) for w in (u, v, left, right))
        if moved > SURFACE_MM:
            return
        worst = min(self._quality(face) for face in faces.values())
        yield _Change(worst, faces, (left, right), moved, ())

    def _between_diagonals(self, u: int, v: int, left: int, right: int) -> float:
        """How far the two diagonals of four points pass from each other."""
        p = self.points
        across = cross(minus(p[v], p[u]), minus(p[right], p[left]))
        return abs(dot(unit(across), minus(p[left], p[u])))

    def _apply(self, change: _Change) -> None:
        """Do it, and take the changed triangles that are poor into the queue."""
        for v in change.gone:
            for f in sorted(self.star[v] - change.faces.keys()):
                self._take_out(f)
        for f, face in change.faces.items():
            self._take_out(f)
            self.faces[f] = face
            for v in face:
                self.star[v].add(f)
            quality = self._quality(face)
            if quality < _POOR:
                heappush(self._queue, (quality, f))
        for v in change.ends:
            self.moved_mm[v] = change.moved_mm
        for v in change.gone:
            if v in self.after:
                before, after = self.before.pop(v), self.after.pop(v)
                behind = [*self.dropped.get(before, ()), self.points[v]]
                self.dropped[before] = [*behind, *self.dropped.pop(v, ())]
                self.after[before], self.before[after] = after, before

    def _take_out(self, number: int) -> None:
        for v in self.faces.pop(number):
            self.star[v].discard(number)

    def _normal(self, face: _Face) -> Triple:
        a, b, c = (self.points[v] for v in face)
        return normal_of(a, b, c)

    def _quality(self, face: _Face) -> float:
        a, b, c = (self.points[v] for v in face)
        return quality_of(a, b, c)

    def region(self, region: Region) -> Region:
        """*region* with what was changed."""
        faces = np.array(region.mesh.faces)
        kept = np.ones(len(faces), np.bool_)
        kept[self.taken] = False
        numbers = sorted(self.faces)
        faces[numbers] = [self.faces[f] for f in numbers]
        kept[numbers] = True
        fresh, used = compact(faces[kept])
        number = np.full(len(region.mesh.vertices_mm), -1)
        number[used] = np.arange(len(used))
        loops = []
        for loop in region.loops:
            stays = np.array([v in self.after for v in loop.vertices.tolist()])
            loops.append(Loop(number[loop.vertices[stays]], loop.edge_of[stays], loop.edges))
        return Region(Mesh(region.mesh.vertices_mm[used], fresh), tuple(loops))


def _replaced(face: _Face, old: tuple[int, ...], new: int) -> _Face:
    a, b, c = (new if v in old else v for v in face)
    return a, b, c
