"""How film fits: laying it on a surface, fingers, wraps, and what to do where it does not fit."""

from layflat.fit.blank import BlankOrFitted, BlankRates, blank_or_fitted
from layflat.fit.blank_rectangle import Rectangle, least_rectangle
from layflat.fit.pairs import (
    TOLERANCE_MM,
    Difference,
    Pair,
    compare_pair,
    shared_flat,
    shared_pattern,
)
from layflat.fit.pairs_mirror import Mirroring

__all__ = [
    "TOLERANCE_MM",
    "BlankOrFitted",
    "BlankRates",
    "Difference",
    "Mirroring",
    "Pair",
    "Rectangle",
    "blank_or_fitted",
    "compare_pair",
    "least_rectangle",
    "shared_flat",
    "shared_pattern",
]
