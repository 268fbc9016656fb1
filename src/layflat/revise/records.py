"""Fit notes, as they are tapped on the laid piece, and how large they may be."""

import math
from dataclasses import dataclass, replace
from enum import StrEnum
from itertools import count
from typing import Final

from layflat.base import InputError, counted

DOUBT_MM: Final = 0.5
"""The standard deviation of a reading where nobody says another (common practice, no source)."""

FINGER_MM: Final = 1.0
"""How much film a finger takes out of its stretch where nobody measured it (no source)."""

LIMIT_MM: Final = 10.0
"""A note above this is taken only if a person confirms it."""

MOST_MM: Final = 50.0
"""A note above this is a slip of the pen or another piece, confirmed or not."""

_DOUBTS_MM: Final = (0.05, 10.0)
_VALUES: Final = {"corner": 2, "shift": 2, "fits": 0}
MOST_NOTES: Final = 400


class NoteKind(StrEnum):
    """What was seen."""

    SHORT = "short"
    """The film ends short of where it should, square to its edge."""
    OVER = "over"
    """The film reaches over where it should end."""
    CORNER = "corner"
    """Too much film at a corner, beyond the edge before it and beyond the edge after it."""
    SHIFT = "shift"
    """A cut-out or a landmark should lie elsewhere."""
    FINGER = "finger"
    """Too much film along a stretch of an edge: it fingers there."""
    FITS = "fits"
    """It fits here: a note that counts as well as others."""


@dataclass(frozen=True)
class Spot:
    """Where a note was tapped, on the flat pattern.

    Attributes:
        point_mm: the place itself; or None where an edge is named.
        edge: the edge's name.
        share: how far along the edge, from 0 to 1, counter-clockwise round the piece.
    """

    point_mm: tuple[float, float] | None = None
    edge: str = ""
    share: float = 0.5


@dataclass(frozen=True)
class Note:
    """One fit note.

    Attributes:
        kind: what was seen.
        at: where; of a stretch where it begins, going counter-clockwise.
        to: where a stretch ends; None for a note at one place. A finger needs it.
        mm: (by how much,) for short, over and finger; a corner's two, beyond the edge that comes
            before the corner and the one after; a shift's (dx, dy) in the flat; () for fits.
            A finger's may be () for the default.
        cut_out: which cut-out a shift is of, from 0; None for a landmark at *at*.
        doubt_mm: standard deviation of the reading.
        car: which car; notes of one car share that car's laying error.
        revision: number of the revision that was laid on it; 0 is the pattern itself.
        name: what the note is called in words; unique.
        confirmed: whether a person has confirmed a note above `LIMIT_MM`.
    """

    kind: NoteKind
    at: Spot
    to: Spot | None = None
    mm: tuple[float, ...] = ()
    cut_out: int | None = None
    doubt_mm: float = DOUBT_MM
    car: str = "1"
    revision: int = 0
    name: str = ""
    confirmed: bool = False

    def words(self) -> str:
        """What was seen, in words."""
        match self.kind:
            case NoteKind.FITS:
                return "fits"
            case NoteKind.FINGER:
                amount = self.mm[0] if self.mm else FINGER_MM
                return f"a finger, {amount:g} mm too much film"
            case NoteKind.CORNER:
                return f"corner: {self.mm[0]:g} mm and {self.mm[1]:g} mm over"
            case NoteKind.SHIFT:
                return f"should lie {self.mm[0]:+g} mm in x, {self.mm[1]:+g} mm in y from here"
            case _:
                return f"{self.kind.value} by {self.mm[0]:g} mm"


def checked(notes: tuple[Note, ...]) -> tuple[Note, ...]:
    """The notes, each with a name; none with a value that cannot be.

    Raises:
        InputError: a number is not finite, missing, beyond the limits, or a name is there twice;
            says which note.
    """
    if not notes:
        raise InputError("There are no fit notes; note at least one place before revising.")
    if len(notes) > MOST_NOTES:
        raise InputError(f"There are {len(notes)} fit notes; {MOST_NOTES} are the most at once.")
    taken = {note.name for note in notes}
    free = (name for i in count(1) if (name := f"note {i}") not in taken)
    named = tuple(note if note.name else replace(note, name=next(free)) for note in notes)
    seen: set[str] = set()
    for note in named:
        if note.name in seen:
            raise InputError(f"Two fit notes are called “{note.name}”; name one otherwise.")
        seen.add(note.name)
        _check(note)
    return named


def _check(note: Note) -> None:
    where = f"Fit note “{note.name}” ({note.kind.value})"
    wanted = _VALUES.get(note.kind.value, 1)
    given = len(note.mm)
    if given != wanted and not (note.kind is NoteKind.FINGER and given == 0):
        raise InputError(f"{where} has {counted(given, 'measure')}; it needs {wanted}.")
    points = [spot.point_mm for spot in (note.at, note.to) if spot and spot.point_mm is not None]
    numbers = [*note.mm, note.doubt_mm, *(value for point in points for value in point)]
    shares = [spot.share for spot in (note.at, note.to) if spot is not None]
    if not all(math.isfinite(value) for value in (*numbers, *shares)):
        raise InputError(f"{where} holds a number that is not finite; read it again.")
    if not all(0.0 <= share <= 1.0 for share in shares):
        raise InputError(f"{where}: the share along an edge must lie between 0 and 1.")
    low, high = _DOUBTS_MM
    if not low <= note.doubt_mm <= high:
        raise InputError(
            f"{where}: its doubt is {note.doubt_mm:g} mm; it must lie between {low:g} and {high:g}."
        )
    if (
        note.kind in (NoteKind.SHORT, NoteKind.OVER, NoteKind.FINGER)
        and min(note.mm, default=0) < 0
    ):
        raise InputError(
            f"{where} is {note.mm[0]:g} mm; give it as more than 0, “short” or “over”."
        )
    if note.kind is NoteKind.FINGER and note.to is None:
        raise InputError(
            f"{where} needs the stretch that it lies across: where it begins and ends."
        )
    if note.to is not None and note.kind in (NoteKind.CORNER, NoteKind.SHIFT):
        raise InputError(f"{where} is at one place; it has no end of a stretch.")
    largest = (
        math.hypot(*note.mm) if note.kind is NoteKind.SHIFT else max(map(abs, note.mm), default=0)
    )
    if largest > MOST_MM:
        raise InputError(
            f"{where} is {largest:g} mm; a pattern is not bent by more than {MOST_MM:g} mm. Is it "
            "the right piece, and the right unit? Else make a new pattern."
        )
    if largest > LIMIT_MM and not note.confirmed:
        raise InputError(
            f"{where} is {largest:g} mm, more than {LIMIT_MM:g} mm: confirm it if it is right."
        )
