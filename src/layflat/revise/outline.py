"""An outline as a way: stations, normals, edges by name, and what stays straight on it."""

import math
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import KDTree

from layflat.base import FloatArray, IntArray
from layflat.pattern import (
    Curve,
    MarkKind,
    Pattern,
    corners,
    element_lengths_mm,
    points_along,
    tangent_turns,
    unique_name,
)

BoolArray: TypeAlias = NDArray[np.bool_]

STRAIGHT_MM = 40.0
"""A line at least so long is straight on purpose, and stays so; so does one between two corners."""

INSIDE_MM = 15.0
"""A mark so far inside the outline is no edge's but a landmark of a template, or a person's own."""

_PIECE_MM = 20.0
_SAMPLE_MM = 1.0
_FLAT_MM = 0.005
_SAME_LINE = math.radians(0.1)


@dataclass(frozen=True)
class Side:
    """A stretch of an outline between two corners.

    Attributes:
        name: of the panel's edge whose mark stands beside it; “side 3” where there is none.
        start_mm: where it begins, counter-clockwise.
        length_mm: how long it is.
    """

    name: str
    start_mm: float
    length_mm: float


@dataclass(frozen=True)
class Straight:
    """A straight run of an outline: its first joint, how many elements, which ends are smooth."""

    first: int
    count: int
    smooth: tuple[bool, bool]


class Outline:
    """A closed curve with stations in mm along it.

    Attributes:
        curve: the curve, its curved elements cut so that each is short.
        origin: (n,) int64, for every joint of the curve that was given, its joint here.
        corners: (c,) int64, the joints here that are corners.
        starts_mm: (k,) float64, the station of every joint.
        length_mm: all round.
        straights: what stays straight.
    """

    def __init__(self, curve: Curve, corner_joints: IntArray | None) -> None:
        given = corners(curve) if corner_joints is None else corner_joints
        lengths = element_lengths_mm(curve)
        chords = np.hypot(*(np.roll(curve.points_mm, -1, axis=0) - curve.points_mm).T)
        flat = 0.5 * np.abs(curve.bulges) * chords < _FLAT_MM
        at_corner = np.zeros(len(lengths), np.bool_)
        at_corner[given] = True
        runs = _runs(curve, flat, lengths, at_corner)
        whole = np.zeros(len(lengths), np.bool_)
        for first, count in runs:
            whole[(first + np.arange(count)) % len(lengths)] = True
        counts = np.where(whole, 1, np.maximum(1, np.ceil(lengths / _PIECE_MM))).astype(np.int64)
        self.origin: IntArray = np.cumsum(counts) - counts
        element = np.repeat(np.arange(len(counts)), counts)
        part = (np.arange(len(element)) - self.origin[element]) / counts[element]
        bulges = np.tan(np.arctan(curve.bulges) / counts)[element]
        self.curve = Curve(points_along(curve, element, part), bulges)
        self.corners: IntArray = self.origin[np.sort(np.asarray(given, np.int64))]
        steps = element_lengths_mm(self.curve)
        self.starts_mm: FloatArray = np.cumsum(steps) - steps
        self.length_mm = float(steps.sum())
        corner_set = set(self.corners.tolist())
        self.straights = tuple(
            Straight(
                int(self.origin[first]),
                count,
                (
                    int(self.origin[first]) not in corner_set,
                    int(self.origin[(first + count) % len(counts)]) not in corner_set,
                ),
            )
            for first, count in runs
        )

    @property
    def joints(self) -> int:
        """How many joints there are."""
        return len(self.starts_mm)

    def place(self, stations_mm: FloatArray) -> tuple[IntArray, FloatArray]:
        """The elements of these stations, and how far along each they lie, 0 to 1."""
        at = np.remainder(np.asarray(stations_mm, np.float64), self.length_mm)
        element = np.searchsorted(self.starts_mm, at, side="right") - 1
        steps = np.diff(np.append(self.starts_mm, self.length_mm))
        return element, np.clip((at - self.starts_mm[element]) / steps[element], 0.0, 1.0)

    def points(self, stations_mm: FloatArray) -> FloatArray:
        """(n, 2) float64: the points at these stations."""
        return points_along(self.curve, *self.place(stations_mm))

    def tangents(self, element: IntArray, part: FloatArray) -> FloatArray:
        """(n, 2) float64: unit directions at places on elements."""
        chord = np.roll(self.curve.points_mm, -1, axis=0)[element] - self.curve.points_mm[element]
        angle = np.arctan2(chord[:, 1], chord[:, 0])
        angle = angle + 2.0 * np.arctan(self.curve.bulges[element]) * (2.0 * part - 1.0)
        return np.column_stack((np.cos(angle), np.sin(angle)))

    def normals(self, stations_mm: FloatArray) -> FloatArray:
        """(n, 2) float64: unit normals away from the film, outline counter-clockwise."""
        x, y = self.tangents(*self.place(stations_mm)).T
        return np.column_stack((y, -x))

    @cached_property
    def _fine(self) -> tuple[FloatArray, KDTree]:
        count = max(16, math.ceil(self.length_mm / _SAMPLE_MM))
        stations = np.linspace(0.0, self.length_mm, count, endpoint=False)
        stations = np.union1d(stations, self.starts_mm)
        return stations, KDTree(self.points(stations))

    def nearest(self, points_mm: FloatArray) -> tuple[FloatArray, FloatArray]:
        """The nearest stations to (n, 2) points, and how far away they are, in mm."""
        points = np.asarray(points_mm, np.float64).reshape(-1, 2)
        stations, tree = self._fine
        _, which = tree.query(points)
        element, part = self.place(stations[which])
        # One step along the tangent: a sample lies within half a millimetre.
        off = points - points_along(self.curve, element, part)
        along = np.einsum("ij,ij->i", off, self.tangents(element, part))
        moved = stations[which] + np.clip(along, -_SAMPLE_MM, _SAMPLE_MM)
        better = np.hypot(*(self.points(moved) - points).T)
        before = np.hypot(*off.T)
        found = np.where(better < before, moved, stations[which])
        return np.remainder(found, self.length_mm), np.minimum(better, before)


def _runs(
    curve: Curve, flat: BoolArray, lengths: FloatArray, at_corner: BoolArray
) -> list[tuple[int, int]]:
    """The straight runs that are straight on purpose: first element and how many."""
    count = len(lengths)
    if count < 3:
        return []
    bent = np.abs(tangent_turns(curve)) > _SAME_LINE
    begins = [i for i in range(count) if flat[i] and (not flat[i - 1] or bent[i] or at_corner[i])]
    found = []
    for first in begins:
        size = 1
        while size < count:
            following = (first + size) % count
            if not flat[following] or bent[following] or at_corner[following]:
                break
            size += 1
        length = float(lengths[(first + np.arange(size)) % count].sum())
        between_corners = bool(at_corner[first] and at_corner[(first + size) % count])
        if length >= STRAIGHT_MM or between_corners:
            found.append((first, size))
    return found


def sides_of(pattern: Pattern, outline: Outline) -> tuple[Side, ...]:
    """The stretches between corners, named after the marks beside them.

    A panel's edges may run on smoothly into each other: then several marks stand beside one
    stretch, and it is divided between them, by the edges' lengths as the marks stand in their
    middles.
    """
    if len(outline.corners):
        starts = outline.starts_mm[outline.corners]
        lengths = np.remainder(np.roll(starts, -1) - starts, outline.length_mm)
        if len(starts) == 1:
            lengths = np.array([outline.length_mm])
    else:
        starts, lengths = np.zeros(1), np.array([outline.length_mm])
    marked: dict[int, list[tuple[float, str]]] = {}
    taken: set[str] = set()
    for mark in pattern.marks:
        if mark.kind is MarkKind.NUMBER or not mark.text:
            continue
        station, away = outline.nearest(mark.points_mm[:1])
        outward = (mark.points_mm[:1] - outline.points(station)) @ outline.normals(station)[0]
        if outward[0] < 0.0 and away[0] > INSIDE_MM:
            continue
        ways = np.remainder(float(station[0]) - starts, outline.length_mm)
        which = int(np.argmin(ways))
        marked.setdefault(which, []).append((float(ways[which]), unique_name(mark.text, taken)))
    sizes = {edge.name: edge.flat_length_mm for edge in pattern.edges}
    sides: list[Side] = []
    for i, (start, length) in enumerate(zip(starts.tolist(), lengths.tolist(), strict=True)):
        here = sorted(marked.get(i, [(0.0, "")]))
        cuts = [0.0, *(_cut(one, two, sizes) for one, two in pairwise(here)), length]
        sides += (
            Side(
                name or unique_name(f"side {i + 1}", taken),
                (start + first) % outline.length_mm,
                last - first,
            )
            for (_, name), (first, last) in zip(here, pairwise(cuts), strict=True)
        )
    return tuple(sides)


def _cut(one: tuple[float, str], two: tuple[float, str], sizes: dict[str, float]) -> float:
    """Where one edge ends and the next begins, between the marks in their middles."""
    first, second = (sizes.get(name, 0.0) for _, name in (one, two))
    share = first / (first + second) if first > 0.0 and second > 0.0 else 0.5
    return one[0] + share * (two[0] - one[0])
