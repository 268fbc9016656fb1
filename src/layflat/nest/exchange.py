"""Pieces that are nearly alike change places, so that the larger one lies where there is room.

Which pieces make a section as long as it is, and beside which of them there is room to spare, hangs
on the section. Two hoods of different cars, say, lie nearly as well in each other's place: after
the change all pieces of both sections are parted and moved together (`layflat.nest.squeeze`),
which takes a few hundredths of a second where packing them anew takes a second.
"""

import random
from collections.abc import Sequence

import numpy as np
from shapely import Polygon, affinity

from layflat.base import FloatArray
from layflat.nest.closer import closer, is_sound
from layflat.nest.pack import Pack, Spot, make_pack
from layflat.nest.parts import Frame, Part
from layflat.nest.squeeze import parted

_LIKE = 0.86
"""What part of the area that either covers both must cover, so that a change is tried."""
_MOST_LARGER = 1.3
"""By area; a quick test before that one."""
_LOOKS = 40
"""So many pairs are looked at in one step."""
_WORTH_MM = 0.3

_Change = tuple[Pack, int, Pack, int]
_Tried = tuple[tuple[Spot, ...], int, tuple[Spot, ...], int]


class Exchange:
    """Tries changes of places in a layout, each of them once."""

    def __init__(self, frame: Frame, *, choice: random.Random) -> None:
        """Nothing is tried yet.

        Args:
            frame: the usable width, the longest section and the gap.
            choice: where chance comes from.
        """
        self._frame = frame
        self._choice = choice
        self._layout: tuple[Pack, ...] = ()
        self._ready: list[_Change] = []
        self._done: set[_Tried] = set()
        self._likeness: dict[tuple[int, float, int], tuple[float, float]] = {}

    def step(self, best: Sequence[Pack]) -> list[Pack]:
        """Try one change; the layout after it if it is shorter, its new packs last.

        Args:
            best: sound packs, a section each.

        Returns:
            Sound packs with the same pieces; none where nothing was gained, or nothing is left to
            be tried.
        """
        if tuple(best) != self._layout:
            self._layout = tuple(best)
            self._ready = self._changes(best)
        for _ in range(min(_LOOKS, len(self._ready))):
            change = self._ready.pop()
            turns = self._turns(change)
            if turns is None:
                continue
            self._done.add(_key(change))
            fresh = self._after(change, *turns)
            if not fresh:
                return []
            out = {id(change[0]), id(change[2])}
            return [*(pack for pack in best if id(pack) not in out), *fresh]
        return []

    def _changes(self, best: Sequence[Pack]) -> list[_Change]:
        """All pairs of places that were not tried, with pieces of about one size, by chance."""
        spots = [(pack, at) for pack in best for at in range(len(pack.spots))]
        found = []
        for first, (pack, at) in enumerate(spots):
            part = pack.spots[at].part
            for other, place in spots[first + 1 :]:
                with_part = other.spots[place].part
                sizes = sorted((part.area_mm2, with_part.area_mm2))
                change = (pack, at, other, place)
                is_like = part is not with_part and sizes[1] <= _MOST_LARGER * sizes[0]
                if is_like and _key(change) not in self._done:
                    found.append(change)
        self._choice.shuffle(found)
        return found

    def _turns(self, change: _Change) -> tuple[float, float] | None:
        """How the first place's piece is turned in the second one, and the other way round."""
        first, second = change[0].spots[change[1]], change[2].spots[change[3]]
        there, like = self._turn_in(second, first.part)
        back, like_back = self._turn_in(first, second.part)
        return (there, back) if min(like, like_back) >= _LIKE else None

    def _turn_in(self, spot: Spot, part: Part) -> tuple[float, float]:
        """The turn at which a part is most like the piece that lies there, and how like it is."""
        key = (spot.part.index, spot.turn_deg, part.index)
        if key not in self._likeness:
            lies = affinity.rotate(Polygon(spot.part.grown), spot.turn_deg, origin=(0, 0))
            ways = []
            for turn in part.turns or (spot.turn_deg,):
                comes = affinity.rotate(Polygon(part.grown), turn, origin=(0, 0))
                both = lies.intersection(comes).area
                ways.append((both / (lies.area + comes.area - both), turn))
            like, turn = max(ways)
            self._likeness[key] = (turn, like)
        return self._likeness[key]

    def _after(self, change: _Change, there: float, back: float) -> list[Pack]:
        """The sections after a change, moved together; none where they are no shorter."""
        pack, at, other, place = change
        goes, comes = pack.spots[at], other.spots[place]
        spots, others = list(pack.spots), list(other.spots)
        if other is pack:
            others = spots
        spots[at] = self._in_place(comes.part, back, goes)
        others[place] = self._in_place(goes.part, there, comes)
        sections = [(spots, pack.length_mm)]
        if other is not pack:
            sections.append((others, other.length_mm))
        if goes.part.area_mm2 < comes.part.area_mm2:
            sections.reverse()
        # The section that gets the smaller piece must get shorter, or nothing is gained.
        spare = -_WORTH_MM
        fresh: list[Pack] = []
        for own, length in sections:
            most = min(length + spare, self._frame.longest_mm)
            made = parted(make_pack(own), self._frame, most_mm=most)
            if made is None:
                return []
            made = closer(made, self._frame)
            spare += length - made.length_mm
            fresh.append(made)
        return fresh if all(is_sound(one, self._frame) for one in fresh) else []

    def _in_place(self, part: Part, turn_deg: float, spot: Spot) -> Spot:
        """A part where another piece lies, centre on centre, and within the roll's width."""
        offset = _centre(spot) - _centre(Spot(part, turn_deg, 0.0, 0.0))
        found = Spot(part, turn_deg, float(offset[0]), float(offset[1]))
        _, low, _, high = found.box()
        inwards = max(0.0, -low) - max(0.0, high - self._frame.usable_mm)
        return found._replace(y_mm=found.y_mm + inwards)


def _key(change: _Change) -> _Tried:
    """Packs of the same places are the same, whichever section they are."""
    pack, at, other, place = change
    return pack.spots, at, other.spots, place


def _centre(spot: Spot) -> FloatArray:
    angle = np.radians(spot.turn_deg)
    cos, sin = np.cos(angle), np.sin(angle)
    x, y = spot.part.centre
    return np.array([cos * x - sin * y + spot.x_mm, sin * x + cos * y + spot.y_mm])
