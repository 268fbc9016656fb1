"""Where a relief might go: paths from the edge of a piece into a zone of fingers.

A step of length ds costs ``ds [1 + (aversion - 1) visibility (1 - crease)]``: in full sight
`aversion` times as much as where nobody looks. Paths follow the mesh's edges; `drawn` straightens
them to the few points that a person would pick.
"""

from dataclasses import dataclass

import numpy as np
import potpourri3d
from scipy.sparse import csr_array
from scipy.sparse.csgraph import dijkstra

from layflat.base import FloatArray, IntArray
from layflat.film import Flat
from layflat.fit.fingers import Fingers, FingerZone, compression
from layflat.pattern import reliefs_of
from layflat.surface import Loop, Region, edge_table

MOST_STATIONS = 12
"""Places along a zone's edge that are looked at."""

LEVELS = (0.6, 1.0, 1.5, 2.2)
"""How deep cuts are tried, as parts of how deep the fingers reach there."""

APART_MM = 20.0
"""No relief starts so near to another, or to a refused one."""

_LEAST_DEPTH_MM = 8.0
_SLIDE = 0.25
_STRAY = 1.6


@dataclass(frozen=True, eq=False)
class Candidate:
    """One path that a relief might take.

    Attributes:
        path: (k,) int64, vertices from the edge to the tip.
        cost_mm: its length, weighed by how well it is seen.
        length_mm: its length along the mesh's edges.
        promise_mm: the film too much along the edge as far as the cut is long to either side.
    """

    path: IntArray
    cost_mm: float
    length_mm: float
    promise_mm: float


@dataclass(frozen=True, eq=False)
class Ways:
    """What paths on one region cost.

    Attributes:
        region, flat, fingers: the piece as it is.
        sight: (n,) float64, visibility less what creases hide of it.
        aversion: how much dearer a cut in full sight is.
        from_edge_mm: (n,) float64, distance from the nearest edge that is no side of a relief.
    """

    region: Region
    flat: Flat
    fingers: Fingers
    sight: FloatArray
    aversion: float
    from_edge_mm: FloatArray
    graph: csr_array

    @staticmethod
    def of(
        region: Region, flat: Flat, fingers: Fingers, sight: FloatArray, aversion: float
    ) -> "Ways":
        """The ways on *region* as it is now."""
        mesh = region.mesh
        table = edge_table(mesh.faces)
        on_rim = np.zeros(len(mesh.vertices_mm), np.bool_)
        on_rim[table.ends[table.count == 1]] = True
        ends = table.ends[table.count == 2]
        both = np.concatenate((ends, ends[:, ::-1]))
        # Paths leave the boundary and never come back to it.
        both = both[~on_rim[both[:, 1]]]
        length = np.linalg.norm(np.diff(mesh.vertices_mm[both], axis=1)[:, 0], axis=1)
        seen = sight[both].mean(axis=1)
        shape = (len(mesh.vertices_mm),) * 2
        at = (both[:, 0], both[:, 1])
        return Ways(
            region=region,
            flat=flat,
            fingers=fingers,
            sight=sight,
            aversion=aversion,
            from_edge_mm=_from_real_edges(region),
            graph=csr_array((length * (1.0 + (aversion - 1.0) * seen), at), shape=shape),
        )

    def candidates(self, zone: FingerZone) -> list[Candidate]:
        """Paths into *zone* from the edges that it touches."""
        in_zone = np.zeros(len(self.flat.mesh.faces), np.bool_)
        in_zone[zone.faces] = True
        excess = _excess(self.flat, self.fingers.limit)
        found: list[Candidate] = []
        for loop in self.region.loops:
            rim = _Rim.of(self.region, loop, excess, in_zone)
            if rim is not None:
                for station in rim.stations(zone.depth_mm):
                    found += self._from(station, rim, zone)
        return found

    def _from(self, station: float, rim: "_Rim", zone: FingerZone) -> list[Candidate]:
        """Paths of several depths from near one station of the edge."""
        points = self.region.mesh.vertices_mm
        near = rim.between(station, _SLIDE * zone.depth_mm)
        if not len(near):
            return []
        start = points[near].mean(axis=0)
        faces = self.flat.mesh.faces[zone.faces]
        beside = np.linalg.norm(points[faces].mean(axis=1) - start, axis=1) <= 1.1 * zone.depth_mm
        local = self.from_edge_mm[faces[beside]].mean(axis=1).max(initial=0.0)
        local = max(float(local), _LEAST_DEPTH_MM)
        reach = LEVELS[-1] * local * _STRAY
        cost, before, _ = dijkstra(
            self.graph,
            indices=near,
            min_only=True,
            limit=reach * self.aversion,
            return_predecessors=True,
        )
        away = np.linalg.norm(points - start, axis=1)
        found = []
        for level in LEVELS:
            deep = level * local
            tips = np.flatnonzero(
                (self.from_edge_mm >= deep) & (away <= _STRAY * deep) & np.isfinite(cost)
            )
            if not len(tips):
                break
            tip = int(tips[np.argmin(cost[tips])])
            path = _walked(before.astype(np.int64), tip)
            if len(path) > 1:
                length = float(np.linalg.norm(np.diff(points[path], axis=0), axis=1).sum())
                promise = rim.too_much(station, deep)
                found.append(Candidate(path, float(cost[tip]), length, promise))
        return found


def drawn(flat_mm: FloatArray, *, off_mm: float) -> IntArray:
    """(j,) int64: the few points of a path in the flat that it keeps within *off_mm* of.

    Douglas and Peucker's rule, in the flat: on the surface a straight line is curved.
    """
    if len(flat_mm) < 3:
        return np.arange(len(flat_mm))
    along = flat_mm[-1] - flat_mm[0]
    size = max(float(np.hypot(*along)), 1e-12)
    share = np.clip((flat_mm - flat_mm[0]) @ along / size**2, 0.0, 1.0)
    off = np.hypot(*(flat_mm - flat_mm[0] - share[:, None] * along).T)
    at = int(off.argmax())
    if off[at] <= off_mm:
        return np.array([0, len(flat_mm) - 1])
    first = drawn(flat_mm[: at + 1], off_mm=off_mm)
    return np.concatenate((first[:-1], at + drawn(flat_mm[at:], off_mm=off_mm)))


def _walked(before: IntArray, tip: int) -> IntArray:
    path = [tip]
    while before[path[-1]] >= 0:
        path.append(int(before[path[-1]]))
    return np.array(path[::-1], np.int64)


def _excess(flat: Flat, limit: float) -> FloatArray:
    """(m,) float64: the film too much per length across the fingers, per triangle."""
    squeezed = np.minimum(compression(flat), 0.99)
    return np.asarray(np.maximum(1.0 / (1.0 - squeezed) - 1.0 / (1.0 - limit), 0.0))


def _from_real_edges(region: Region) -> FloatArray:
    """(n,) float64: how far each vertex is from the nearest edge that is no side of a relief."""
    names = {slit.name for slit in reliefs_of(region)}
    curves: list[tuple[int, list[float]]] = []
    lines: list[list[tuple[int, list[float]]]] = []
    for loop in region.loops:
        after = np.roll(loop.vertices, -1)
        curves = []
        for u, v, edge in zip(
            loop.vertices.tolist(), after.tolist(), loop.edge_of.tolist(), strict=True
        ):
            if loop.edges[edge].name in names:
                if len(curves) > 1:
                    lines.append(curves)
                curves = []
                continue
            curves = curves or [(u, [])]
            curves.append((v, []))
        if len(curves) > 1:
            lines.append(curves)
    solver = potpourri3d.MeshFastMarchingDistanceSolver(region.mesh.vertices_mm, region.mesh.faces)
    return np.asarray(solver.compute_distance(lines), dtype=np.float64)


@dataclass(frozen=True, eq=False)
class _Rim:
    """The part of one loop that a zone of fingers touches.

    Attributes:
        vertices: (k,) int64, the loop's vertices.
        place: (k,) float64, how far along the loop each lies.
        whole: the length of the loop.
        usable: (k,) bool, whether a relief may start there.
        excess: (k,) float64, the film too much on the step behind each.
    """

    vertices: IntArray
    place: FloatArray
    whole: float
    usable: np.ndarray[tuple[int], np.dtype[np.bool_]]
    excess: FloatArray

    @staticmethod
    def of(
        region: Region,
        loop: Loop,
        excess: FloatArray,
        in_zone: np.ndarray[tuple[int], np.dtype[np.bool_]],
    ) -> "_Rim | None":
        """The rim of a zone on *loop*; None where it does not touch it."""
        slits = reliefs_of(region)
        names = {slit.name for slit in slits}
        points = region.mesh.vertices_mm[loop.vertices]
        step = np.linalg.norm(np.roll(points, -1, axis=0) - points, axis=1)
        real = np.array([loop.edges[edge].name not in names for edge in loop.edge_of])
        face = _face_of_step(region, loop)
        much = np.where(real & in_zone[face], step * excess[face], 0.0)
        if not much.any():
            return None
        usable = real & np.roll(real, 1) & ((much > 0) | (np.roll(much, 1) > 0))
        for slit in slits:
            mouth = region.mesh.vertices_mm[slit.inward[0]]
            usable &= np.linalg.norm(points - mouth, axis=1) > APART_MM
        # The sides of reliefs are no part of the way along the edge.
        place = np.concatenate(([0.0], np.cumsum(np.where(real, step, 0.0))))
        return _Rim(loop.vertices, place[:-1], float(place[-1]), usable, much)

    def stations(self, depth_mm: float) -> list[float]:
        """Places along the loop, with as much film too much between each two."""
        total = np.concatenate(([0.0], np.cumsum(self.excess)))
        steps = int((self.excess > 0).sum())
        covered = self.whole * steps / max(len(self.excess), 1)
        count = int(np.clip(round(covered / max(depth_mm, APART_MM)), 1, MOST_STATIONS))
        wanted = (np.arange(count) + 0.5) / count * total[-1]
        places = np.append(self.place, self.whole)
        return [float(place) for place in np.interp(wanted, total, places)]

    def between(self, station: float, half_mm: float) -> IntArray:
        """The vertices near a station that a relief may start from; the nearest if none is."""
        off = self._off(station)
        near = self.usable & (off <= half_mm)
        if not near.any():
            near = self.usable & (off <= 4.0 * half_mm)
            near &= off == off[near].min(initial=np.inf)
        return self.vertices[near]

    def too_much(self, station: float, half_mm: float) -> float:
        """The film too much along the edge to either side of a station."""
        return float(self.excess[self._off(station) <= half_mm].sum())

    def _off(self, station: float) -> FloatArray:
        off = np.abs(self.place - station)
        return np.minimum(off, self.whole - off)


def _face_of_step(region: Region, loop: Loop) -> IntArray:
    """(k,) int64: the triangle beside each step of a loop."""
    faces = region.mesh.faces
    span = len(region.mesh.vertices_mm)
    keys = (faces * span + faces[:, [1, 2, 0]]).reshape(-1)
    order = np.argsort(keys)
    wanted = loop.vertices * span + np.roll(loop.vertices, -1)
    return np.asarray(order[np.searchsorted(keys[order], wanted)] // 3)
