"""A quick layout without any search: each piece pushed back against those before it, in turn.

A piece is taken for its near and its far rim along the roll, row by row across it. What lies on the
roll already is a front, the farthest place taken in each row, and a piece goes where it makes the
roll longer by the least; thus pieces lie in each other's hollows, but holes are not filled. Some
orders are tried, and the shortest counts. It takes milliseconds.

The idea is that of level profiles in strip packing, generalised from boxes to outlines; common
practice of cutting by hand, no source.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from typing import Final

import numpy as np

from layflat.base import FloatArray, IntArray
from layflat.nest.outward import ring_points
from layflat.nest.pack import Pack, Spot, make_pack
from layflat.nest.parts import Frame, Part
from layflat.nest.push import pushed
from layflat.nest.turns import turn_between

MOST_PIECES: Final = 60
"""More than so many are left to the search: the fronts would take its time."""
_QUARTERS: Final = (0.0, 90.0, 180.0, 270.0)
_SAMPLE_MM = 4.0
_SLACK_MM = 1.0
"""Covers what sampling misses, where a layout is to be sound; it is pushed out again."""
_ORDERS = 4
_SAFE_LAID = 200
"""How many pieces are laid in all orders together; at most ten orders, at least two."""
_SEED = 5


@dataclass(frozen=True)
class Rows:
    """How the roll is parted across.

    Attributes:
        step_mm: the height of a row.
        is_safe: whether pieces are taken for no smaller than they are; else rows are rounded, which
            is right on average.
    """

    step_mm: float
    is_safe: bool

    def taken(self, high_mm: float) -> int:
        """How many rows a piece takes."""
        rows = high_mm / self.step_mm
        return max(1, int(np.ceil(rows - 1e-9) if self.is_safe else np.rint(rows)))

    def offered(self, wide_mm: float) -> int:
        """How many rows a roll has."""
        rows = wide_mm / self.step_mm
        return int(np.floor(rows + 1e-9) if self.is_safe else np.rint(rows))


QUICK: Final = Rows(12.0, is_safe=False)
"""For estimates."""
_SAFE: Final = Rows(6.0, is_safe=True)


@dataclass(frozen=True, eq=False)
class Rims:
    """A piece at one turn, with half the gap round it.

    Attributes:
        near, far: (rows,) float64, where it begins and ends along the roll in each row.
    """

    near: FloatArray
    far: FloatArray

    @cached_property
    def length_mm(self) -> float:
        """How much of the roll it takes by itself."""
        return float(self.far.max())


@dataclass(frozen=True)
class FrontSpot:
    """Where a piece comes to lie.

    Attributes:
        piece, turn: which, and which of its turns, by their places.
        x_mm, y_mm: where its grown box begins along and across the stretch.
    """

    piece: int
    turn: int
    x_mm: float
    y_mm: float


@dataclass(frozen=True, eq=False)
class Stretch:
    """One section to be: what lies on it, and the front that it makes.

    Attributes:
        front: (rows,) float64, the farthest place that is taken in each row.
        spots: in the order of laying.
    """

    front: FloatArray
    spots: tuple[FrontSpot, ...]


def turned_rims(
    outline_mm: FloatArray,
    *,
    around_mm: float,
    turns_deg: Sequence[float] = _QUARTERS,
    rows: Rows = QUICK,
) -> tuple[Rims, ...]:
    """A piece at some turns.

    Args:
        outline_mm: (k, 2) float64, closed, in order.
        around_mm: how far its rims lie from the outline: half the gap, and what it is larger by.
        turns_deg: counter-clockwise.
        rows: the same as for the layout.
    """
    points = _sampled(outline_mm)
    found = []
    for turn in turns_deg:
        angle = np.radians(turn)
        cos, sin = np.cos(angle), np.sin(angle)
        x, y = points.T
        found.append(
            _rims(np.column_stack((cos * x - sin * y, sin * x + cos * y)), around_mm, rows)
        )
    return tuple(found)


def _sampled(outline_mm: FloatArray) -> FloatArray:
    """Points along the outline so close that no row is missed."""
    after = np.roll(outline_mm, -1, axis=0)
    steps = np.maximum(np.ceil(np.linalg.norm(after - outline_mm, axis=1) / _SAMPLE_MM), 1)
    of = np.repeat(np.arange(len(outline_mm)), steps.astype(np.int64))
    first = np.cumsum(steps) - steps
    share = ((np.arange(len(of)) - first[of]) / steps[of])[:, None]
    points: FloatArray = outline_mm[of] + share * (after - outline_mm)[of]
    return points


def _rims(points: FloatArray, around: float, parted: Rows) -> Rims:
    x, y = (points - points.min(axis=0)).T
    rows = parted.taken(float(y.max()) + 2 * around)
    near, far = np.full(rows, np.inf), np.full(rows, -np.inf)
    for shift in (0.0, around, 2 * around):
        row = np.clip(((y + shift) / parted.step_mm).astype(np.int64), 0, rows - 1)
        np.minimum.at(near, row, x)
        np.maximum.at(far, row, x + 2 * around)
    # A row that no point fell into does not keep others away.
    near[~np.isfinite(near)] = far.max()
    far[~np.isfinite(far)] = 0.0
    return Rims(near, far)


def front_layout(
    pieces: Sequence[Sequence[Rims]],
    frame: Frame,
    *,
    ends_mm: float,
    rows: Rows = QUICK,
    orders: int = _ORDERS,
) -> list[Stretch]:
    """*pieces*, each at one of its turns, on as little of the roll as some orders give.

    Args:
        pieces: the turns of each piece (see `turned_rims`); one that fits at none is left out.
        frame: what a section offers.
        ends_mm: what a section takes beside its pieces.
        rows: the same as for the pieces.
        orders: how many are tried beside the largest and the longest first.
    """
    most = rows.offered(frame.usable_mm + frame.gap_mm)
    turns = [
        [
            (k, rims)
            for k, rims in enumerate(choices)
            if len(rims.near) <= most and rims.length_mm - frame.gap_mm <= frame.longest_mm + 1e-6
        ]
        for choices in pieces
    ]
    fitting = np.flatnonzero([bool(choices) for choices in turns])
    if not len(fitting):
        return []
    first = [turns[i][0][1] for i in fitting]
    areas = np.array([float(np.maximum(rims.far - rims.near, 0.0).sum()) for rims in first])
    longest = np.array([max(len(rims.near) for _, rims in turns[i]) for i in fitting])
    dice = np.random.default_rng(_SEED)
    tried = [np.argsort(-areas, kind="stable"), np.argsort(-longest, kind="stable")]
    if len(fitting) > 2:
        tried += [np.argsort(-areas * dice.uniform(0.6, 1.4, len(areas))) for _ in range(orders)]
    layouts = [_laid(fitting[order], turns, np.zeros(most), rows.step_mm, frame) for order in tried]
    return min(layouts, key=lambda found: fronts_length_mm(found, frame, ends_mm=ends_mm))


def fronts_length_mm(stretches: Sequence[Stretch], frame: Frame, *, ends_mm: float) -> float:
    """How much film a layout takes."""
    return sum(float(one.front.max()) - frame.gap_mm + ends_mm for one in stretches)


def _laid(
    order: Sequence[int] | np.ndarray[tuple[int], np.dtype[np.int64]],
    turns: Sequence[Sequence[tuple[int, Rims]]],
    bare: FloatArray,
    step_mm: float,
    frame: Frame,
) -> list[Stretch]:
    stretches: list[Stretch] = []
    for piece in (int(number) for number in order):
        best: tuple[float, float, int, Stretch] | None = None
        for index, held in enumerate([*stretches, Stretch(bare, ())]):
            if index == len(stretches) and best is not None:
                break
            for turn, rims in turns[piece]:
                found = _pushed(held, FrontSpot(piece, turn, 0.0, step_mm), rims, frame)
                if found is not None and (best is None or found[:2] < best[:2]):
                    best = (found[0], found[1], index, found[2])
        if best is None:
            continue
        if best[2] == len(stretches):
            stretches.append(best[3])
        else:
            stretches[best[2]] = best[3]
    return stretches


def _pushed(
    held: Stretch, asked: FrontSpot, rims: Rims, frame: Frame
) -> tuple[float, float, Stretch] | None:
    """A piece at its best place before a front: how much longer, how much waste, and what then.

    *asked* is placed a row up and at the roll's beginning.
    """
    front, length = held.front, rims.length_mm
    reach = frame.longest_mm + frame.gap_mm
    if front.min() + length > reach + rims.near.max():
        return None
    rows = len(rims.near)
    behind = front[_windows(len(front), rows)]
    starts = (behind - rims.near).max(axis=1)
    np.maximum(starts, 0.0, out=starts)
    longer = np.maximum(starts + (length - front.max()), 0.0)
    least = longer.min()
    # Of the places that make it longer by the least, the one with the least waste.
    among = np.flatnonzero(longer == least)
    waste = rows * starts[among] - behind[among].sum(axis=1)
    best = int(waste.argmin())
    at = int(among[best])
    start = float(starts[at])
    if start + length > reach + 1e-6:
        return None
    after = front.copy()
    after[at : at + rows] = np.maximum(start + rims.far, after[at : at + rows])
    spot = replace(asked, x_mm=start, y_mm=at * asked.y_mm)
    wasted = float(waste[best] + rims.near.sum())
    return float(least), wasted, Stretch(after, (*held.spots, spot))


@lru_cache(maxsize=500)
def _windows(most: int, rows: int) -> IntArray:
    """(places, rows) int64: the rows that a piece of so many rows takes, at each of its places."""
    return np.arange(most - rows + 1)[:, None] + np.arange(rows)


def front_packs(parts: Sequence[Part], frame: Frame, *, extra_mm: float) -> list[Pack]:
    """All pieces by their fronts, a pack for each section; [] where that is not for them.

    Whether the packs are sound is for the caller to see: rims are sampled.

    Args:
        parts: what is laid.
        frame: what a section offers.
        extra_mm: what a section takes beside its pieces.
    """
    held = [part for part in parts for _ in range(min(part.request.copies, MOST_PIECES + 1))]
    if not 1 < len(held) <= MOST_PIECES:
        return []
    around = 0.5 * frame.gap_mm + _SLACK_MM
    turns = {part.index: _turns(part) for part in parts}
    rims = {
        part.index: turned_rims(
            ring_points(part.polygon), around_mm=around, turns_deg=turns[part.index], rows=_SAFE
        )
        for part in parts
    }
    stretches = front_layout(
        [rims[part.index] for part in held],
        frame,
        ends_mm=extra_mm,
        rows=_SAFE,
        orders=min(10, max(2, _SAFE_LAID // len(held))),
    )
    if sum(len(stretch.spots) for stretch in stretches) < len(held):
        return []
    return [_pack(stretch, held, turns, around, frame) for stretch in stretches]


def _pack(
    stretch: Stretch,
    held: Sequence[Part],
    turns: Mapping[int, tuple[float, ...]],
    around: float,
    frame: Frame,
) -> Pack:
    """A stretch with its pieces themselves, against the edge margin and pushed together."""
    spots = []
    for spot in stretch.spots:
        part = held[spot.piece]
        turn = turns[part.index][spot.turn]
        x0, y0, _, _ = part.bounds(turn)
        spots.append(Spot(part, turn, spot.x_mm + around - x0, spot.y_mm + around - y0))
    low = min(spot.box()[1] for spot in spots)
    moved = [spot._replace(y_mm=spot.y_mm - low) for spot in spots]
    return pushed(make_pack(moved), gap_mm=frame.gap_mm)


def _turns(part: Part) -> tuple[float, ...]:
    """Of the turns at which a piece fits, those nearest to the quarter turns."""
    nearest = [
        min(part.fitting, key=lambda turn: abs(turn_between(turn, quarter)))
        for quarter in _QUARTERS
    ]
    return tuple(dict.fromkeys(nearest))
