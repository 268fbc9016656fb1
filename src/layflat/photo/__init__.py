"""Templates by photograph: from a picture of a traced sheet to outlines in millimetres."""

from layflat.photo.choose import Follow
from layflat.photo.correct import Accepted, Correction, NotALine, Outline, Spot, Through
from layflat.photo.load import Photo, load_photo, photo_from, photo_kind, photo_of
from layflat.photo.measure import Measured, measure
from layflat.photo.piece import STRAIN_UNKNOWN, drawing_of, pattern_of
from layflat.photo.readings import Reading, Scale, Span
from layflat.photo.records import (
    Frame,
    Landmark,
    PhotoError,
    Plane,
    Sheet,
    Traced,
    TracedCurve,
    Unsure,
)
from layflat.photo.sheet import (
    MARGIN_MM,
    MEASURE_AT_MM,
    MOST_SHEETS,
    RULER_ACROSS_MM,
    RULER_MM,
    black_cells,
    board_sheet,
    printed_frame,
)
from layflat.photo.trace import trace

__all__ = [
    "MARGIN_MM",
    "MEASURE_AT_MM",
    "MOST_SHEETS",
    "RULER_ACROSS_MM",
    "RULER_MM",
    "STRAIN_UNKNOWN",
    "Accepted",
    "Correction",
    "Follow",
    "Frame",
    "Landmark",
    "Measured",
    "NotALine",
    "Outline",
    "Photo",
    "PhotoError",
    "Plane",
    "Reading",
    "Scale",
    "Sheet",
    "Span",
    "Spot",
    "Through",
    "Traced",
    "TracedCurve",
    "Unsure",
    "black_cells",
    "board_sheet",
    "drawing_of",
    "load_photo",
    "measure",
    "pattern_of",
    "photo_from",
    "photo_kind",
    "photo_of",
    "printed_frame",
    "trace",
]
