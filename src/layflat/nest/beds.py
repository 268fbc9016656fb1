"""Sections in the making, of which some hold pieces that stay where they are."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from layflat.nest.faults import Window
from layflat.nest.pack import Spot

_LEAST_MM = 1e-6


@dataclass(frozen=True, kw_only=True)
class Bed:
    """One section in the making; y from the edge margin.

    Attributes:
        start_mm: where it begins along the roll.
        held: pieces that stay where they are, and with them the section's start; x along the roll.
        free: the others; x from the section's start.
    """

    start_mm: float
    held: tuple[Spot, ...] = ()
    free: tuple[Spot, ...] = ()

    def spots(self) -> list[Spot]:
        """All its pieces, the held ones first; x from the section's start."""
        start = self.start_mm
        return [*(spot._replace(x_mm=spot.x_mm - start) for spot in self.held), *self.free]


@dataclass(frozen=True, kw_only=True)
class Roll:
    """What sections lie on.

    Attributes:
        longest_mm: the longest stretch of pieces in one.
        end_margin_mm: at both of its ends.
        spacing_mm: between two.
        windows: sound film.
        boxes: exact boxes of pieces by part and turn, about their origins; filled as they are used.
    """

    longest_mm: float
    end_margin_mm: float
    spacing_mm: float
    windows: Sequence[Window]
    boxes: dict[tuple[int, float], tuple[float, float, float, float]]

    def box(self, spot: Spot) -> tuple[float, float, float, float]:
        """The exact box of a piece where it lies."""
        key = (spot.part.index, spot.turn_deg)
        if key not in self.boxes:
            self.boxes[key] = spot.part.bounds(spot.turn_deg)
        x0, y0, x1, y1 = self.boxes[key]
        return x0 + spot.x_mm, y0 + spot.y_mm, x1 + spot.x_mm, y1 + spot.y_mm

    def length_mm(self, bed: Bed) -> float:
        """How long a section is, with its end margins; 0 without pieces."""
        ends = [self.box(spot)[2] for spot in bed.spots()]
        return max(ends) + self.end_margin_mm if ends else 0.0

    def lined_up(self, beds: Sequence[Bed]) -> list[Bed] | None:
        """Sections one after the other, as near to the roll's start as those with held pieces let.

        None if one is too long, or does not end before what is held begins.
        """
        found: list[Bed] = []
        reached = 0.0
        for bed in beds:
            if not bed.held and not bed.free:
                continue
            length = self.length_mm(bed)
            if length - 2 * self.end_margin_mm > self.longest_mm + _LEAST_MM:
                return None
            start = self._start(bed, reached, length)
            if start is None:
                return None
            found.append(bed if bed.held else replace(bed, start_mm=start))
            reached = start + length + self.spacing_mm
        return found

    def _start(self, bed: Bed, reached: float, length: float) -> float | None:
        if not bed.held:
            return next(
                max(reached, window.start_mm)
                for window in self.windows
                if max(reached, window.start_mm) + length <= window.end_mm + _LEAST_MM
            )
        fits = bed.start_mm >= reached - _LEAST_MM and any(
            window.start_mm - _LEAST_MM <= bed.start_mm
            and bed.start_mm + length <= window.end_mm + _LEAST_MM
            for window in self.windows
        )
        return bed.start_mm if fits else None

    def film_mm(self, beds: Sequence[Bed]) -> float:
        """How far sections that are lined up reach."""
        return beds[-1].start_mm + self.length_mm(beds[-1])

    def room_mm(self, beds: Sequence[Bed], index: int) -> float:
        """How far from its start a section's pieces may reach before it hits what is held behind.

        Those between may move on; past faults that is for `lined_up` to see.
        """
        bed = beds[index]
        most = self.end_margin_mm + self.longest_mm
        behind = next((i for i in range(index + 1, len(beds)) if beds[i].held), None)
        if behind is not None:
            before = beds[behind - 1]
            end = before.start_mm + self.length_mm(before)
            slack = beds[behind].start_mm - self.spacing_mm - end
            most = min(most, self.length_mm(bed) + slack - self.end_margin_mm)
        if bed.held:
            end = min((w.end_mm for w in self.windows if w.end_mm > bed.start_mm), default=math.inf)
            most = min(most, end - bed.start_mm - self.end_margin_mm)
        return most


def pieces(beds: Sequence[Bed]) -> Iterator[tuple[int, int, Spot]]:
    """Every piece that is free: its section, its place there, and where it lies."""
    for i, bed in enumerate(beds):
        for k, spot in enumerate(bed.free):
            yield i, k, spot
