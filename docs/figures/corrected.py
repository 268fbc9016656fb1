"""A piece before and after its fit notes, as the revision's sheet draws it."""

import math

import numpy as np

from figures.svg import PAPER
from layflat.papers import revision_picture
from layflat.pattern import Curve, Pattern
from layflat.revise import Note, NoteKind, Spot, revise

_CORNERS = ((0.0, 0.0), (600.0, 0.0), (600.0, 250.0), (450.0, 400.0), (0.0, 400.0))
_BULGES = (0.0, 0.0, math.tan(math.pi / 8.0), 0.0, 0.08)
_NOTED = (
    (NoteKind.SHORT, (-20.0, 300.0), (1.5,)),
    (NoteKind.SHORT, (-25.0, 120.0), (1.0,)),
    (NoteKind.FITS, (150.0, 0.0), ()),
    (NoteKind.FITS, (450.0, 0.0), ()),
    (NoteKind.OVER, (600.0, 120.0), (0.5,)),
    (NoteKind.FITS, (300.0, 400.0), ()),
)
_SIZE_MM = (200.0, 110.0)


def corrected_picture() -> str:
    """Six notes of one car round a piece, and the next revision."""
    hole = Curve(np.array([[180.0, 200.0], [220.0, 200.0]]), np.array([-1.0, -1.0]))
    base = Pattern("panel", Curve(np.array(_CORNERS), np.array(_BULGES)), cut_outs=(hole,))
    notes = [Note(kind, Spot(point), mm=mm) for kind, point, mm in _NOTED]
    width, height = _SIZE_MM
    svg, _ = revision_picture(revise(base, notes), width_mm=width, height_mm=height)
    head, rest = svg.split("\n", 1)
    return f'{head}\n<rect width="100%" height="100%" fill="{PAPER}"/>\n{rest}'
