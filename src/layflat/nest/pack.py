"""Packs: groups of pieces laid out within one stretch of the roll, as the search trades them."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from layflat.nest.engine import Found, Task
from layflat.nest.parts import Frame, Part
from layflat.nest.turns import turn_between
from layflat.pattern import Pattern, place


class Spot(NamedTuple):
    """Where a piece lies: its part, its turn, and its (mirrored) pattern's origin in mm."""

    part: Part
    turn_deg: float
    x_mm: float
    y_mm: float

    def box(self) -> tuple[float, float, float, float]:
        """The exact box of the piece where it lies."""
        x0, y0, x1, y1 = self.part.bounds(self.turn_deg)
        return x0 + self.x_mm, y0 + self.y_mm, x1 + self.x_mm, y1 + self.y_mm


@dataclass(frozen=True, eq=False)
class Pack:
    """Pieces in one stretch of the roll; x from 0 to `length_mm`, y from 0 at the edge margin.

    Attributes:
        spots: at least one.
        length_mm: from the first piece's beginning to the last one's end, exact.
        window: on which stretch of sound film it is cut, once it was chosen.
    """

    spots: tuple[Spot, ...]
    length_mm: float
    window: int = 0

    def patterns(self) -> list[Pattern]:
        """The patterns of the pieces, moved to where they lie."""
        return [
            place(
                spot.part.request.pattern,
                turn_deg=spot.turn_deg,
                x_mm=spot.x_mm,
                y_mm=spot.y_mm,
                mirrored=spot.part.request.mirrored,
            )
            for spot in self.spots
        ]

    def counts(self, kinds: int) -> tuple[int, ...]:
        """How many pieces of each part it holds, by the parts' index."""
        counts = [0] * kinds
        for spot in self.spots:
            counts[spot.part.index] += 1
        return tuple(counts)


def make_pack(spots: Iterable[Spot]) -> Pack:
    """The spots pushed along the roll until the first piece begins at 0."""
    placed = [(spot, spot.box()) for spot in spots]
    start = min(box[0] for _, box in placed)
    length = max(box[2] for _, box in placed) - start
    return Pack(tuple(spot._replace(x_mm=spot.x_mm - start) for spot, _ in placed), length)


def single_pack(part: Part) -> Pack:
    """One piece by itself, at the turn at which it takes the least length."""
    packs = [make_pack([Spot(part, turn, 0.0, 0.0)]) for turn in part.fitting]
    best = min(packs, key=lambda pack: pack.length_mm)
    # Against the lower edge margin.
    spot = best.spots[0]
    return make_pack([spot._replace(y_mm=spot.y_mm - spot.box()[1])])


def pack_found(found: Found, task: Task) -> Pack | None:
    """What the engine reported as a pack; None when pieces are missing, extra or wrongly turned.

    The engine turns a piece about its centre and knows no gap at the strip's edge; both are
    undone here. Turns are snapped to the allowed ones, since the engine counts in single
    precision.
    """
    spots: list[Spot] = []
    counts = [0] * len(task.parts)
    half_gap = 0.5 * task.frame.gap_mm
    for item, turn, x, y in found.spots:
        if not (0 <= item < len(task.parts) and np.isfinite((turn, x, y)).all()):
            return None
        counts[item] += 1
        part = task.parts[item]
        if part.turns is not None:
            snapped = min(part.turns, key=lambda allowed: abs(turn_between(turn, allowed)))
            if abs(turn_between(turn, snapped)) > 1e-2:
                return None
            turn = snapped
        angle = np.radians(turn)
        cos, sin = float(np.cos(angle)), float(np.sin(angle))
        cx, cy = part.centre.tolist()
        spots.append(
            Spot(
                part,
                float(turn) % 360.0,
                x - half_gap - (cos * cx - sin * cy),
                y - half_gap - (sin * cx + cos * cy),
            )
        )
    if tuple(counts) != task.counts:
        return None
    return make_pack(spots)


def sliced(pack: Pack, frame: Frame, *, first_mm: float = np.inf) -> list[Pack]:
    """A pack cut into packs no longer than a section, each with whole pieces, from the left.

    Pieces that end within the stretch stay in it; the others begin the next.

    Args:
        pack: what is cut.
        frame: what a section offers.
        first_mm: no more than so much is in the first pack, unless its first piece is longer.
    """
    rest = sorted(((spot, spot.box()) for spot in pack.spots), key=lambda pair: pair[1][0])
    packs: list[Pack] = []
    while rest:
        longest = frame.longest_mm if packs else min(first_mm, frame.longest_mm)
        end = rest[0][1][0] + longest + 1e-6
        inside = [pair for pair in rest if pair[1][2] <= end]
        if inside:
            rest = [pair for pair in rest if pair[1][2] > end]
        else:
            inside, rest = rest[:1], rest[1:]
        packs.append(make_pack(spot for spot, _ in inside))
    return packs


def sliced_ways(pack: Pack, frame: Frame, *, firsts_mm: Iterable[float]) -> list[Pack]:
    """The packs of a pack cut in several ways, a first one as long as each of *firsts_mm* at most.

    All of them are no longer than the shorter ones of *firsts_mm*, too, each taken in turn.
    """
    lengths = sorted({min(first, frame.longest_mm) for first in firsts_mm})
    ways = [sliced(pack, frame, first_mm=length) for length in lengths]
    ways += [
        sliced(pack, replace(frame, longest_mm=length)) for length in lengths[:-1] if length > 0
    ]
    return [one for way in ways for one in way]


def without_surplus(packs: Sequence[Pack], demand: Sequence[int]) -> list[Pack]:
    """The packs without pieces beyond the demand; those that shorten their pack go first."""
    left = [list(pack.spots) for pack in packs]
    counts = np.sum([pack.counts(len(demand)) for pack in packs], axis=0)
    for index, surplus in enumerate(counts - np.array(demand)):
        for _ in range(int(surplus)):
            holders = [i for i, spots in enumerate(left) if _holds(spots, index)]
            gains = [_gain(left[i], index) for i in holders]
            best = int(np.argmax([gain for gain, _ in gains]))
            left[holders[best]].pop(gains[best][1])
    return [
        replace(make_pack(spots), window=pack.window)
        for spots, pack in zip(left, packs, strict=True)
        if spots
    ]


def _holds(spots: Sequence[Spot], index: int) -> bool:
    return any(spot.part.index == index for spot in spots)


def _gain(spots: Sequence[Spot], index: int) -> tuple[float, int]:
    """How much shorter the pack gets without one piece of a part, and which piece that is."""
    whole = make_pack(spots).length_mm
    options = []
    for i, spot in enumerate(spots):
        if spot.part.index == index:
            others = [*spots[:i], *spots[i + 1 :]]
            options.append((whole - make_pack(others).length_mm if others else whole, i))
    return max(options)
