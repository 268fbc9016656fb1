"""Revisions to plain values and back, exactly; a passport keeps the revision that it used."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, fields
from typing import Any, Final

import numpy as np

from layflat.base import DrawingError, FloatArray
from layflat.pattern import Pattern, pattern_json, read_pattern_json
from layflat.revise.history import History
from layflat.revise.plate import Field
from layflat.revise.records import Note, NoteKind, Spot
from layflat.revise.revision import Revision
from layflat.revise.summary import Summary
from layflat.revise.weigh import Scatter

FORM: Final = "layflat revision 1"
HISTORY_FORM: Final = "layflat revisions 1"

_MOST_MM = 1e6
_MOST_PUSH = 1e9
_MOST_PARTS = 20_000
_LONGEST = 500


def revision_json(revision: Revision, *, with_base: bool = True) -> dict[str, Any]:
    """The revision as plain values for JSON; `read_revision_json` makes an equal one of them."""
    base = {"base": pattern_json(revision.base)} if with_base else {}
    field = revision.field
    return {
        "form": FORM,
        "number": revision.number,
        "parent": revision.parent,
        **base,
        "pattern": pattern_json(revision.pattern),
        "notes": [_note_json(note) for note in revision.notes],
        "places_mm": revision.places_mm.ravel().tolist(),
        "where": list(revision.where),
        "left_mm": revision.left_mm.tolist(),
        "field": {
            "centres_mm": field.centres_mm.ravel().tolist(),
            "pushes": field.pushes.ravel().tolist(),
            "reach_mm": field.reach_mm,
            "affine": field.affine.ravel().tolist(),
        },
        "scatter": asdict(revision.scatter),
        "summary": asdict(revision.summary)
        | {"largest_at_mm": list(revision.summary.largest_at_mm)},
        "said": list(revision.said),
    }


def history_json(history: History) -> dict[str, Any]:
    """All revisions of a pattern as plain values; `read_history_json` makes an equal one."""
    return {
        "form": HISTORY_FORM,
        "base": pattern_json(history.base),
        "current": history.current,
        "revisions": [revision_json(each, with_base=False) for each in history.revisions],
    }


def _note_json(note: Note) -> dict[str, Any]:
    return {
        "kind": note.kind.value,
        "at": _spot_json(note.at),
        "to": None if note.to is None else _spot_json(note.to),
        "mm": [float(value) for value in note.mm],
        "cut_out": note.cut_out,
        "doubt_mm": float(note.doubt_mm),
        "car": note.car,
        "revision": note.revision,
        "name": note.name,
        "confirmed": note.confirmed,
    }


def _spot_json(spot: Spot) -> dict[str, Any]:
    point = None if spot.point_mm is None else [float(value) for value in spot.point_mm]
    return {"point_mm": point, "edge": spot.edge, "share": float(spot.share)}


def read_revision_json(data: object) -> Revision:
    """The revision that `revision_json` wrote, from what JSON read.

    Raises:
        DrawingError: it is not of that form, or beyond its bounds.
    """
    whole = _table(data, "it")
    return _revision(whole, read_pattern_json(whole.get("base")))


def read_history_json(data: object) -> History:
    """The history that `history_json` wrote, from what JSON read.

    Raises:
        DrawingError: it is not of that form, or beyond its bounds.
    """
    whole = _table(data, "it")
    _require_form(whole, HISTORY_FORM)
    base = read_pattern_json(whole.get("base"))
    rows = _list(whole.get("revisions"), "the list of revisions")
    revisions = tuple(_revision(_table(row, "a revision"), base) for row in rows)
    current = _whole(whole.get("current"), "the current revision")
    numbers = [each.number for each in revisions]
    if numbers != sorted(set(numbers)) or current not in {0, *numbers}:
        raise _bad("its revisions are not in order, or the current one is not among them")
    return History(base, revisions, current)


def _revision(whole: Mapping[str, Any], base: Pattern) -> Revision:
    _require_form(whole, FORM)
    notes = tuple(_note(row) for row in _list(whole.get("notes"), "the list of notes"))
    left = _numbers(whole.get("left_mm"), "what notes still ask", columns=1)[:, 0]
    places = _numbers(whole.get("places_mm"), "the notes' places", columns=2)
    where = tuple(_text(row, "a place") for row in _list(whole.get("where"), "the places"))
    if not len(left) == len(places) == len(where) == len(notes):
        raise _bad("its notes have not one place and one number each")
    return Revision(
        number=_whole(whole.get("number"), "its number"),
        parent=_whole(whole.get("parent"), "its parent"),
        base=base,
        pattern=read_pattern_json(whole.get("pattern")),
        notes=notes,
        places_mm=places,
        where=where,
        left_mm=left,
        field=_field(_table(whole.get("field"), "its field")),
        scatter=_scatter(_table(whole.get("scatter"), "its scatter")),
        summary=_summary(_table(whole.get("summary"), "its summary")),
        said=tuple(_text(row, "a sentence") for row in _list(whole.get("said"), "what is said")),
    )


def _bad(what: str) -> DrawingError:
    return DrawingError(f"The revision cannot be read: {what}. Revise the pattern anew.")


def _require_form(whole: Mapping[str, Any], form: str) -> None:
    found = whole.get("form")
    if found != form:
        raise _bad(f"its form is {str(found)[:40]!r}, not {form!r}")


def _table(data: object, what: str) -> Mapping[str, Any]:
    if not isinstance(data, dict):
        raise _bad(f"{what} is no table")
    return data


def _list(data: object, what: str, *, most: int = _MOST_PARTS) -> Sequence[Any]:
    if not isinstance(data, list) or len(data) > most:
        raise _bad(f"{what} is no list of at most {most} entries")
    return data


def _number(data: object, what: str, *, most: float = _MOST_MM) -> float:
    # A flag is a number to Python.
    if isinstance(data, bool) or not isinstance(data, int | float):
        raise _bad(f"{what} is no number")
    if not (math.isfinite(data) and abs(data) <= most):
        raise _bad(f"{what} is {data:g}; {most:g} is the most")
    return float(data)


def _whole(data: object, what: str) -> int:
    if type(data) is not int or not 0 <= data <= _MOST_PARTS:
        raise _bad(f"{what} is no whole number from 0 to {_MOST_PARTS}")
    return data


def _text(data: object, what: str) -> str:
    if not isinstance(data, str) or len(data) > _LONGEST:
        raise _bad(f"{what} is no text of at most {_LONGEST} signs")
    return data


def _numbers(data: object, what: str, *, columns: int, most: float = _MOST_MM) -> FloatArray:
    rows = _list(data, what, most=10 * _MOST_PARTS)
    if len(rows) % columns:
        raise _bad(f"{what} has {len(rows)} numbers, not {columns} for each")
    found = np.array([_number(value, what, most=most) for value in rows], np.float64)
    return found.reshape(-1, columns)


def _note(data: object) -> Note:
    row = _table(data, "a note")
    kind = _text(row.get("kind"), "a note's kind")
    if kind not in set(NoteKind):
        raise _bad(f"a note's kind is {kind[:40]!r}")
    end = row.get("to")
    cut_out = row.get("cut_out")
    measures = _list(row.get("mm"), "a note's measures", most=2)
    return Note(
        kind=NoteKind(kind),
        at=_spot(row.get("at")),
        to=None if end is None else _spot(end),
        mm=tuple(_number(value, "a note's measure") for value in measures),
        cut_out=None if cut_out is None else _whole(cut_out, "a note's cut-out"),
        doubt_mm=_number(row.get("doubt_mm"), "a note's doubt"),
        car=_text(row.get("car"), "a note's car"),
        revision=_whole(row.get("revision"), "a note's revision"),
        name=_text(row.get("name"), "a note's name"),
        confirmed=row.get("confirmed") is True,
    )


def _spot(data: object) -> Spot:
    row = _table(data, "a note's place")
    point = row.get("point_mm")
    pair = None
    if point is not None:
        rows = _numbers(point, "a note's place", columns=2)
        if len(rows) != 1:
            raise _bad("a note's place is not one x and one y")
        pair = (float(rows[0, 0]), float(rows[0, 1]))
    return Spot(
        point_mm=pair,
        edge=_text(row.get("edge"), "a note's edge"),
        share=_number(row.get("share"), "a note's share"),
    )


def _field(row: Mapping[str, Any]) -> Field:
    centres = _numbers(row.get("centres_mm"), "its field", columns=2)
    pushes = _numbers(row.get("pushes"), "its field", columns=2, most=_MOST_PUSH)
    affine = _numbers(row.get("affine"), "its field", columns=2)
    reach = row.get("reach_mm")
    if len(centres) != len(pushes) or len(affine) != 3:
        raise _bad("its field has not one push for each centre")
    size = None if reach is None else _number(reach, "its reach")
    if size is not None and size <= 0.0:
        raise _bad("its reach is not above 0")
    return Field(centres, pushes, size, affine)


def _scatter(row: Mapping[str, Any]) -> Scatter:
    weights = _table(row.get("weights"), "the cars' weights")
    return Scatter(
        shared_mm=_number(row.get("shared_mm"), "the notes' size"),
        car_mm=_number(row.get("car_mm"), "the cars' scatter"),
        reach_mm=_number(row.get("reach_mm"), "the reach"),
        weights={
            _text(car, "a car"): _number(weight, "a weight") for car, weight in weights.items()
        },
    )


def _summary(row: Mapping[str, Any]) -> Summary:
    numbers = {
        field.name: _number(row.get(field.name), f"the summary's {field.name}")
        for field in fields(Summary)
        if field.name not in ("largest_at_mm", "largest_where", "new_inflections")
    }
    at = _numbers(row.get("largest_at_mm"), "where it moved most", columns=2)
    if len(at) != 1:
        raise _bad("where it moved most is no place")
    return Summary(
        **numbers,
        largest_at_mm=(float(at[0, 0]), float(at[0, 1])),
        largest_where=_text(row.get("largest_where"), "where it moved most"),
        new_inflections=_whole(row.get("new_inflections"), "how many bends are new"),
    )
