"""A layout as a drawing and as a report."""

from dataclasses import replace
from typing import Any

import numpy as np

from layflat.nest.layout import Layout, Placement, Section, Stock
from layflat.pattern import Curve, Drawing, Pattern, place


def placed_pattern(placement: Placement) -> Pattern:
    """The placement's pattern moved to where it lies, its number and name as its name."""
    moved = place(
        placement.pattern,
        turn_deg=placement.turn_deg,
        x_mm=placement.x_mm,
        y_mm=placement.y_mm,
        mirrored=placement.mirrored,
    )
    return replace(moved, name=f"{placement.number} {placement.pattern.name}")


def layout_drawing(layout: Layout) -> Drawing:
    """The layout as a drawing: a STOCK rectangle per section, the pieces moved into place.

    Each piece is named by its number and its pattern's name, so that its label, inside the
    piece, tells both; the numbers follow the order of cutting.
    """
    return Drawing(
        patterns=tuple(placed_pattern(placement) for placement in layout.placements),
        stock=tuple(_rectangle(section, layout.stock) for section in layout.sections),
        notes=layout.notes,
    )


def _rectangle(section: Section, stock: Stock) -> Curve:
    x0, x1, width = section.start_mm, section.end_mm, stock.width_mm
    points = np.array([[x0, 0.0], [x1, 0.0], [x1, width], [x0, width]])
    return Curve(points_mm=points, bulges=np.zeros(4))


def layout_report(layout: Layout) -> dict[str, Any]:
    """The layout in numbers, for a report's `results`; lengths in mm, turns in degrees."""
    return {
        "length_mm": layout.length_mm,
        "yield": layout.yield_,
        "lower_bound_mm": layout.lower_bound_mm,
        "piece_area_mm2": layout.piece_area_mm2,
        "width_mm": layout.stock.width_mm,
        "edge_margin_mm": layout.stock.edge_margin_mm,
        "end_margin_mm": layout.stock.end_margin_mm,
        "gap_mm": layout.gap_mm,
        "seconds": layout.seconds,
        "sections": [
            {
                "start_mm": section.start_mm,
                "end_mm": section.end_mm,
                "pieces": [p.number for p in layout.placements if p.section == i],
            }
            for i, section in enumerate(layout.sections)
        ],
        "placements": [
            {
                "piece": placement.pattern.name,
                "number": placement.number,
                "copy": placement.copy,
                "section": placement.section + 1,
                "turn_deg": placement.turn_deg,
                "mirrored": placement.mirrored,
                "x_mm": placement.x_mm,
                "y_mm": placement.y_mm,
            }
            for placement in layout.placements
        ],
    }
