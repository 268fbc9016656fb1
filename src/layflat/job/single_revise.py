"""The work of `layflat revise`: a pattern and its fit notes to the next revision."""

import datetime
import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from layflat.base import DrawingError, InputError, Report, counted, read_bytes
from layflat.job.done import Done
from layflat.job.single_drawing import parse_answers
from layflat.papers import Head, RevisionSheet, revision_document, revision_picture
from layflat.pattern import Drawing, Pattern, dxf_text, read_drawing, read_pattern_json, svg_text
from layflat.revise import History, history_json, read_history_json, read_notes_file

_MOST_BYTES = 64_000_000
_HISTORY = "layflat revisions 1"


@dataclass(frozen=True, kw_only=True)
class Revised:
    """What `layflat revise` hands out.

    Attributes:
        done: the new drawing (.dxf, .svg), and the revisions (.json).
        picture: before and after, as SVG.
        pdf: the revision sheet.
    """

    done: Done
    picture: str
    pdf: bytes


def revise_file(
    path: Path,
    notes_path: Path,
    *,
    piece: str = "",
    take_back: int = 0,
    answers: Sequence[str] = (),
    workshop: str = "",
    day: datetime.date,
) -> Revised:
    """The next revision of the piece in the file at *path*.

    Args:
        path: a drawing (.dxf, .svg), or the revisions that an earlier run wrote (.json).
        notes_path: the fit notes (TOML).
        piece: which piece of a drawing with several.
        take_back: how many revisions are taken back first.
        answers: to what the drawing asks; see `layflat.job.parse_answers`.
        workshop: what stands on the sheet.
        day: that the sheet carries.

    Raises:
        InputError: a file cannot be used, a note cannot be, or notes fight; says which.
    """
    history, warnings = _history(path, piece, answers)
    for _ in range(take_back):
        history = history.taken_back()
    asked = read_notes_file(notes_path)
    history = history.revised(asked.notes, reach_mm=asked.reach_mm)
    revision = history.revision(history.current)
    head = Head(
        workshop=workshop,
        job=f"Revision {revision.number}",
        number="",
        vehicle=revision.base.name,
        dated=day,
    )
    picture, _ = revision_picture(revision)
    drawing = Drawing(patterns=(revision.pattern,))
    summary = revision.summary
    return Revised(
        done=Done(
            texts={
                ".dxf": dxf_text(drawing),
                ".svg": svg_text(drawing),
                ".json": json.dumps(history_json(history), ensure_ascii=False, indent=1) + "\n",
            },
            report=Report(
                kind="revise",
                inputs=Report.hashes(path, notes_path),
                results={
                    "piece": revision.base.name,
                    "revision": revision.number,
                    "parent": revision.parent,
                    "notes": _notes(revision.notes, revision.where, revision.left_mm.tolist()),
                    "summary": asdict(summary),
                    "scatter": asdict(revision.scatter),
                },
                defaults=asked.defaults,
                warnings=(*warnings, *revision.said),
            ),
            sentence=(
                f"revision {revision.number} of “{revision.base.name}” on "
                f"{counted(len(revision.notes), 'note')}: its outline moves by "
                f"{summary.largest_mm:.1f} mm at most, on {summary.largest_where}; "
                f"{summary.rms_mm:.1f} mm RMS."
            ),
        ),
        picture=picture,
        pdf=revision_document(RevisionSheet(head=head, revision=revision)).pdf(),
    )


def _notes(notes: Any, where: tuple[str, ...], left: list[float]) -> list[dict[str, Any]]:
    return [
        {"name": note.name, "car": note.car, "says": note.words(), "where": place, "still_mm": rest}
        for note, place, rest in zip(notes, where, left, strict=True)
    ]


def _history(path: Path, piece: str, answers: Sequence[str]) -> tuple[History, tuple[str, ...]]:
    """The revisions in a file, or a piece of a drawing without any."""
    if path.suffix.lower() == ".json":
        data = _json(path)
        if isinstance(data, dict) and data.get("form") == _HISTORY:
            return read_history_json(data), ()
        return History(read_pattern_json(data)), ()
    drawing = read_drawing(path, answers=parse_answers(answers))
    notes = tuple(f"{path.name}: {note}" for note in drawing.notes)
    return History(_one(drawing.patterns, piece, path.name)), notes


def _json(path: Path) -> object:
    try:
        data: object = json.loads(read_bytes(path, max_bytes=_MOST_BYTES).decode())
    except (ValueError, RecursionError) as error:
        raise DrawingError(f"{path} is not a JSON file: {error}.") from error
    return data


def _one(patterns: tuple[Pattern, ...], piece: str, where: str) -> Pattern:
    if not piece and len(patterns) == 1:
        return patterns[0]
    found = [pattern for pattern in patterns if pattern.name == piece]
    if not found:
        known = ", ".join(f"“{pattern.name}”" for pattern in patterns[:12])
        raise InputError(f"{where} holds the pieces {known}; say which with --piece.")
    return found[0]
