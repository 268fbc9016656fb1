"""Fit notes: noted on a laid piece, and withdrawn.

Every function is called on a locked job within a transaction and writes the event itself.
"""

import datetime
import math
from dataclasses import dataclass
from typing import Final

from django.db.models import Max

from layflat.base import InputError
from layflat.revise import MOST_MM, NoteKind
from layflat.web.cutting.film import in_words
from layflat.web.cutting.models import Cut
from layflat.web.inspection.flat_map import flat_map_of
from layflat.web.jobs.models import Job, Stage
from layflat.web.laying.words import sentence_start
from layflat.web.noting.kinds import Kind, kind_named
from layflat.web.noting.models import FitNote
from layflat.web.people.models import Person
from layflat.web.people.shop import shown_fine_length, the_shop
from layflat.web.record.models import write_event

MOST_ALONG_MM: Final = 2000.0
_FARTHEST_MM: Final = 20_000.0
_HERE: Final = (Stage.BAY, Stage.CHECKED)


@dataclass(frozen=True, kw_only=True)
class Seen:
    """A fit note as it was tapped; lengths in mm.

    Attributes:
        kind: as the form names it.
        x_mm, y_mm: its place on the flat pattern; None where none was tapped.
        first_mm, second_mm: its measures, None where the form has none.
        along_mm: the length of its stretch, or None.
        words: more words.
    """

    kind: str
    x_mm: float | None
    y_mm: float | None
    first_mm: float | None = None
    second_mm: float | None = None
    along_mm: float | None = None
    words: str = ""


def note(job: Job, cut: Cut, seen: Seen, *, who: Person, at: datetime.datetime) -> FitNote:
    """Note how a laid piece fits at a place.

    Raises:
        InputError: the piece is not on the car, no place was tapped, or a measure cannot be.
    """
    if job.stage not in _HERE:
        raise InputError("Fit is noted while the car stands in the bay, with its film on.")
    if cut.state != Cut.State.LAID:
        raise InputError(
            f"{sentence_start(in_words(cut))} is not on the car; fit is noted once it is."
        )
    kind = kind_named(seen.kind)
    if kind is None:
        raise InputError("Choose how it fits.")
    place = _place(seen)
    number = (job.fit_notes.aggregate(last=Max("number"))["last"] or 0) + 1
    found = FitNote.objects.create(
        job=job,
        number=number,
        cut=cut,
        kind=kind.name,
        x_mm=place[0],
        y_mm=place[1],
        mm=_measures(kind, seen, cut),
        along_mm=_along(kind, seen),
        words=" ".join(seen.words.split())[:300],
        noted_at=at,
        noted_by=who,
    )
    write_event(
        "noting.noted",
        f"Fit note {number} on {in_words(cut)}: {in_short(found)}.",
        who=who,
        job=job,
        after={"note": found.pk, "cut": cut.pk, "kind": kind.name, "mm": found.mm},
    )
    return found


def withdraw(job: Job, number: str, *, who: Person, at: datetime.datetime) -> FitNote:
    """Take a fit note back; it keeps its number, and no correction rests on it from now on.

    Raises:
        InputError: the job has no such note, or it was taken back before.
    """
    found = (
        job.fit_notes.select_related("cut__piece", "cut__section__layout__job")
        .filter(number=int(number) if number.isascii() and number.isdecimal() else 0)
        .first()
        if len(number) < 10
        else None
    )
    if found is None:
        raise InputError(f"Job {job.number} has no such fit note; open the page anew.")
    if found.withdrawn_at is not None:
        raise InputError(f"Fit note {found.number} was taken back already.")
    found.withdrawn_at, found.withdrawn_by = at, who
    found.save(update_fields=["withdrawn_at", "withdrawn_by"])
    write_event(
        "noting.withdrawn",
        f"Fit note {found.number} on {in_words(found.cut)} was taken back.",
        who=who,
        job=job,
        before={"note": found.pk},
    )
    return found


def in_short(found: FitNote) -> str:
    """What a note says, in a phrase, in the shop's units."""
    shop = the_shop()
    kind = kind_named(found.kind)
    word = kind.word.lower() if kind else found.kind
    if kind and kind.kind is NoteKind.SHIFT:
        right, up = _on_picture(found)
        sizes = [
            f"{shown_fine_length(abs(value), shop)} to the {plus if value >= 0 else minus}"
            for value, plus, minus in ((right, "right", "left"), (up, "top", "bottom"))
        ]
    else:
        sizes = [shown_fine_length(value, shop) for value in found.mm]
    said = f"{word} by {' and '.join(sizes)}" if sizes else word
    if found.along_mm:
        said += f", along {shown_fine_length(found.along_mm, shop)}"
    return f"{said} ({found.words})" if found.words else said


def _place(seen: Seen) -> tuple[float, float]:
    if seen.x_mm is None or seen.y_mm is None:
        raise InputError("Tap the place on the flat picture of the piece.")
    if max(abs(seen.x_mm), abs(seen.y_mm)) > _FARTHEST_MM:
        raise InputError("That place is not on the piece; tap it on its flat picture.")
    return seen.x_mm, seen.y_mm


def _measures(kind: Kind, seen: Seen, cut: Cut) -> list[float]:
    wanted = [
        (title, value)
        for title, value in ((kind.first, seen.first_mm), (kind.second, seen.second_mm))
        if title
    ]
    found = []
    for title, value in wanted:
        if value is None:
            raise InputError(f"Say how much: “{title}”.")
        is_signed = kind.kind is NoteKind.SHIFT
        if not (-MOST_MM if is_signed else 0.0) <= value <= MOST_MM:
            low = f"-{MOST_MM:g}" if is_signed else "0"
            raise InputError(
                f"“{title}” must lie between {low} and {MOST_MM:g} mm; a pattern is not bent by "
                "more. Is it the right piece?"
            )
        found.append(value)
    return _in_flat(cut, found) if kind.kind is NoteKind.SHIFT else found


def _in_flat(cut: Cut, shown: list[float]) -> list[float]:
    """Right and up on the picture as x and y of the pattern, which may lie turned on it."""
    flat = flat_map_of(cut.piece)
    if flat is None:
        raise InputError("There is no flat picture of this piece to say right and up on.")
    a, b, c, d, _, _ = flat.to_map
    size = math.sqrt(abs(a * d - b * c))
    right, down = shown[0] / size, -shown[1] / size
    # The picture is turned, perhaps mirrored, and scaled alike in both directions.
    return [round(a * right + b * down, 4), round(c * right + d * down, 4)]


def _on_picture(found: FitNote) -> tuple[float, float]:
    """How far to the right and up on the picture a shift leads: the way of `_in_flat` back."""
    flat, (x, y) = flat_map_of(found.cut.piece), found.mm
    if flat is None:
        return x, y
    a, b, c, d, _, _ = flat.to_map
    size = math.sqrt(abs(a * d - b * c))
    return (a * x + c * y) / size, -(b * x + d * y) / size


def _along(kind: Kind, seen: Seen) -> float:
    if not kind.has_stretch or not seen.along_mm:
        if kind.needs_stretch:
            raise InputError("Say how long the stretch is along which film is too much.")
        return 0.0
    if not 0.0 < seen.along_mm <= MOST_ALONG_MM:
        raise InputError(f"A stretch is between 0 and {MOST_ALONG_MM:g} mm long.")
    return seen.along_mm
