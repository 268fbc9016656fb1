"""Pulls that can be measured with a tape: two marks on the liner, and how far apart they end.

On the liner the distance is straight; on the car it is that of a tape laid taut along the surface,
a geodesic: N. Sharp, K. Crane, You can find geodesic paths in triangle meshes by just flipping
edges, ACM Trans. Graph. 39 (2020) 249 (the library potpourri3d), which is exact on the mesh.
"""

import string
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import potpourri3d
import shapely
from scipy.spatial import KDTree
from shapely import LineString, Point, Polygon
from shapely.ops import nearest_points

from layflat.base import FloatArray
from layflat.film import Flat
from layflat.fit.laying_anchor import Place
from layflat.surface import Edge, Loop, Region

READ_MM = 2.0
"""A smaller difference is not read off a tape in wet gloves. Common practice, no source."""

MOST_TAPES = 4
INSET_MM = 15.0
"""Marks stand so far in from the edge, where film is still on its liner."""

_LENGTHS_MM = (100.0, 1500.0)
_CORNER_DEG = 25.0
_FROM_ANCHOR = 1.3
_ALIKE = 0.25
_UNNAMED = "an edge"


@dataclass(frozen=True, eq=False)
class Tape:
    """One measured pull.

    Attributes:
        letters: of its two marks.
        ends: the two marks.
        where: what each lies at, in words.
        liner_mm: how far apart they are on the liner, straight.
        car_mm: how far apart they end on the car, along its surface.
    """

    letters: tuple[str, str]
    ends: tuple[Place, Place]
    where: tuple[str, str]
    liner_mm: float
    car_mm: float

    @property
    def sentence(self) -> str:
        """The pull for a person."""
        first, second = self.letters
        return (
            f"{first} ({self.where[0]}) to {second} ({self.where[1]}): "
            f"{self.liner_mm:.0f} mm on the liner, {self.car_mm:.0f} mm on the car."
        )


@dataclass(frozen=True, eq=False)
class _Mark:
    vertex: int
    words: str


def find_tapes(flat: Flat, region: Region, anchor: Place) -> tuple[Tape, ...]:
    """The pulls that stretch film most, between marks that can be found: the strongest first.

    None where liner and car agree to what a tape tells.
    """
    outline = _outline(flat, region)
    tree = KDTree(flat.points_mm)
    marks = list(_marks(flat, region, outline, tree))
    marks.append(_Mark(int(tree.query(anchor.flat_mm)[1]), "the anchor"))
    solver = potpourri3d.EdgeFlipGeodesicSolver(flat.mesh.vertices_mm, flat.mesh.faces)
    found = []
    shapely.prepare(outline)
    for one, other in combinations(marks, 2):
        ends = flat.points_mm[[one.vertex, other.vertex]]
        liner = float(np.linalg.norm(ends[1] - ends[0]))
        if not _LENGTHS_MM[0] <= liner <= _LENGTHS_MM[1] or not outline.covers(LineString(ends)):
            continue
        path = solver.find_geodesic_path(v_start=one.vertex, v_end=other.vertex)
        car = float(np.linalg.norm(np.diff(path, axis=0), axis=1).sum())
        if car - liner >= READ_MM:
            worth = (car - liner) * (_FROM_ANCHOR if other is marks[-1] else 1.0)
            found.append((worth, one, other, liner, car))
    # Of pulls that are alike to a tape the names decide, and not a scan's noise.
    found.sort(key=lambda item: (-round(item[0]), item[1].words, item[2].words, -item[0]))
    chosen: list[tuple[_Mark, _Mark, float, float]] = []
    for _, one, other, liner, car in found:
        if len(chosen) < MOST_TAPES and not any(
            _alike(flat, (one, other), (a, b), liner) for a, b, _, _ in chosen
        ):
            chosen.append((one, other, liner, car))
    return tuple(_named(flat, chosen, marks[-1]))


def _named(
    flat: Flat, chosen: list[tuple[_Mark, _Mark, float, float]], anchor: _Mark
) -> Iterator[Tape]:
    """The chosen pulls with letters; a mark that two pulls share has one, the anchor has O."""
    letters = {anchor.vertex: "O"}
    free = iter(letter for letter in string.ascii_uppercase if letter != "O")
    for one, other, liner, car in chosen:
        pair = (other, one) if other is anchor else (one, other)
        for mark in pair:
            if mark.vertex not in letters:
                letters[mark.vertex] = next(free)
        ends = [
            Place(flat.points_mm[mark.vertex], flat.mesh.vertices_mm[mark.vertex]) for mark in pair
        ]
        yield Tape(
            (letters[pair[0].vertex], letters[pair[1].vertex]),
            (ends[0], ends[1]),
            (pair[0].words, pair[1].words),
            liner,
            car,
        )


def _alike(
    flat: Flat, pair: tuple[_Mark, _Mark], other: tuple[_Mark, _Mark], length_mm: float
) -> bool:
    """Whether two pulls lie so near to each other that one tells as much as both."""
    a, b = (flat.points_mm[mark.vertex] for mark in pair)
    c, d = (flat.points_mm[mark.vertex] for mark in other)
    apart = min(
        np.linalg.norm(a - c) + np.linalg.norm(b - d),
        np.linalg.norm(a - d) + np.linalg.norm(b - c),
    )
    return bool(apart < 2.0 * _ALIKE * length_mm)


def _outline(flat: Flat, region: Region) -> Polygon:
    outer, *inner = (flat.points_mm[loop.vertices] for loop in region.loops)
    return Polygon(outer, inner).buffer(0.0)


def _marks(flat: Flat, region: Region, outline: Polygon, tree: KDTree) -> Iterator[_Mark]:
    """Corners and middles of edges, a little inside the piece."""
    inside = outline.buffer(-INSET_MM)
    if inside.is_empty:
        return
    seen: set[int] = set()
    # By their words: whichever way round an outline runs, mirror images have the same marks.
    for at, words in sorted(_named_points(flat, region.loops[0]), key=lambda point: point[1]):
        spot = nearest_points(inside, Point(at))[0]
        vertex = int(tree.query((spot.x, spot.y))[1])
        if vertex not in seen:
            seen.add(vertex)
            yield _Mark(vertex, words)


def _named_points(flat: Flat, loop: Loop) -> Iterator[tuple[FloatArray, str]]:
    points = flat.points_mm[loop.vertices]
    count = len(points)
    for number, edge in enumerate(loop.edges):
        mine = np.flatnonzero(loop.edge_of == number)
        if not len(mine) or _is_relief(edge):
            continue
        # The edge's vertices in order, where its run passes the loop's first vertex too.
        gap = np.flatnonzero(np.diff(mine) > 1)
        run = np.concatenate((mine[gap[0] + 1 :], mine[: gap[0] + 1])) if len(gap) else mine
        line = points[np.append(run, (run[-1] + 1) % count)]
        along = np.concatenate(([0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))))
        half = 0.5 * along[-1]
        middle = np.array([np.interp(half, along, line[:, i]) for i in range(2)])
        yield middle, f"middle of {_name(edge)}"
        last = loop.edges[loop.edge_of[run[0] - 1]]
        turn = points[run[0] - 1], points[run[0]], line[min(1, len(line) - 1)]
        # Where a relief begins film opens: that is no place to measure from.
        if len(loop.edges) > 1 and not _is_relief(last) and _turn_deg(*turn) > _CORNER_DEG:
            names = sorted((_name(edge), _name(last)), key=lambda name: (name == _UNNAMED, name))
            yield points[run[0]], f"corner of {' and '.join(names)}"


def _is_relief(edge: Edge) -> bool:
    return edge.name.startswith("relief")


def _name(edge: Edge) -> str:
    return f"“{edge.name}”" if edge.name else _UNNAMED


def _turn_deg(before: FloatArray, at: FloatArray, after: FloatArray) -> float:
    one, other = at - before, after - at
    cross = one[0] * other[1] - one[1] * other[0]
    return float(abs(np.degrees(np.arctan2(cross, one @ other))))
