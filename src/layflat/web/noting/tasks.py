"""The long computation of this part: from fit notes to the next correction."""

import json
from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np

from layflat.base import FloatArray, InputError, Progress, counted, part_of
from layflat.papers import revision_picture
from layflat.pattern import Curve, Pattern, bounds
from layflat.revise import (
    MOST_NOTES,
    History,
    Note,
    NoteKind,
    Outline,
    Revision,
    Spot,
    history_json,
    revise,
    to_noted,
)
from layflat.web.corrections.figures import figures_of
from layflat.web.corrections.reading import history_of
from layflat.web.files.store import keep
from layflat.web.noting.spots import STRETCHED, spots
from layflat.web.patterns.keeping import kept_pattern
from layflat.web.work.tasks import task

TASK: Final = "noting.correct"
_MOST_BYTES: Final = 64_000_000
NEAR_CUT_OUT_MM: Final = 15.0
"""A tap so near to a cut-out is meant for it; wet gloves do not hit a washer jet."""


@task(TASK, comes_first=True)
def correct(inputs: dict[str, Any], progress: Progress) -> dict[str, Any]:
    """Making the next pattern from fit notes.

    Args:
        inputs: `body` and `piece`, whose; `base`, the SHA-256 of the pattern that revisions begin
            from; `history`, that of the file of revisions so far, or ""; `current`, the number of
            the one that is cut now; `notes`, each `name`, `car`, `pattern`, the SHA-256 of the one
            that was laid, `revision`, its number, `kind`, `x_mm`, `y_mm`, `mm`, `along_mm`.
        progress: told what is being done.

    Returns:
        `history` and `picture`, SHA-256 of files; `figures`, see
        `layflat.web.corrections.figures`, with `left_out`, the names of notes that could not be
        used; `said`, sentences.

    Raises:
        LayflatError: a note cannot be used, or notes fight; the sentence says which.
    """
    history = history_of(inputs["history"]) if inputs["history"] else None
    base = kept_pattern(inputs["base"]) if history is None else history.base
    earlier = () if history is None else history.revisions
    told = part_of(progress, start=0.0, end=0.5)
    notes, left_out = _notes(inputs["notes"], base, earlier, told)
    progress("weighing the notes of all cars", 0.5)
    # What another shop noted for the revision that was taken from it counts as one's own does.
    theirs = inputs.get("theirs", 0)
    noted = history.revision(theirs).notes if history and theirs else ()
    used = {note.name for note in notes}
    all_notes = (*noted, *notes)[-MOST_NOTES:]
    made = revise(base, all_notes, earlier=earlier, parent=inputs["current"])
    progress("drawing before and after", 0.9)
    after = History(base, (*earlier, made), current=made.number)
    picture, factor = revision_picture(made)
    content = json.dumps(history_json(after), ensure_ascii=False, separators=(",", ":"))
    name = inputs["piece"]
    return {
        "history": _kept(content.encode(), f"{name}-revisions.json", "application/json"),
        "picture": _kept(picture.encode(), f"{name}-revision.svg", "image/svg+xml"),
        "figures": figures_of(made, factor, earlier=earlier)
        | {"left_out": [str(one["name"]) for one in inputs["notes"] if one["name"] not in used]},
        "said": [*left_out, *made.said],
    }


def _notes(
    given: Sequence[Mapping[str, Any]],
    base: Pattern,
    earlier: Sequence[Revision],
    progress: Progress,
) -> tuple[tuple[Note, ...], list[str]]:
    """The notes on the patterns that revisions are kept on, and a sentence on each left out.

    Each pattern is laid there once. Notes of a piece that cannot be laid there, such as one that
    ends at a line across the panel, say nothing about this one.

    Raises:
        InputError: none of them can be.
    """
    by_number = {one.number: one for one in earlier}
    groups: dict[tuple[str, int], list[Mapping[str, Any]]] = {}
    for one in given:
        groups.setdefault((str(one["pattern"]), int(one["revision"])), []).append(one)
    found: dict[str, Note] = {}
    left_out: list[str] = []
    for i, ((sha256, number), members) in enumerate(groups.items()):
        progress("bringing the notes of all cars together", i / len(groups))
        if number and number not in by_number:
            raise InputError(f"Revision {number} of this piece is no longer there; note it anew.")
        laid = kept_pattern(sha256)
        on = by_number.get(number)
        outline = Outline(laid.outline, laid.outline_corners)
        pattern = base if on is None else on.pattern
        places_mm = np.array([[*_spots(one, outline), _tip(one)] for one in members])
        try:
            there = to_noted(on, base, laid, places_mm.reshape(-1, 2)).reshape(-1, 3, 2)
        except InputError as error:
            cars = ", ".join(dict.fromkeys(str(one["car"]) for one in members))
            left_out.append(f"{counted(len(members), 'note')} of {cars} left out: {error}")
            continue
        for one, places in zip(members, there, strict=True):
            found[str(one["name"])] = _note(one, places, number, pattern)
    if not found:
        raise InputError(left_out[0])
    return tuple(found[name] for one in given if (name := str(one["name"])) in found), left_out


def _spots(one: Mapping[str, Any], outline: Outline) -> FloatArray:
    at_mm = (float(one["x_mm"]), float(one["y_mm"]))
    return spots(outline, NoteKind(one["kind"]), at_mm, along_mm=float(one["along_mm"]))


def _tip(one: Mapping[str, Any]) -> tuple[float, float]:
    """The place that a shift leads to; of other notes the place itself."""
    x, y = float(one["x_mm"]), float(one["y_mm"])
    if NoteKind(one["kind"]) is not NoteKind.SHIFT:
        return x, y
    return x + float(one["mm"][0]), y + float(one["mm"][1])


def _note(one: Mapping[str, Any], there: FloatArray, number: int, pattern: Pattern) -> Note:
    kind = NoteKind(one["kind"])
    first, last, tip = (tuple(float(value) for value in place) for place in there)
    is_stretch = kind in STRETCHED and float(one["along_mm"]) > 0.0
    mm = tuple(float(value) for value in one["mm"])
    if kind is NoteKind.SHIFT:
        mm = (tip[0] - first[0], tip[1] - first[1])
    return Note(
        kind,
        Spot(point_mm=(first[0], first[1])),
        to=Spot(point_mm=(last[0], last[1])) if is_stretch else None,
        mm=mm,
        cut_out=_cut_out_at(pattern, there[0]) if kind is NoteKind.SHIFT else None,
        car=str(one["car"]),
        revision=number,
        name=str(one["name"]),
        # The form's own limits were kept to when it was noted, by a person who saw the film.
        confirmed=True,
    )


def _cut_out_at(pattern: Pattern, point_mm: FloatArray) -> int | None:
    """The cut-out that was tapped, inside or near its rim; None for a place on the film."""
    away = [_from_cut_out(hole, point_mm) for hole in pattern.cut_outs]
    if not away or min(away) > NEAR_CUT_OUT_MM:
        return None
    return int(np.argmin(away))


def _from_cut_out(hole: Curve, point_mm: FloatArray) -> float:
    box = np.array(bounds(hole))
    off = np.maximum(np.maximum(box[:2] - point_mm, point_mm - box[2:]), 0.0)
    return float(np.hypot(*off))


def _kept(data: bytes, name: str, media_type: str) -> str:
    stored = keep([data], name=name, media_type=media_type, most_bytes=_MOST_BYTES, who=None)
    return stored.sha256
