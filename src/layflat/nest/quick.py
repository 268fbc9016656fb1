"""Quick packs of some of many pieces, for whoever compares ways to share them out over rolls."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from shapely import Polygon

from layflat.nest.fronts import Rims, front_layout, turned_rims
from layflat.nest.layout import Request, Stock
from layflat.nest.outward import ring_points
from layflat.nest.parts import Frame, fitting_turns, make_frame
from layflat.nest.turns import QUARTER_TURNS_DEG, turn_between


@dataclass(frozen=True)
class QuickPack:
    """Pieces that go into one section, by an estimate without search.

    Attributes:
        counts: of each request.
        length_mm: of the section, its end margins included.
    """

    counts: tuple[int, ...]
    length_mm: float


class QuickStock:
    """One kind of film as the quick estimates see it: its width and margins, not its length.

    Attributes:
        misfits: why a request does not fit, by its place; those that fit are not in it.
    """

    def __init__(
        self,
        requests: Sequence[Request],
        stock: Stock,
        *,
        gap_mm: float,
        max_section_mm: float | None,
    ) -> None:
        """Make the pieces ready.

        Raises:
            InputError: a length or an outline cannot be used.
        """
        self._stock = replace(stock, length_mm=None, faults=())
        self._ends_mm = max(2 * stock.end_margin_mm, gap_mm)
        self._frame = make_frame(self._stock, gap_mm=gap_mm, max_section_mm=max_section_mm)
        self._rims: list[tuple[Rims, ...]] = []
        self._least_mm: list[float] = []
        self.misfits: dict[int, str] = {}
        for i, request in enumerate(requests):
            polygon, turns = fitting_turns(request, self._frame)
            if isinstance(turns, str):
                self.misfits[i] = f"{turns}."
                self._rims.append(())
                self._least_mm.append(math.inf)
                continue
            grown = polygon.buffer(0.5 * gap_mm).area
            self._least_mm.append(float(grown) / (self._frame.usable_mm + gap_mm))
            self._rims.append(_rims(polygon, turns, gap_mm))

    def packs(
        self, counts: Sequence[int], *, longest_mm: float = math.inf, orders: int = 2
    ) -> list[QuickPack]:
        """These pieces in sections; those that fit into none are left out.

        Args:
            counts: of each request.
            longest_mm: the longest section, its end margins included, if shorter than usual.
            orders: how many orders are tried beside the two usual ones.
        """
        frame = self._shorter(longest_mm)
        if frame is None:
            return []
        held = [i for i, count in enumerate(counts) for _ in range(count)]
        pieces = [self._rims[i] for i in held]
        stretches = front_layout(pieces, frame, ends_mm=self._ends_mm, orders=orders)
        packs = []
        for stretch in stretches:
            inside = [0] * len(counts)
            for spot in stretch.spots:
                inside[held[spot.piece]] += 1
            length = float(stretch.front.max()) - frame.gap_mm + self._ends_mm
            packs.append(QuickPack(tuple(inside), length))
        return packs

    def least_mm(self, request: int) -> float:
        """What one piece adds to the film of any roll of this kind at least, in mm.

        The film of a roll is no less than the sum over its pieces, and two end margins less a gap;
        the proof is that of the lower bound by area (t = 0).
        """
        return self._least_mm[request]

    def _shorter(self, longest_mm: float) -> Frame | None:
        longest = min(self._frame.longest_mm, longest_mm - self._ends_mm)
        return replace(self._frame, longest_mm=longest) if longest > 0 else None


def _rims(polygon: Polygon, turns: tuple[float, ...], gap_mm: float) -> tuple[Rims, ...]:
    nearest = [
        min(turns, key=lambda turn: abs(turn_between(turn, quarter)))
        for quarter in QUARTER_TURNS_DEG
    ]
    return turned_rims(
        ring_points(polygon),
        around_mm=0.5 * gap_mm,
        turns_deg=tuple(dict.fromkeys(nearest)),
    )
