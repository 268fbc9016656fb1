"""Stock and layouts: pieces on a roll, in sections."""

from layflat.nest.check import check_layout
from layflat.nest.drawing import layout_drawing, layout_report, placed_pattern
from layflat.nest.layout import Layout, Placement, Request, Section, Stock
from layflat.nest.place import place
from layflat.nest.turns import parse_turns

__all__ = [
    "Layout",
    "Placement",
    "Request",
    "Section",
    "Stock",
    "check_layout",
    "layout_drawing",
    "layout_report",
    "parse_turns",
    "place",
    "placed_pattern",
]
