"""Patterns: from the flat mesh to smooth outlines, edges finished, and drawings in and out."""

from layflat.pattern.curve import (
    bounds,
    corners,
    curve_area_mm2,
    curve_length_mm,
    reverse,
    sample,
    transform,
)
from layflat.pattern.drawing import Drawing, Layer, Text
from layflat.pattern.dxf_write import dxf_text
from layflat.pattern.piece import (
    Curve,
    EdgeFinish,
    EdgeRecord,
    Finish,
    Mark,
    MarkKind,
    Pattern,
)
from layflat.pattern.read import read_drawing
from layflat.pattern.shape import pattern_area_mm2, place, to_polygon

__all__ = [
    "Curve",
    "Drawing",
    "EdgeFinish",
    "EdgeRecord",
    "Finish",
    "Layer",
    "Mark",
    "MarkKind",
    "Pattern",
    "Text",
    "bounds",
    "corners",
    "curve_area_mm2",
    "curve_length_mm",
    "dxf_text",
    "pattern_area_mm2",
    "place",
    "read_drawing",
    "reverse",
    "sample",
    "to_polygon",
    "transform",
]
