"""In which order sections are cut, and the numbers of their pieces."""

import math
from collections.abc import Iterable, Sequence
from itertools import combinations, groupby, permutations

import numpy as np

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


def _in_turn(packs: Sequence[Pack]) -> list[Pack]:
    ordered = sorted(packs, key=lambda pack: (pack.window, *_key(pack)))
    if all(spot.part.request.lay is None for pack in packs for spot in pack.spots):
        return ordered
    found: list[Pack] = []
    for _, group in groupby(ordered, key=lambda pack: pack.window):
        held = list(group)
        if len(held) <= _MOST_TRIED:
            held = list(min(permutations(held), key=_late))
        found += held
    return found


def _key(pack: Pack) -> tuple[float, float]:
    """The mean turn in laying, as far as turns are given, then the fullest first."""
    turns = [turn for turn in _turns(pack) if math.isfinite(turn)]
    area = sum(spot.part.area_mm2 for spot in pack.spots)
    return (sum(turns) / len(turns) if turns else math.inf), -area / pack.length_mm


def _turns(pack: Pack) -> list[float]:
    lays = (spot.part.request.lay for spot in pack.spots)
    return [math.inf if lay is None else float(lay) for lay in lays]


def _late(packs: Iterable[Pack]) -> int:
    """How many pairs of pieces are cut the other way round than they are laid."""
    turns = [np.array(_turns(pack)) for pack in packs]
    return sum(
        int((first[:, None] > second[None, :]).sum()) for first, second in combinations(turns, 2)
    )
