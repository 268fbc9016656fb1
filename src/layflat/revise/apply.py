"""A revision on the same panel's pattern of another car: as it is, or carried over to it."""

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from layflat.base import FloatArray, InputError
from layflat.pattern import Pattern, place
from layflat.revise.align import Alignment, aligned
from layflat.revise.carry import carried
from layflat.revise.checks import least_jacobian, require_whole
from layflat.revise.outline import Outline
from layflat.revise.revision import Revision
from layflat.revise.summary import new_lengths

ALIKE_MM: Final = 20.0
"""Outlines that lie farther apart (root mean square) are not taken for the same panel's piece: a
wrap of 8 mm more all round is, a piece that ends at a line across the panel is not (assumption)."""


@dataclass(frozen=True, eq=False)
class Applied:
    """A pattern after a revision, or as it came where the revision does not go with it.

    Attributes:
        pattern: what is cut.
        number: of the revision; 0 where it could not be applied.
        apart_mm: root mean square of the distances between the pattern and the one that the notes
            were made on; 0 where they are the same.
        said: sentences for a person.
    """

    pattern: Pattern
    number: int
    apart_mm: float
    said: tuple[str, ...]


def apply(revision: Revision, pattern: Pattern, *, lie: Alignment | None = None) -> Applied:
    """The revision on a pattern of the same panel, which may end otherwise at its edges.

    Where the pattern is the very one that was revised, the revision's own pattern is taken.
    Otherwise the pattern is laid on that one, turned and moved, and carried by the revision's
    field as that was: straight lines stay straight and cut-outs keep their shape.

    Args:
        revision: of the panel's pattern on an earlier car.
        pattern: as it was computed for this one.
        lie: how the revision's base lies on *pattern*, where that is known already.

    Raises:
        InputError: the film would fold, or a cut-out would reach the edge; says where.
    """
    base = revision.base
    if same_shape(base, pattern):
        made = replace(revision.pattern, name=pattern.name)
        return Applied(made, revision.number, 0.0, (_says(revision),))
    lie = lie or aligned(base, pattern)
    if lie.rms_mm > ALIKE_MM:
        said = (
            f"Revision {revision.number} of “{pattern.name}” was not applied: this piece lies "
            f"{lie.rms_mm:.0f} mm (RMS) from the one that the notes were made on."
        )
        return Applied(pattern, 0, lie.rms_mm, (said,))
    there = _unplaced(pattern, lie)
    outline = Outline(there.outline, there.outline_corners)
    least_jacobian(revision.field, outline, ())
    done_there = carried(there, outline, revision.field).pattern
    narrow = require_whole(there, done_there, ())
    edges = new_lengths(there, outline, done_there)
    made = place(
        replace(done_there, edges=edges), turn_deg=lie.turn_deg, x_mm=lie.x_mm, y_mm=lie.y_mm
    )
    said = (
        f"{_says(revision)} This piece ends otherwise at its edges ({lie.rms_mm:.1f} mm RMS "
        "apart), so the change was carried over to it."
    )
    return Applied(made, revision.number, lie.rms_mm, (said, *narrow))


def to_noted(
    revision: Revision | None, base: Pattern, laid: Pattern, points_mm: FloatArray
) -> FloatArray:
    """Where places that were tapped on a laid piece lie on the pattern that notes are kept on.

    Args:
        revision: that the laid piece was cut by; None for the base itself.
        base: the pattern that the panel's revisions begin from.
        laid: the piece that was tapped.
        points_mm: (n, 2) float64, on *laid*.

    Returns:
        (n, 2) float64, on the revision's own pattern, or on *base*.

    Raises:
        InputError: *laid* is no piece of the same panel.
    """
    there = base if revision is None else revision.pattern
    points = np.asarray(points_mm, np.float64).reshape(-1, 2)
    if same_shape(there, laid):
        return points
    lie = aligned(laid, there)
    if lie.rms_mm > ALIKE_MM:
        raise InputError(
            f"“{laid.name}” lies {lie.rms_mm:.0f} mm (RMS) from the piece that this panel's "
            "revisions begin from; its notes cannot be carried there. Note that piece anew."
        )
    return lie.carried(points)


def same_shape(one: Pattern, other: Pattern) -> bool:
    """Whether two patterns are cut alike, to the last digit."""
    curves, others = ((each.outline, *each.cut_outs) for each in (one, other))
    return len(curves) == len(others) and all(
        np.array_equal(a.points_mm, b.points_mm) and np.array_equal(a.bulges, b.bulges)
        for a, b in zip(curves, others, strict=True)
    )


def _says(revision: Revision) -> str:
    return (
        f"Revision {revision.number}, from fit notes: the outline was moved by at most "
        f"{revision.summary.largest_mm:.1f} mm, on {revision.summary.largest_where}."
    )


def _unplaced(pattern: Pattern, lie: Alignment) -> Pattern:
    """The pattern as it lies on the base: the way of `lie` back."""
    angle = math.radians(lie.turn_deg)
    cos, sin = math.cos(angle), math.sin(angle)
    x = -(cos * lie.x_mm + sin * lie.y_mm)
    y = -(-sin * lie.x_mm + cos * lie.y_mm)
    return place(pattern, turn_deg=-lie.turn_deg, x_mm=x, y_mm=y)
