"""From a traced template to a piece without a surface, as layouts, cutting and papers take it."""

import numpy as np

from layflat.base import FloatArray
from layflat.pattern import STRAIN_UNKNOWN as STRAIN_UNKNOWN
from layflat.pattern import Drawing, Mark, MarkKind, Pattern, corners
from layflat.photo.records import Landmark, Traced
from layflat.photo.trace import DEVIATION_MM

_ARM_MM = 4.0


def pattern_of(traced: Traced, *, name: str) -> Pattern:
    """The piece: outline, cut-outs, and landmarks as marks to align by.

    Its `deviation_mm` is how far the curve may lie from the traced line, intervals excepted: those
    are the trace's.
    """
    outline = next(curve.curve for curve in traced.curves if curve.kind == "outline")
    return Pattern(
        name=name,
        outline=outline,
        cut_outs=tuple(curve.curve for curve in traced.curves if curve.kind == "cut-out"),
        marks=tuple(mark for landmark in traced.landmarks for mark in _marks(landmark)),
        deviation_mm=DEVIATION_MM,
        outline_corners=corners(outline),
    )


def drawing_of(traced: Traced, *, name: str) -> Drawing:
    """The piece alone on a drawing, with the notes of the trace and what is not known."""
    notes = (*traced.notes, STRAIN_UNKNOWN)
    return Drawing(patterns=(pattern_of(traced, name=name),), notes=notes)


def _marks(landmark: Landmark) -> list[Mark]:
    """A landmark as two strokes that cross at its middle."""
    arms: list[FloatArray] = [np.array([_ARM_MM, 0.0]), np.array([0.0, _ARM_MM])]
    return [
        Mark(
            kind=MarkKind.ALIGN,
            points_mm=np.vstack((landmark.at_mm - arm, landmark.at_mm + arm)),
            text=landmark.kind,
        )
        for arm in arms
    ]
