"""Pieces put into the waste of a section that is packed already: there they cost no film.

The engine packs the pieces of a group as short as it can; what lies between them may yet hold a
small piece of another group. Where its origin may be follows from no-fit regions
(`layflat.nest.nofit`). They are reckoned only where the largest circle inside the piece goes in.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np
import shapely
from shapely import Polygon, affinity

from layflat.base import FloatArray
from layflat.nest.closer import is_sound
from layflat.nest.groups import Group
from layflat.nest.nofit import NoFit
from layflat.nest.pack import Pack, Spot
from layflat.nest.parts import Frame, Part

_CIRCLE = 0.98
"""The largest circle is found to a hundredth, and chords stand for the arcs round a room."""
_TOLERANCE = 0.01
_MOST_TURNS = 4
"""Of pieces that may take many turns so many are tried."""
_LARGEST = 0.1
"""Pieces of more than this part of the longest section are not looked at."""
_SLACK_PART, _LEAST_SLACK_MM = 0.25, 0.4


class Fills(Protocol):
    """What puts pieces into a pack's waste."""

    def filled(self, pack: Pack, spare: Group) -> Pack:
        """The pack with as many of some pieces as its waste holds."""
        ...


@dataclass(frozen=True)
class _Circle:
    """The largest circle inside a piece, in the piece's coordinates."""

    centre: FloatArray
    radius: float


class Filler:
    """Fills the waste of packs; what was reckoned for a pack is kept."""

    def __init__(self, parts: Sequence[Part], frame: Frame) -> None:
        """Nothing is reckoned before it is asked for.

        Args:
            parts: all there are, in the order of their index.
            frame: the usable width, the longest section and the gap.
        """
        self._parts = parts
        self._frame = frame
        self._nofit = NoFit(frame, slack_mm=max(_LEAST_SLACK_MM, _SLACK_PART * frame.gap_mm))
        most = _LARGEST * frame.usable_mm * frame.longest_mm
        small = [part for part in parts if part.area_mm2 <= most]
        self._largest_first = sorted(small, key=lambda part: -part.area_mm2)
        self._circles: dict[int, _Circle] = {}
        self._known: dict[tuple[Pack, int], Pack | None] = {}

    def filled(self, pack: Pack, spare: Group) -> Pack:
        """The pack, no longer, with as many of some pieces as its waste holds, large ones first.

        Args:
            pack: sound, and no longer than a section.
            spare: how many pieces of each part may be put in.

        Returns:
            A sound pack; the same one where nothing goes in.
        """
        for part in self._largest_first:
            for _ in range(spare[part.index]):
                fuller = self._with(pack, part)
                if fuller is None:
                    break
                pack = fuller
        return pack

    def _with(self, pack: Pack, part: Part) -> Pack | None:
        key = (pack, part.index)
        if key not in self._known:
            spot = self._room(pack, part)
            fuller = None if spot is None else replace(pack, spots=(*pack.spots, spot))
            is_good = fuller is not None and is_sound(fuller, self._frame)
            self._known[key] = fuller if is_good else None
        return self._known[key]

    def _room(self, pack: Pack, part: Part) -> Spot | None:
        """Where a piece goes in: of all rooms for its origin the least one, at a corner of it."""
        circle = self._circle(part)
        section = shapely.box(0.0, 0.0, pack.length_mm, self._frame.usable_mm)
        pieces = [_outline(spot) for spot in pack.spots]
        waste = section.difference(shapely.union_all(pieces))
        # Pieces lie a gap apart, but the section's ends are no pieces: the gap is left to them.
        cores = waste.buffer(-_CIRCLE * circle.radius)
        if cores.is_empty:
            return None
        reach = part.polygon.hausdorff_distance(shapely.Point(circle.centre)) + self._frame.gap_mm
        best: tuple[float, Spot] | None = None
        turns = part.fitting[:: -(-len(part.fitting) // _MOST_TURNS)]
        for core in shapely.get_parts(cores):
            near = [
                spot
                for spot, piece in zip(pack.spots, pieces, strict=True)
                if shapely.dwithin(core, piece, reach)
            ]
            for turn in turns:
                x0, y0, x1, y1 = part.bounds(turn)
                if x1 - x0 > pack.length_mm or y1 - y0 > self._frame.usable_mm:
                    continue
                inside = shapely.box(-x0, -y0, pack.length_mm - x1, self._frame.usable_mm - y1)
                centre = affinity.rotate(shapely.Point(circle.centre), turn, origin=(0, 0))
                room = affinity.translate(core, -centre.x, -centre.y).intersection(inside)
                for still in near:
                    if room.is_empty:
                        break
                    region = self._nofit.region(still.part, still.turn_deg, part, turn)
                    room = room.difference(affinity.translate(region, still.x_mm, still.y_mm))
                for one in shapely.get_parts(room):
                    if not one.is_empty and (best is None or one.area < best[0]):
                        x, y = min(shapely.get_coordinates(one).tolist())
                        best = (one.area, Spot(part, turn, x, y))
        return None if best is None else best[1]

    def _circle(self, part: Part) -> _Circle:
        if part.index not in self._circles:
            outline = Polygon(part.polygon.exterior)
            tolerance = _TOLERANCE * np.sqrt(outline.area)
            line = shapely.maximum_inscribed_circle(outline, tolerance=tolerance)
            self._circles[part.index] = _Circle(shapely.get_coordinates(line)[0], line.length)
        return self._circles[part.index]


def _outline(spot: Spot) -> Polygon:
    turned = affinity.rotate(Polygon(spot.part.polygon.exterior), spot.turn_deg, origin=(0, 0))
    return affinity.translate(turned, spot.x_mm, spot.y_mm)
