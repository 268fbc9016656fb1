"""Sections that are known from earlier layouts, as packs to begin a search from."""

from collections.abc import Sequence

from layflat.nest.layout import Layout, Stock
from layflat.nest.pack import Pack, Spot, make_pack
from layflat.nest.parts import Part
from layflat.nest.turns import turn_between

_SAME_DEG = 1e-6


def known_packs(layouts: Sequence[Layout], parts: Sequence[Part], stock: Stock) -> list[Pack]:
    """The sections of *layouts* as packs of *parts*; pieces that are not among these are left out.

    Layouts on film of another width or edge margin are passed over. Whether a pack keeps the
    gap and goes into a section is for the search to see.
    """
    by_pattern: dict[tuple[int, bool], Part] = {}
    for part in parts:
        by_pattern.setdefault((id(part.request.pattern), part.request.mirrored), part)
    packs = []
    for layout in layouts:
        same = (layout.stock.width_mm, layout.stock.edge_margin_mm)
        if same != (stock.width_mm, stock.edge_margin_mm):
            continue
        spots: dict[int, list[Spot]] = {}
        for placement in layout.placements:
            held = by_pattern.get((id(placement.pattern), placement.mirrored))
            if held is not None and _may_lie(held, placement.turn_deg):
                spots.setdefault(placement.section, []).append(
                    Spot(
                        held,
                        placement.turn_deg,
                        placement.x_mm,
                        placement.y_mm - stock.edge_margin_mm,
                    )
                )
        packs += [make_pack(section) for section in spots.values()]
    return packs


def _may_lie(part: Part, turn_deg: float) -> bool:
    return part.turns is None or any(
        abs(turn_between(turn_deg, turn)) <= _SAME_DEG for turn in part.turns
    )
