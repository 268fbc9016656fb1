"""In which order sections are cut, and the numbers of their pieces."""

import math
from collections.abc import Sequence
from itertools import combinations, groupby, permutations

import numpy as np

from layflat.base import FloatArray
from layflat.nest.faults import Window
from layflat.nest.layout import Placement, Section, Stock
from layflat.nest.pack import Pack
from layflat.nest.parts import Part

_MOST_TRIED = 6
"""Sections of which every order is tried."""


def cut_order(
    packs: Sequence[Pack],
    parts: Sequence[Part],
    stock: Stock,
    windows: Sequence[Window],
    *,
    spacing_mm: float,
) -> tuple[tuple[Section, ...], tuple[Placement, ...]]:
    """The packs as sections one after the other, their pieces numbered along x.

    Where an order of laying is given, sections follow it as far as whole sections can: as few
    pieces as possible are cut after one that is laid later. Else the fullest comes first: the last
    section is then the one that leaves most of its width free, and the rest of the roll
    there is the most use as an offcut. On a roll with faults that holds within each window.
    """
    sections: list[Section] = []
    placements: list[Placement] = []
    copies = np.zeros(len(parts), dtype=int)
    start = 0.0
    for index, pack in enumerate(_in_turn(packs)):
        start = max(start, windows[pack.window].start_mm)
        end = start + pack.length_mm + 2 * stock.end_margin_mm
        sections.append(Section(start_mm=start, end_mm=end))
        for spot in sorted(pack.spots, key=lambda spot: spot.box()[:2]):
            part = spot.part
            copies[part.index] += 1
            placements.append(
                Placement(
                    pattern=part.request.pattern,
                    number=len(placements) + 1,
                    copy=int(copies[part.index]),
                    section=index,
                    turn_deg=spot.turn_deg,
                    x_mm=spot.x_mm + start + stock.end_margin_mm,
                    y_mm=spot.y_mm + stock.edge_margin_mm,
                    mirrored=part.request.mirrored,
                )
            )
        start = end + spacing_mm
    return tuple(sections), tuple(placements)


def in_laying_order(packs: Sequence[Pack]) -> list[Pack]:
    """Packs of one stretch of film in the order in which their pieces are laid.

    As few pairs of pieces as possible come the other way round; of more packs than can be tried in
    every order, those come first whose pieces are laid first on average. What is as good stays in
    the order in which it is given, and so does all where no order of laying is known.
    """
    turns = {pack: _turns(pack) for pack in packs}
    ordered = sorted(packs, key=lambda pack: _mean(turns[pack]))
    if len(packs) > _MOST_TRIED:
        return ordered
    late = {
        (first, second): int((turns[first][:, None] > turns[second]).sum())
        for first, second in permutations(ordered, 2)
    }
    return list(
        min(
            permutations(ordered),
            key=lambda order: sum(late[pair] for pair in combinations(order, 2)),
        )
    )


def _in_turn(packs: Sequence[Pack]) -> list[Pack]:
    ordered = sorted(packs, key=lambda pack: (pack.window, -_fullness(pack)))
    found: list[Pack] = []
    for _, group in groupby(ordered, key=lambda pack: pack.window):
        found += in_laying_order(list(group))
    return found


def _fullness(pack: Pack) -> float:
    return sum(spot.part.area_mm2 for spot in pack.spots) / pack.length_mm


def _turns(pack: Pack) -> FloatArray:
    """(n,) float64: turns in laying; infinite where none is given."""
    lays = (spot.part.request.lay for spot in pack.spots)
    return np.array([math.inf if lay is None else float(lay) for lay in lays])


def _mean(turns: FloatArray) -> float:
    """Of those that are given."""
    given = turns[np.isfinite(turns)]
    return float(given.mean()) if len(given) else math.inf
