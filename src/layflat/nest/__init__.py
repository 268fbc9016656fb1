"""Stock and layouts: pieces on a roll, in sections."""

from layflat.nest.check import check_layout
from layflat.nest.drawing import layout_drawing, layout_report, placed_pattern
from layflat.nest.fronts import Rims, front_layout, fronts_length_mm, turned_rims
from layflat.nest.layout import Layout, Placement, Request, Section, Stock
from layflat.nest.parts import Frame
from layflat.nest.place import place
from layflat.nest.turns import parse_turns

__all__ = [
    "Frame",
    "Layout",
    "Placement",
    "Request",
    "Rims",
    "Section",
    "Stock",
    "check_layout",
    "front_layout",
    "fronts_length_mm",
    "layout_drawing",
    "layout_report",
    "parse_turns",
    "place",
    "placed_pattern",
    "turned_rims",
]
