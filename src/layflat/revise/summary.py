"""How far a pattern was moved, and what is to be said of it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from layflat.base import FloatArray, counted
from layflat.pattern import EdgeRecord, Pattern
from layflat.revise.carry import moves
from layflat.revise.checks import inflections
from layflat.revise.outline import Outline, sides_of
from layflat.revise.plate import Field
from layflat.revise.records import DOUBT_MM, FINGER_MM, Note, NoteKind
from layflat.revise.weigh import Scatter

_ODD = 0.5
STILL_MM = 0.05
"""What moved by less did not move: no hand lays film truer."""

_EVERY_MM = 5.0
_SWINGS = 1.25


@dataclass(frozen=True)
class Summary:
    """How far a pattern was moved.

    Attributes:
        largest_mm: the largest move of its outline.
        largest_at_mm: (x, y), where that is on the base pattern.
        largest_where: that place in words.
        rms_mm: root mean square of the move all along the outline.
        still_share: share of the outline that moved by less than 0.05 mm.
        stray_mm: how far arcs lie at most from what they stand for.
        least_jacobian: the least share of its area that any small part of the film keeps.
        new_inflections: how many changes between bending left and right there are more.
        left_rms_mm: root mean square of what the notes still ask for, before rounding.
    """

    largest_mm: float
    largest_at_mm: tuple[float, float]
    largest_where: str
    rms_mm: float
    still_share: float
    stray_mm: float
    least_jacobian: float
    new_inflections: int
    left_rms_mm: float


def summary_of(
    base: Pattern,
    outline: Outline,
    field: Field,
    pattern: Pattern,
    *,
    stray_mm: float,
    jacobian: float,
    left: FloatArray,
) -> Summary:
    """How far a field moved a pattern.

    Args:
        base, outline: the pattern before, and its outline.
        field, pattern: what moved it, and the pattern after.
        stray_mm, jacobian, left: see `Summary`; left is (n,) float64, in mm.
    """
    stations = np.arange(0.0, outline.length_mm, _EVERY_MM)
    element, part = outline.place(stations)
    shifts = moves(outline, element, part).of(field, len(stations))
    sizes = np.hypot(*shifts.T)
    most = int(np.argmax(sizes))
    x, y = outline.points(stations[[most]])[0]
    side = next(
        side
        for side in sides_of(base, outline)
        if (stations[most] - side.start_mm) % outline.length_mm <= side.length_mm + 1e-6
    )
    along = (stations[most] - side.start_mm) % outline.length_mm
    return Summary(
        largest_mm=float(sizes[most]),
        largest_at_mm=(float(x), float(y)),
        largest_where=f"“{side.name}”, {along:.0f} of {side.length_mm:.0f} mm along",
        rms_mm=float(np.sqrt(np.mean(sizes**2))),
        still_share=float(np.mean(sizes < STILL_MM)),
        stray_mm=stray_mm,
        least_jacobian=jacobian,
        new_inflections=max(0, inflections(pattern.outline) - inflections(outline.curve)),
        left_rms_mm=float(np.sqrt(np.mean(left**2))),
    )


def new_lengths(base: Pattern, outline: Outline, after: Pattern) -> tuple[EdgeRecord, ...]:
    """The edges' records, their flat lengths as much longer or shorter as the sides became."""
    new = Outline(after.outline, after.outline_corners)
    changed = {
        old.name: side.length_mm / old.length_mm
        for old, side in zip(sides_of(base, outline), sides_of(after, new), strict=True)
    }
    return tuple(
        replace(edge, flat_length_mm=edge.flat_length_mm * changed.get(edge.name, 1.0))
        for edge in base.edges
    )


def defaults_said(notes: Sequence[Note], found: Scatter, reach_mm: float | None) -> tuple[str, ...]:
    """Sentences on what nobody gave or nobody can know."""
    said = []
    usual = sum(note.doubt_mm == DOUBT_MM for note in notes)
    if usual:
        have = "has" if usual == 1 else "have"
        said.append(f"{counted(usual, 'note')} {have} the usual doubt of {DOUBT_MM:g} mm.")
    fingers = [note.name for note in notes if note.kind is NoteKind.FINGER and not note.mm]
    if fingers:
        take = "takes" if len(fingers) == 1 else "take"
        said.append(
            f"{counted(len(fingers), 'finger')} without a measure {take} out {FINGER_MM:g} mm of "
            f"film: “{'”, “'.join(fingers)}”."
        )
    if len(found.weights) == 1:
        said.append(
            "All notes are of one car: how much of them is that car's own laying error nobody can "
            "know, and they are taken as they are."
        )
    if reach_mm is None:
        said.append(
            f"The reach is {found.reach_mm:.0f} mm, the likeliest for these notes: so far from a "
            "note a twentieth of its move is left."
        )
    return tuple(said)


def odd_said(found: Scatter) -> tuple[str, ...]:
    """Sentences on cars that count much less than the others."""
    return tuple(
        f"Car {name} does not agree with the others: its notes count {100 * weight:.0f} % of "
        "theirs."
        for name, weight in found.weights.items()
        if weight < _ODD
    )


def swing_said(summary: Summary, values: FloatArray) -> tuple[str, ...]:
    """A sentence where the outline moves farther than any note asks: a line that swings."""
    asked = float(np.abs(values).max(initial=0.0))
    if summary.largest_mm <= _SWINGS * asked + STILL_MM:
        return ()
    sentence = (
        f"On {summary.largest_where} the outline swings by {summary.largest_mm:.1f} mm, more than "
        f"the {asked:.1f} mm that any note asks: note there too how it fits."
    )
    return (sentence,)
