"""Fit notes from a TOML file."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from layflat.base import SettingError, Settings, read_settings
from layflat.revise.records import DOUBT_MM, MOST_MM, Note, NoteKind, Spot

_FAR_MM = 1e5
_LEAST_DOUBT_MM = 0.05
_MOST_DOUBT_MM = 10.0
_MOST_REVISIONS = 10_000
_MOST_CUT_OUTS = 10_000
_PAIR = 2


@dataclass(frozen=True)
class NotesFile:
    """What a file of fit notes says.

    Attributes:
        notes: in the file's order.
        reach_mm: the reach that it asks for; None for the likeliest.
        defaults: values that nobody gave, by name.
    """

    notes: tuple[Note, ...]
    reach_mm: float | None
    defaults: dict[str, Any]


def read_notes_file(path: Path) -> NotesFile:
    """The fit notes in the TOML file at *path*.

    Raises:
        SettingError: the file is not TOML, or a value is missing, not known or out of range.
        InputError: the file cannot be read.
    """
    settings = read_settings(path)
    reach = settings.number("reach_mm", least=20.0, most=5000.0) if "reach_mm" in settings else None
    car = settings.text("car", default="1")
    revision = settings.integer("revision", least=0, most=_MOST_REVISIONS, default=0)
    doubt = settings.number(
        "doubt_mm", least=_LEAST_DOUBT_MM, most=_MOST_DOUBT_MM, default=DOUBT_MM
    )
    notes = tuple(
        _note(table, car=car, revision=revision, doubt=doubt)
        for table in settings.tables("note", optional=True)
    )
    settings.finish()
    if not notes:
        raise SettingError(f"{path} holds no fit notes; write each as a table [[note]].")
    return NotesFile(notes, reach, dict(settings.defaults))


def _note(table: Settings, *, car: str, revision: int, doubt: float) -> Note:
    kind = NoteKind(table.choice("kind", tuple(NoteKind)))
    cut_out = (
        table.integer("cut_out", least=1, most=_MOST_CUT_OUTS) - 1 if "cut_out" in table else None
    )
    at = Spot() if cut_out is not None else _spot(table, "at", "share")
    to = None
    if "to" in table or "to_share" in table:
        to = _spot(table, "to", "to_share")
    found = Note(
        kind=kind,
        at=at,
        to=to,
        mm=_measures(table, kind),
        cut_out=cut_out,
        doubt_mm=table.number(
            "doubt_mm", least=_LEAST_DOUBT_MM, most=_MOST_DOUBT_MM, default=doubt
        ),
        car=table.text("car", default=car),
        revision=table.integer("revision", least=0, most=_MOST_REVISIONS, default=revision),
        name=table.text("name", default="", least=0),
        confirmed=table.flag("confirmed", default=False),
    )
    table.finish()
    return found


def _spot(table: Settings, point: str, share: str) -> Spot:
    """A place, by its point or along an edge."""
    if point in table:
        pair = table.numbers(point, least=-_FAR_MM, most=_FAR_MM)
        if len(pair) != _PAIR:
            raise SettingError(f"{table.where}: “{point}” must be two numbers, [x, y] in mm.")
        return Spot(point_mm=(pair[0], pair[1]))
    edge = table.text("edge")
    return Spot(edge=edge, share=table.number(share, least=0.0, most=1.0, default=0.5))


def _measures(table: Settings, kind: NoteKind) -> tuple[float, ...]:
    if kind is NoteKind.FITS or (kind is NoteKind.FINGER and "mm" not in table):
        return ()
    if kind in (NoteKind.CORNER, NoteKind.SHIFT):
        return table.numbers("mm", least=-10.0 * MOST_MM, most=10.0 * MOST_MM)
    return (table.number("mm", least=0.0, most=10.0 * MOST_MM),)
