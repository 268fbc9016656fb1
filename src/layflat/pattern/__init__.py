"""Patterns: from the flat mesh to smooth outlines, edges finished, and drawings in and out."""

from layflat.pattern.piece import (
    Curve,
    EdgeFinish,
    EdgeRecord,
    Finish,
    Mark,
    MarkKind,
    Pattern,
)

__all__ = ["Curve", "EdgeFinish", "EdgeRecord", "Finish", "Mark", "MarkKind", "Pattern"]
