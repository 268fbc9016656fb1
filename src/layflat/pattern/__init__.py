"""Patterns: from the flat mesh to smooth outlines, edges finished, and drawings in and out."""

from layflat.pattern.curve import (
    bounds,
    corners,
    curve_area_mm2,
    curve_length_mm,
    element_lengths_mm,
    points_along,
    reverse,
    sample,
    tangent_turns,
    transform,
)
from layflat.pattern.drawing import Drawing, Layer, Text
from layflat.pattern.dxf_write import dxf_text
from layflat.pattern.fit import fit_curve
from layflat.pattern.fold import (
    SQUARE,
    UNSEEN,
    Fold,
    Limits,
    Reason,
    bend,
    depth_by_crowding,
    depth_by_stretch,
    fold_strain,
)
from layflat.pattern.from_flat import KeepOutShape, Made, from_flat
from layflat.pattern.mend_record import (
    Choice,
    Mending,
    OpenQuestionsError,
    Question,
)
from layflat.pattern.notches import Notch
from layflat.pattern.owners import unique_name
from layflat.pattern.piece import (
    STRAIN_UNKNOWN,
    Curve,
    EdgeFinish,
    EdgeRecord,
    Finish,
    Mark,
    MarkKind,
    Pattern,
)
from layflat.pattern.read import Reading, inspect_drawing, read_drawing, read_drawings
from layflat.pattern.relief import (
    TIP_RADIUS_MM,
    Slit,
    opening_mm,
    relief_name,
    relief_notes,
    reliefs_of,
)
from layflat.pattern.reshape import (
    EdgeWish,
    FreePlace,
    Reshaped,
    edge_lines,
    ordered_corners,
    reshape,
)
from layflat.pattern.shape import (
    coarse_polygon,
    pattern_area_mm2,
    pattern_cut_mm,
    place,
    to_polygon,
)
from layflat.pattern.stored import pattern_json, read_pattern_json
from layflat.pattern.svg_write import svg_text
from layflat.pattern.wrap_depth import WINDOW_DEPTHS, Depths
from layflat.pattern.wrap_flat import edge_vertices, wrap_limits

__all__ = [
    "SQUARE",
    "STRAIN_UNKNOWN",
    "TIP_RADIUS_MM",
    "UNSEEN",
    "WINDOW_DEPTHS",
    "Choice",
    "Curve",
    "Depths",
    "Drawing",
    "EdgeFinish",
    "EdgeRecord",
    "EdgeWish",
    "Finish",
    "Fold",
    "FreePlace",
    "KeepOutShape",
    "Layer",
    "Limits",
    "Made",
    "Mark",
    "MarkKind",
    "Mending",
    "Notch",
    "OpenQuestionsError",
    "Pattern",
    "Question",
    "Reading",
    "Reason",
    "Reshaped",
    "Slit",
    "Text",
    "bend",
    "bounds",
    "coarse_polygon",
    "corners",
    "curve_area_mm2",
    "curve_length_mm",
    "depth_by_crowding",
    "depth_by_stretch",
    "dxf_text",
    "edge_lines",
    "edge_vertices",
    "element_lengths_mm",
    "fit_curve",
    "fold_strain",
    "from_flat",
    "inspect_drawing",
    "opening_mm",
    "ordered_corners",
    "pattern_area_mm2",
    "pattern_cut_mm",
    "pattern_json",
    "place",
    "points_along",
    "read_drawing",
    "read_drawings",
    "read_pattern_json",
    "relief_name",
    "relief_notes",
    "reliefs_of",
    "reshape",
    "reverse",
    "sample",
    "svg_text",
    "tangent_turns",
    "to_polygon",
    "transform",
    "unique_name",
    "wrap_limits",
]
