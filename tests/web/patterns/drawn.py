"""A small pattern for tests: a cap with straight sides, one round corner and a hole."""

import math

import numpy as np

from layflat.pattern import Curve, Mark, MarkKind, Pattern


def a_pattern(name: str = "mirror-cap", *, wide_mm: float = 240.0) -> Pattern:
    """A piece of *wide_mm* by 140 mm with a hole of 20 mm across."""
    outline = Curve(
        np.array([[0, 0], [wide_mm, 0], [wide_mm, 100], [wide_mm - 40, 140], [0, 140]], float),
        np.array([0, 0, np.tan(np.pi / 8), 0, 0]),
    )
    hole = Curve(np.array([[50.0, 60.0], [70.0, 60.0]]), np.array([-1.0, -1.0]))
    across = Mark(MarkKind.ALIGN, np.array([[100.0, 66.0], [100.0, 74.0]]), "cross")
    return Pattern(name, outline, cut_outs=(hole,), marks=(across,), deviation_mm=0.05)


AREA_MM2 = 240 * 140 - 40**2 * (1 - math.pi / 4) - math.pi * 10**2
"""Of the piece: a box, less what the round corner takes away, less the hole."""
