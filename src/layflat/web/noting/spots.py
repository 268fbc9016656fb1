"""Where a fit note counts: a glove's tap is meant for the nearest edge, corner or cut-out."""

from functools import lru_cache
from typing import Final

import numpy as np

from layflat.base import FloatArray, InputError
from layflat.revise import NoteKind, Outline
from layflat.web.noting.models import FitNote
from layflat.web.patterns.keeping import kept_pattern

STRETCHED: Final = (NoteKind.SHORT, NoteKind.OVER, NoteKind.FINGER, NoteKind.FITS)
"""Kinds that may lie along a stretch of an edge."""
_REMEMBERED: Final = 64


def spots(
    outline: Outline, kind: NoteKind, at_mm: tuple[float, float], *, along_mm: float = 0.0
) -> FloatArray:
    """(2, 2) float64: where a note begins and ends on the laid pattern; twice one place, mostly.

    A note is meant for the nearest edge, or the nearest corner, however far off the tap was; that
    of a cut-out for where it was tapped.

    Args:
        outline: of the pattern.
        kind: of the note.
        at_mm: where it was tapped.
        along_mm: the length of its stretch.
    """
    point = np.array([at_mm], np.float64)
    if kind is NoteKind.SHIFT:
        return np.repeat(point, 2, axis=0)
    if kind is NoteKind.CORNER and len(outline.corners):
        corners = outline.curve.points_mm[outline.corners]
        nearest = int(np.argmin(np.hypot(*(corners - point).T)))
        return np.repeat(corners[[nearest]], 2, axis=0)
    half = 0.5 * along_mm if kind in STRETCHED else 0.0
    station, _ = outline.nearest(point)
    return outline.points(np.array([station[0] - half, station[0] + half]))


def drawn_at(note: FitNote) -> tuple[float, float]:
    """Where a note's mark is drawn, in the pattern's mm; where it was tapped if that is unknown."""
    tapped = (note.x_mm, note.y_mm)
    pattern = note.cut.piece.pattern
    if pattern is None:
        return tapped
    try:
        first, _ = spots(_outline(pattern.sha256), NoteKind(note.kind), tapped)
    except (InputError, ValueError):
        return tapped
    return float(first[0]), float(first[1])


# Contents are named by their hash and never change, so that each is read once.
@lru_cache(maxsize=_REMEMBERED)
def _outline(sha256: str) -> Outline:
    pattern = kept_pattern(sha256)
    return Outline(pattern.outline, pattern.outline_corners)
