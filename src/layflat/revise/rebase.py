"""Revisions of another shop's pattern, as revisions of one's own pattern of the same panel."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from layflat.base import FloatArray, InputError
from layflat.pattern import Pattern
from layflat.revise.align import Alignment, aligned
from layflat.revise.apply import ALIKE_MM, apply, same_shape
from layflat.revise.plate import Field
from layflat.revise.records import Note, NoteKind, Spot
from layflat.revise.revision import Revision


def rebased(revisions: Sequence[Revision], base: Pattern) -> tuple[Revision, ...]:
    """The same changes on *base*, a pattern of the same panel that lies elsewhere in the flat.

    Both outlines are laid on each other, turned and moved; fields, notes and places go along.
    Where both are cut alike only the base is changed.

    Args:
        revisions: of one base; their notes say by points where they were tapped, not by edges.
        base: the pattern that they become revisions of; it may end otherwise at its edges.

    Raises:
        InputError: the patterns are not of one panel, a change does not go with *base*, or a note
            names an edge.
    """
    if not revisions or same_shape(revisions[0].base, base):
        return tuple(replace(revision, base=base) for revision in revisions)
    lie = aligned(revisions[0].base, base)
    if lie.rms_mm > ALIKE_MM:
        raise InputError(
            f"“{base.name}” lies {lie.rms_mm:.0f} mm (RMS, at most {ALIKE_MM:g}) from the "
            "pattern that the other shop's notes were made on; it is another piece."
        )
    return tuple(_rebased(revision, base, lie) for revision in revisions)


def _rebased(revision: Revision, base: Pattern, lie: Alignment) -> Revision:
    made = apply(revision, base, lie=lie)
    said = (
        f"Carried over to this shop's pattern, which lies {made.apart_mm:.1f} mm (RMS) from the "
        "one that the notes were made on."
    )
    at_mm = lie.carried(np.array([revision.summary.largest_at_mm]))[0]
    return replace(
        revision,
        base=base,
        pattern=made.pattern,
        notes=tuple(_note(note, revision.base, base, lie) for note in revision.notes),
        places_mm=lie.carried(revision.places_mm),
        field=_field(revision.field, lie),
        summary=replace(revision.summary, largest_at_mm=(float(at_mm[0]), float(at_mm[1]))),
        said=(*revision.said, said),
    )


def _turn(lie: Alignment) -> FloatArray:
    """(2, 2) float64: how directions turn."""
    turn: FloatArray = (lie.carried(np.eye(2)) - lie.carried(np.zeros((1, 2)))).T
    return turn


def _field(field: Field, lie: Alignment) -> Field:
    """The field as it is seen from the other place: u'(y) = R u(Rᵀ(y - t))."""
    turn = _turn(lie)
    shift = np.array([lie.x_mm, lie.y_mm])
    slope = field.affine[1:]
    affine = np.vstack(((field.affine[0] - shift @ turn @ slope) @ turn.T, turn @ slope @ turn.T))
    return Field(lie.carried(field.centres_mm), field.pushes @ turn.T, field.reach_mm, affine)


def _note(note: Note, was: Pattern, base: Pattern, lie: Alignment) -> Note:
    mm, cut_out = note.mm, note.cut_out
    if note.kind is NoteKind.SHIFT:
        x, y = np.array(note.mm) @ _turn(lie).T
        mm = (float(x), float(y))
    if cut_out is not None:
        cut_out = _cut_out(was, base, cut_out, lie)
    end = None if note.to is None else _spot(note.to, note, lie)
    return replace(note, at=_spot(note.at, note, lie), to=end, mm=mm, cut_out=cut_out)


def _spot(spot: Spot, note: Note, lie: Alignment) -> Spot:
    if spot.point_mm is None:
        raise InputError(
            f"Fit note “{note.name}” names an edge, not a place; it cannot be carried to another "
            "pattern."
        )
    x, y = lie.carried(np.array([spot.point_mm]))[0]
    return Spot(point_mm=(float(x), float(y)))


def _cut_out(was: Pattern, base: Pattern, number: int, lie: Alignment) -> int | None:
    """The cut-out of *base* where cut-out *number* lay; None where there is none."""
    if number >= len(was.cut_outs) or not base.cut_outs:
        return None
    at_mm = lie.carried(was.cut_outs[number].points_mm).mean(axis=0)
    away = [float(np.hypot(*(hole.points_mm.mean(axis=0) - at_mm))) for hole in base.cut_outs]
    nearest = int(np.argmin(away))
    return nearest if away[nearest] <= ALIKE_MM else None
