"""An outline freed of what hands and creases do to it: doubled points, spurs and small loops.

Points that are drawn to a crease may come to lie on it in another order than they were tapped in.
The line then runs to and fro along the crease, and a panel could not be cut out of it. Where a
line comes back to a place where it was, and what lies between is a short spur or a small loop, that
is left out and said. Where two lines run into each other otherwise, the one that goes farther round
to follow features is drawn straight, and that is said. All else that crosses or touches itself is
refused with its place.
"""

import functools
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial import KDTree

from layflat.base import FloatArray, IntArray, MeshError
from layflat.surface.feature_path import FeaturePath
from layflat.surface.outline import Node, Outline
from layflat.surface.outline_ring import Mark, Ring, merged, with_edge_of
from layflat.surface.segments import between_segments, to_line

SAME_PLACE_MM = 0.05
"""Two points nearer to each other are one."""

SPUR_MM = 2.0
"""A spur's two sides lie at most this far from each other. Our own choice, as are the next."""

LONGEST_SPUR_MM = 60.0
"""A spur is no longer: twice as far as a tap is drawn, and a little more."""

LOOP_MM = 40.0
"""A loop no longer than this, and than a tenth of the outline, is no part of a panel."""

_TOLD_MM = 0.1
"""What is shorter comes of rounding, and is left out without a word."""

_LEAST_SHARE = 0.1
_TOUCH_MM = 0.02
"""Two parts of a line that are nearer to each other touch; cutting moves lines by 0.015 mm."""

_SHARP = 4.0
"""What is shorter than so many times the gap between its ends is a bend and no way back."""


@dataclass(frozen=True, eq=False)
class Untangled:
    """A closed outline that neither crosses nor touches itself.

    Attributes:
        outline: closed, perhaps with fewer points.
        paths: the line behind each of its points.
        notes: what was left out or drawn straight, a sentence each; points have the numbers that
            they had, from 1.
        straight: the numbers, from 0, of the points behind which the line was drawn straight.
    """

    outline: Outline
    paths: tuple[FeaturePath, ...]
    notes: tuple[str, ...]
    straight: tuple[int, ...]


def untangled(outline: Outline, path: Callable[[Node, Node], FeaturePath]) -> Untangled:
    """A closed outline traced, and freed of doubled points, spurs and small loops.

    Args:
        outline: closed.
        path: gives the line from one point to the next.

    Raises:
        MeshError: the outline is not closed, has fewer than three places, or crosses or touches
            itself in earnest; what *path* raises.
    """
    if not outline.closed:
        raise MeshError("Close the outline first.")
    marks, notes = _apart([Mark(node, i + 1) for i, node in enumerate(outline.nodes)])
    if len(marks) < 3:
        raise MeshError("An outline needs points at three places or more.")
    traced = functools.cache(path)
    straight: list[int] = []
    while True:
        after = [*marks[1:], marks[0]]
        paths = [traced(a.node, b.node) for a, b in zip(marks, after, strict=True)]
        ring = Ring.of(marks, paths)
        said = []
        while (touches := _touches(ring.points)) is not None:
            excursion = _longest_to_cut(ring, touches)
            if excursion is None:
                break
            ring, note = _without(excursion)
            said += [note] if excursion.length_mm >= 2.0 * _TOLD_MM else []
        if touches is None:
            break
        number, other = _farther_round(ring, touches, marks, paths)
        marks = [_straight(mark) if mark.number == number else mark for mark in marks]
        straight.append(number - 1)
        notes.append(
            f"Behind point {number} the line follows no feature and goes straight: it ran into "
            f"the line behind point {other}."
        )
    if len(ring.points) < 3 or _is_spur(ring.points[0], ring.points[1:]):
        raise MeshError("The outline runs out and back along itself; pick points round the panel.")
    nodes, lines = ring.paths()
    return Untangled(
        Outline(tuple(nodes), True), tuple(lines), (*notes, *said), tuple(sorted(straight))
    )


def _straight(mark: Mark) -> Mark:
    return replace(mark, node=replace(mark.node, straight=True))


def _farther_round(
    ring: Ring, touches: "_Touches", marks: Sequence[Mark], paths: Sequence[FeaturePath]
) -> tuple[int, int]:
    """Of two lines that touch the number of the one that goes farther round, and the other's.

    Raises:
        MeshError: neither follows a feature.
    """
    k = int(touches.shorter_mm.argmax())
    numbers = [ring.number_before(int(step)) for step in touches.steps[k]]
    round_of = {}
    for mark, path in zip(marks, paths, strict=True):
        if mark.number in numbers and path.followed.any():
            ends = path.points_mm[[0, -1]]
            round_of[mark.number] = path.length_mm / float(np.linalg.norm(ends[1] - ends[0]))
    if not round_of:
        one, other = numbers
        raise MeshError(
            f"The outline crosses or touches itself, behind point {one} and behind point {other}. "
            "Move the points there apart, or put points between them."
        )
    farther = max(round_of, key=lambda number: round_of[number])
    return farther, numbers[1] if farther == numbers[0] else numbers[0]


def _apart(marks: list[Mark]) -> tuple[list[Mark], list[str]]:
    """The points without those that lie at the place of the one before them."""
    kept: list[Mark] = []
    notes = []
    for i, mark in enumerate(marks):
        if kept and _same(kept[-1], mark):
            # Nothing lies between them: what begins at the later one counts.
            other = kept.pop()
            kept.append(Mark(with_edge_of(mark.node, other.node), other.number))
        elif i == len(marks) - 1 and kept and _same(kept[0], mark):
            other = kept[0]
            kept[0] = Mark(with_edge_of(other.node, mark.node), other.number)
        else:
            kept.append(mark)
            continue
        notes.append(
            f"Point {mark.number} lies at the place of point {other.number} and is left out."
        )
    return kept, notes


def _same(one: Mark, other: Mark) -> bool:
    gap = np.subtract(one.node.at_mm, other.node.at_mm)
    return float(np.linalg.norm(gap)) < SAME_PLACE_MM


@dataclass(frozen=True, eq=False)
class _Touches:
    """Where steps of a ring come to each other: k pairs.

    Attributes:
        steps: (k, 2) int64, the first less than the second.
        shares: (k, 2) float64, how far along each step, 0 to 1.
        gaps_mm: (k,) float64.
        inside_mm: (k,) float64, how long the way from the one place to the other is.
        total_mm: how long the whole ring is.
    """

    steps: IntArray
    shares: FloatArray
    gaps_mm: FloatArray
    inside_mm: FloatArray
    total_mm: float

    @property
    def shorter_mm(self) -> FloatArray:
        """(k,) float64: the shorter of the two ways between the places."""
        return np.minimum(self.inside_mm, self.total_mm - self.inside_mm)


def _touches(points: FloatArray) -> _Touches | None:
    """All places where a ring touches itself, or None."""
    count = len(points)
    ends = np.roll(points, -1, axis=0)
    length = np.linalg.norm(ends - points, axis=1)
    if count < 3:
        return None
    reach = float(length.max()) + _TOUCH_MM
    pairs = KDTree(0.5 * (points + ends)).query_pairs(reach, output_type="ndarray")
    apart = pairs[:, 1] - pairs[:, 0]
    i, j = pairs[(apart > 1) & (apart < count - 1)].T
    s, t, gap = between_segments(points[i], ends[i], points[j], ends[j])
    before = np.concatenate([[0.0], np.cumsum(length)])
    inside = (before[j] + t * length[j]) - (before[i] + s * length[i])
    total = float(before[-1])
    shorter = np.minimum(inside, total - inside)
    found = (gap <= _TOUCH_MM) & (shorter > _SHARP * gap)
    if not found.any():
        return None
    return _Touches(
        np.stack([i[found], j[found]], axis=1),
        np.stack([s[found], t[found]], axis=1),
        gap[found],
        inside[found],
        total,
    )


@dataclass(frozen=True, eq=False)
class _Excursion:
    """A way from a place back to it.

    Attributes:
        ring: the whole ring, turned so that the way begins behind its first point.
        way: how many points lie on it; they are the ring's second and following.
        place: (3,) float64.
        length_mm: of the way.
        is_spur: whether its two sides lie beside each other.
    """

    ring: Ring
    way: int
    place: FloatArray
    length_mm: float
    is_spur: bool


def _longest_to_cut(ring: Ring, touches: _Touches) -> _Excursion | None:
    """The longest way from a place back to it that is a spur or a small loop.

    None where there is none, or where a way back is too long for either: what lies on it must not
    be nibbled away from its end.
    """
    if touches.shorter_mm.max() > 2.0 * LONGEST_SPUR_MM:
        return None
    least = min(LOOP_MM, _LEAST_SHARE * touches.total_mm)
    for k in np.argsort(-touches.shorter_mm, kind="stable"):
        length = float(touches.shorter_mm[k])
        found = _excursion(ring, touches, int(k), length)
        if found.is_spur or length <= least:
            return found
    return None


def _excursion(ring: Ring, touches: _Touches, k: int, length: float) -> _Excursion:
    i, j = touches.steps[k].tolist()
    start = ring.points[[i, j]]
    end = ring.points[[(i + 1) % len(ring.points), (j + 1) % len(ring.points)]]
    place: FloatArray = (start + touches.shares[k][:, None] * (end - start)).mean(axis=0)
    if touches.inside_mm[k] > length:
        i, j = j, i
    turned = ring.turned(i)
    way = (j - i) % len(ring.points)
    return _Excursion(turned, way, place, length, _is_spur(place, turned.points[1 : way + 1]))


def _is_spur(place: FloatArray, way: FloatArray) -> bool:
    """Whether the two sides of a way from a place back to it lie beside each other."""
    tip = int(np.linalg.norm(way - place, axis=1).argmax())
    out = np.concatenate([place[None], way[: tip + 1]])
    back = np.concatenate([way[tip:], place[None]])
    return bool(max(to_line(out, back).max(), to_line(back, out).max()) <= SPUR_MM)


def _without(excursion: _Excursion) -> tuple[Ring, str]:
    """The ring without a way from a place back to it, and a sentence on it."""
    old, way = excursion.ring, excursion.way
    gone = [mark for mark in old.mark[1 : way + 1] if mark is not None]
    note = _note(old.number_before(0), gone, excursion)
    here: Mark | None = None
    for mark in gone:
        taken = mark.node if here is None else with_edge_of(mark.node, here.node)
        here = Mark(taken, mark.number)
    points = np.concatenate([old.points[:1], excursion.place[None], old.points[way + 1 :]])
    marks = [old.mark[0], here, *old.mark[way + 1 :]]
    followed = np.concatenate([old.followed[:1], old.followed[way:]])
    kept = np.concatenate([old.kept[:1], [True], old.kept[way + 1 :]])
    return merged(Ring(points, marks, followed, kept)), note


def _note(before: int, gone: Sequence[Mark], excursion: _Excursion) -> str:
    what = (
        f"ran {_length(0.5 * excursion.length_mm)} out and back along itself"
        if excursion.is_spur
        else f"ran in a loop of {_length(excursion.length_mm)}"
    )
    numbers = sorted({mark.number for mark in gone})
    with_them = f", with {_points(numbers)}" if numbers else ""
    lost = [mark.node.name for mark in gone if mark.node.corner][:-1]
    edges = "".join(f" The edge {f'“{name}” ' if name else ''}lay on it." for name in lost)
    return f"Behind point {before} the line {what}; that is left out{with_them}.{edges}"


def _points(numbers: Sequence[int]) -> str:
    if len(numbers) == 1:
        return f"point {numbers[0]}"
    return f"points {', '.join(str(n) for n in numbers[:-1])} and {numbers[-1]}"


def _length(mm: float) -> str:
    return f"{mm:.0f} mm" if mm >= 1.0 else f"{mm:.1g} mm"
