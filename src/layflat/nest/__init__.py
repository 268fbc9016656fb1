"""Stock and layouts: pieces on a roll, in sections."""

from layflat.nest.by_hand import HandJudgement, judge_hand
from layflat.nest.check import check_layout
from layflat.nest.drawing import layout_drawing, layout_report, placed_pattern
from layflat.nest.faults import Window, windows_of
from layflat.nest.findings import Fault, Finding
from layflat.nest.fronts import Rims, front_layout, fronts_length_mm, turned_rims
from layflat.nest.layout import Layout, Placement, Request, Section, Stock, Stretch
from layflat.nest.least import least_length_mm
from layflat.nest.offcuts import FilmAccount, Offcut, film_account, offcuts_of
from layflat.nest.parts import Frame
from layflat.nest.place import place
from layflat.nest.quick import QuickPack, QuickStock
from layflat.nest.turns import parse_turns

__all__ = [
    "Fault",
    "FilmAccount",
    "Finding",
    "Frame",
    "HandJudgement",
    "Layout",
    "Offcut",
    "Placement",
    "QuickPack",
    "QuickStock",
    "Request",
    "Rims",
    "Section",
    "Stock",
    "Stretch",
    "Window",
    "check_layout",
    "film_account",
    "front_layout",
    "fronts_length_mm",
    "judge_hand",
    "layout_drawing",
    "layout_report",
    "least_length_mm",
    "offcuts_of",
    "parse_turns",
    "place",
    "placed_pattern",
    "turned_rims",
    "windows_of",
]
