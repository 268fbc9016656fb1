"""Notes made on a revision, carried to the base pattern by the revision's inverse."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Protocol

import numpy as np

from layflat.base import FloatArray, InputError
from layflat.pattern import Pattern
from layflat.revise.outline import Outline, sides_of
from layflat.revise.plate import Field
from layflat.revise.readings import Reading, station
from layflat.revise.records import Note, Spot


class Laid(Protocol):
    """What must be known of a revision that notes were made on."""

    @property
    def number(self) -> int:
        """Its number."""

    @property
    def pattern(self) -> Pattern:
        """What was laid."""

    @property
    def field(self) -> Field:
        """What carries the base to it."""


class _Way:
    """The way from one revision back to the base."""

    def __init__(self, revision: Laid) -> None:
        pattern = revision.pattern
        self._field = revision.field
        self._outline = Outline(pattern.outline, pattern.outline_corners)
        self._sides = sides_of(pattern, self._outline)

    def spot(self, spot: Spot, note: Note) -> Spot:
        """A spot of the revision on the base."""
        point = spot.point_mm
        if point is None:
            if not spot.edge:
                return spot
            at = station(spot, note, self._outline, self._sides)
            x, y = self._outline.points(np.array([at]))[0]
            point = (float(x), float(y))
        x, y = self._field.undone(np.array([point]))[0]
        return Spot(point_mm=(float(x), float(y)))


def on_base(notes: tuple[Note, ...], earlier: Sequence[Laid]) -> tuple[Note, ...]:
    """The notes with their places on the base pattern.

    Raises:
        InputError: a note's revision is not among the *earlier* ones.
    """
    ways: dict[int, _Way] = {}
    found = []
    for note in notes:
        revision = laid(earlier, note)
        if revision is None:
            found.append(note)
            continue
        way = ways.setdefault(note.revision, _Way(revision))
        end = None if note.to is None else way.spot(note.to, note)
        found.append(replace(note, at=way.spot(note.at, note), to=end))
    return tuple(found)


def laid(earlier: Sequence[Laid], note: Note) -> Laid | None:
    """The revision that a note was made on; None for the base.

    Raises:
        InputError: it is not among them.
    """
    if note.revision == 0:
        return None
    found = next((each for each in earlier if each.number == note.revision), None)
    if found is None:
        raise InputError(
            f"Fit note “{note.name}” was made on revision {note.revision}, which is not here; give "
            "that revision too."
        )
    return found


def with_before(reading: Reading, revision: Laid | None) -> Reading:
    """What a note made on a revision asks of the base: what was changed, and what it adds."""
    if revision is None:
        return reading
    before: FloatArray = reading.taps.of(revision.field)
    return replace(reading, values=reading.values + before)
