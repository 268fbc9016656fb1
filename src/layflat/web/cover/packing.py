"""A quick layout of flat pieces on a roll: as long as a good one, found in milliseconds.

Each piece is taken for its near and its far rim along the roll, row by row across it, and is pushed
as far back on the roll as those before it allow; thus pieces lie in each other's hollows, as in a
real layout, but holes are not filled. Some orders are tried, and the shortest counts. No more than
an estimate: nothing is cut from it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from layflat.base import FloatArray

STEP_MM: Final = 12.0
"""The height of a row."""
_SAMPLE_MM = 4.0
_ORDERS = 4
_SEED = 5


@dataclass(frozen=True, eq=False)
class Rims:
    """A piece at one turn, with half the gap round it.

    Attributes:
        near, far: (rows,) float64, where it begins and ends along the roll in each row.
    """

    near: FloatArray
    far: FloatArray

    @property
    def length_mm(self) -> float:
        """How much of the roll it takes by itself."""
        return float(self.far.max())


@dataclass(frozen=True)
class Roll:
    """What pieces are laid on.

    Attributes:
        usable_mm: across, between the edge margins.
        longest_mm: the longest stretch of pieces in a section.
        ends_mm: what a section takes beside its pieces.
        gap_mm: between pieces.
    """

    usable_mm: float
    longest_mm: float
    ends_mm: float
    gap_mm: float

    @property
    def rows(self) -> int:
        """How many rows lie side by side."""
        return int((self.usable_mm + self.gap_mm) // STEP_MM)


def turned_rims(
    outline_mm: FloatArray, *, gap_mm: float, grown_mm: float = 0.0
) -> tuple[Rims, ...]:
    """A piece at its four quarter turns.

    Args:
        outline_mm: (k, 2) float64, closed, in order.
        gap_mm: between pieces.
        grown_mm: how much larger the piece is than its outline, all round.
    """
    after = np.roll(outline_mm, -1, axis=0)
    steps = np.maximum(np.ceil(np.linalg.norm(after - outline_mm, axis=1) / _SAMPLE_MM), 1)
    of = np.repeat(np.arange(len(outline_mm)), steps.astype(np.int64))
    first = np.cumsum(steps) - steps
    share = ((np.arange(len(of)) - first[of]) / steps[of])[:, None]
    points = outline_mm[of] + share * (after - outline_mm)[of]
    around = 0.5 * gap_mm + grown_mm
    lying = _rims(points, around)
    upright = _rims(np.column_stack((-points[:, 1], points[:, 0])), around)
    return (lying, _reversed(lying), upright, _reversed(upright))


def _rims(points: FloatArray, around: float) -> Rims:
    x, y = (points - points.min(axis=0)).T
    rows = max(1, int(np.ceil((y.max() + 2 * around) / STEP_MM)))
    near, far = np.full(rows, np.inf), np.full(rows, -np.inf)
    for shift in (0.0, around, 2 * around):
        row = np.minimum(((y + shift) / STEP_MM).astype(np.int64), rows - 1)
        np.minimum.at(near, row, x)
        np.maximum.at(far, row, x + 2 * around)
    # A row that no point fell into does not keep others away.
    near[~np.isfinite(near)] = far.max()
    far[~np.isfinite(far)] = 0.0
    return Rims(near, far)


def _reversed(rims: Rims) -> Rims:
    most = rims.length_mm
    return Rims(most - rims.far[::-1], most - rims.near[::-1])


def packed_length_mm(pieces: Sequence[Sequence[Rims]], roll: Roll) -> float:
    """How much film *pieces*, each at one of its turns, take; pieces that fit nowhere do not count.

    Args:
        pieces: the turns of each piece (see `turned_rims`).
        roll: what they are laid on.
    """
    fitting = [
        [
            rims
            for rims in turns
            if len(rims.near) <= roll.rows and rims.length_mm - roll.gap_mm <= roll.longest_mm
        ]
        for turns in pieces
    ]
    fitting = [turns for turns in fitting if turns]
    if not fitting:
        return 0.0
    areas = np.array([float((turns[0].far - turns[0].near).sum()) for turns in fitting])
    longest = np.array([max(len(rims.near) for rims in turns) for turns in fitting])
    dice = np.random.default_rng(_SEED)
    orders = [np.argsort(-areas), np.argsort(-longest, kind="stable")]
    orders += [np.argsort(-areas * dice.uniform(0.6, 1.4, len(areas))) for _ in range(_ORDERS)]
    return min(_length([fitting[i] for i in order], roll) for order in orders)


def _length(pieces: Sequence[Sequence[Rims]], roll: Roll) -> float:
    sections: list[FloatArray] = []
    for turns in pieces:
        best: tuple[float, float, int, FloatArray] | None = None
        for index, front in enumerate([*sections, np.zeros(roll.rows)]):
            if index == len(sections) and best is not None:
                break
            for rims in turns:
                found = _pushed(front, rims, roll)
                if found is not None and (best is None or found[:2] < best[:2]):
                    best = (*found[:2], index, found[2])
        if best is None:
            continue
        _, _, index, front = best
        if index == len(sections):
            sections.append(front)
        else:
            sections[index] = front
    return sum(float(front.max()) - roll.gap_mm + roll.ends_mm for front in sections)


def _pushed(front: FloatArray, rims: Rims, roll: Roll) -> tuple[float, float, FloatArray] | None:
    """The best place of a piece before a front: what the roll gets longer, the waste, the front."""
    rows = len(rims.near)
    behind = np.lib.stride_tricks.sliding_window_view(front, rows)
    starts = (behind - rims.near).max(axis=1)
    longer = np.maximum(starts + rims.length_mm - float(front.max()), 0.0)
    waste = rows * starts + rims.near.sum() - behind.sum(axis=1)
    at = int(np.lexsort((waste, longer))[0])
    if starts[at] + rims.length_mm - roll.gap_mm > roll.longest_mm:
        return None
    after = front.copy()
    after[at : at + rows] = np.maximum(starts[at] + rims.far, after[at : at + rows])
    return float(longer[at]), float(waste[at]), after
