"""From fit notes to a kept correction: asked for, taken over, kept, given up, taken back."""

import datetime
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.db import transaction

from layflat.base import InputError
from layflat.revise import MOST_NOTES
from layflat.web.bodies.models import Body
from layflat.web.corrections.models import Asked, Correction
from layflat.web.corrections.reading import Past, past_of, received_now
from layflat.web.cover.models import Piece
from layflat.web.files.models import StoredFile
from layflat.web.noting.models import FitNote
from layflat.web.noting.tasks import TASK
from layflat.web.people.models import Person
from layflat.web.record.models import write_event
from layflat.web.work.models import Computation, State
from layflat.web.work.tasks import ask


@dataclass(frozen=True, kw_only=True)
class Noted:
    """The notes on one piece of a body, of all cars.

    Attributes:
        piece: its name.
        title: as people write it.
        notes: those that count, in the order of noting.
        jobs: the numbers of the jobs that they are of.
    """

    piece: str
    title: str
    notes: tuple[FitNote, ...]
    jobs: tuple[str, ...]


def noted_on(body: Body, piece: str = "") -> tuple[Noted, ...]:
    """The pieces of a body that were noted on, by title; only *piece* where it is given."""
    found = FitNote.objects.filter(
        cut__piece__outcome__cover__body__body=body, withdrawn_at=None
    ).select_related("job", "cut__piece__pattern", "noted_by")
    if piece:
        found = found.filter(cut__piece__panel=piece)
    groups: dict[str, list[FitNote]] = {}
    for one in found.order_by("noted_at", "pk"):
        groups.setdefault(one.cut.piece.panel, []).append(one)
    pieces = [
        Noted(
            piece=name,
            title=notes[-1].cut.piece.title,
            notes=tuple(notes),
            jobs=tuple(dict.fromkeys(one.job.number for one in notes)),
        )
        for name, notes in groups.items()
    ]
    return tuple(sorted(pieces, key=lambda one: one.title))


def laid_number(piece: Piece) -> int:
    """The number of the revision that a piece was cut by; 0 for the pattern as it was computed."""
    return int((piece.details.get("correction") or {}).get("number", 0))


def ask_correction(body: Body, piece: str, *, who: Person) -> Computation:
    """Ask for the piece's next correction from all notes that count; answers at once.

    Raises:
        InputError: nothing is noted on it, or it was cut before patterns were kept.
    """
    with transaction.atomic():
        Body.objects.select_for_update().get(pk=body.pk)
        inputs = _inputs(body, piece)
        found = ask(TASK, inputs, who=who)
        Asked.objects.update_or_create(body=body, piece=piece, defaults={"computation": found})
        Correction.objects.filter(computation=found, state=Correction.State.GIVEN_UP).update(
            state=Correction.State.FOUND, settled_at=None, settled_by=None
        )
    return found


def _inputs(body: Body, piece: str) -> dict[str, Any]:
    past = past_of(body, piece)
    noted = noted_on(body, piece)
    if not noted:
        raise InputError("Nothing is noted on this piece; note how it fits in the bay first.")
    notes = _usable(noted[0])
    first = next((one for one in notes if not laid_number(one.cut.piece)), None)
    if not past.history and first is None:
        raise InputError(
            "The noted pieces were cut before their patterns were kept, or by revisions that are "
            "no longer known; note the piece on the next car."
        )
    base = "" if first is None else _pattern(first.cut.piece)
    theirs = received_now(body, piece)
    return {
        "body": body.pk,
        "piece": piece,
        "base": base,
        "history": past.history,
        "current": past.current,
        "notes": [_note_inputs(one) for one in notes],
        **({"theirs": theirs.number} if theirs else {}),
    }


def _usable(noted: Noted) -> list[FitNote]:
    """The newest notes on pieces whose patterns were kept; older pieces say nothing any more."""
    return [one for one in noted.notes if one.cut.piece.pattern_id][-MOST_NOTES:]


def is_new(body: Body, piece: str, noted: Noted, now: Correction | None) -> bool:
    """Whether another correction than the current one, or the computed pattern, would come of it.

    Notes that were left out when the current one was made, as they cannot be used, are not new.

    Args:
        body, piece: whose.
        noted: the notes on it that count.
        now: by which it is cut.
    """
    names = {note_name(one) for one in _usable(noted)}
    if now is None:
        return bool(names)
    theirs = received_now(body, piece)
    if theirs is not None:
        names |= _names(theirs)
    return names - set(now.figures.get("left_out", ())) != _names(now)


def _names(made: Correction) -> set[str]:
    return {str(each["name"]) for each in made.figures["notes"]}


def note_name(one: FitNote) -> str:
    """What a note is called among those of all cars."""
    return f"{one.job.number} note {one.number}"


def _note_inputs(one: FitNote) -> dict[str, Any]:
    return {
        "name": note_name(one),
        "car": one.job.number,
        "pattern": _pattern(one.cut.piece),
        "revision": laid_number(one.cut.piece),
        "kind": one.kind,
        "x_mm": one.x_mm,
        "y_mm": one.y_mm,
        "mm": one.mm,
        "along_mm": one.along_mm,
    }


def _pattern(piece: Piece) -> str:
    return piece.pattern.sha256 if piece.pattern is not None else ""


def fill(body: Body, piece: str) -> Correction | None:
    """Take over what was asked for last, once it is done; again does nothing more.

    Returns:
        the correction that waits to be looked at, or None.
    """
    asked = Asked.objects.select_related("computation").filter(body=body, piece=piece).first()
    if asked is None:
        return None
    made = asked.computation
    if made.state != State.DONE or made.result is None:
        return None
    result = made.result
    files = StoredFile.objects.in_bulk([result["history"], result["picture"]], field_name="sha256")
    found, _ = Correction.objects.get_or_create(
        computation=made,
        defaults={
            "body": body,
            "piece": piece,
            "history": files[result["history"]],
            "picture": files[result["picture"]],
            "figures": result["figures"],
            "said": result["said"],
        },
    )
    return found if found.state == Correction.State.FOUND else None


def keep_correction(found: Correction, *, who: Person, at: datetime.datetime) -> Correction:
    """Cut the piece by a found correction from the next car on; keeping it again changes nothing.

    Raises:
        InputError: it was given up, or another was kept or taken back since it was found.
    """
    with transaction.atomic():
        Body.objects.select_for_update().get(pk=found.body_id)
        held = Correction.objects.select_for_update().get(pk=found.pk)
        if held.state == Correction.State.KEPT:
            return held
        _require_found(held)
        inputs = held.computation.inputs if held.computation else {}
        past = past_of(held.body, held.piece)
        if past != Past(inputs.get("history", ""), inputs.get("current", 0), past.last):
            raise InputError(
                "Another revision of this piece was kept or taken back since; make it anew."
            )
        held.number = int(held.figures["number"])
        _settle(held, Correction.State.KEPT, who=who, at=at)
        write_event(
            "correction.kept",
            f"Revision {held.number} of {held.piece} of {held.body} is cut from the next car on: "
            f"moved by at most {held.figures['largest_mm']:.1f} mm.",
            who=who,
            after={"correction": held.pk, "history": held.history.sha256},
        )
    return held


def give_up(found: Correction, *, who: Person, at: datetime.datetime) -> None:
    """Do not take a found correction; its notes stay.

    Raises:
        InputError: it was kept meanwhile.
    """
    with transaction.atomic():
        held = Correction.objects.select_for_update().get(pk=found.pk)
        if held.state == Correction.State.GIVEN_UP:
            return
        _require_found(held)
        _settle(held, Correction.State.GIVEN_UP, who=who, at=at)


def take_back(body: Body, piece: str, *, who: Person, at: datetime.datetime) -> Correction:
    """Take the piece's current correction back; the one before it is cut again.

    Raises:
        InputError: there is none.
    """
    with transaction.atomic():
        Body.objects.select_for_update().get(pk=body.pk)
        kept = Correction.objects.filter(body=body, piece=piece, state=Correction.State.KEPT)
        held = kept.order_by("number").last()
        if held is None:
            raise InputError("This piece is cut as it is computed; there is nothing to take back.")
        held.state, held.back_at, held.back_by = Correction.State.BACK, at, who
        held.save(update_fields=["state", "back_at", "back_by"])
        write_event(
            "correction.back",
            f"Revision {held.number} of {piece} of {body} was taken back.",
            who=who,
            before={"correction": held.pk},
        )
    return held


def _require_found(held: Correction) -> None:
    if held.state != Correction.State.FOUND:
        raise InputError(f"This revision is {held.get_state_display()}; make it anew.")


def _settle(
    held: Correction, state: Correction.State, *, who: Person, at: datetime.datetime
) -> None:
    held.state, held.settled_at, held.settled_by = state, at, who
    held.save(update_fields=["state", "number", "settled_at", "settled_by"])


def corrections_of(body: Body, piece: str) -> list[Correction]:
    """A piece's corrections that were kept once, the newest first."""
    found = Correction.objects.filter(body=body, piece=piece).exclude(number=None)
    return list(found.select_related("settled_by", "back_by").order_by("-number"))


def pieces_with_corrections(body: Body) -> Iterable[str]:
    """The names of the body's pieces that have corrections, kept or taken back."""
    found = Correction.objects.filter(body=body).exclude(number=None)
    return found.order_by("piece").values_list("piece", flat=True).distinct()
