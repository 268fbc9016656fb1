"""Relief cuts of one piece on its page: taken, proposed, refused."""

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from layflat.web.cover.changing import why_not
from layflat.web.cover.choices import from_json
from layflat.web.cover.cuts import Path, cuts_seen
from layflat.web.cover.models import Cover, Piece


@dataclass(frozen=True, kw_only=True)
class CutRow:
    """A cut, or a seam, on the page.

    Attributes:
        name: "R1" and so on.
        path: its JSON, as forms send it.
        start: the JSON of its first point, where it begins at an edge.
        flat: the JSON of the same in the flat, or "" where that is not known.
        words: what it gains, or "".
        is_taken: whether it is chosen.
    """

    name: str
    path: str
    start: str
    flat: str
    words: str
    is_taken: bool


def cuts_context(cover: Cover, piece: Piece, *, keeps_counter: bool) -> dict[str, Any]:
    """What the page of a piece shows of its cuts.

    Args:
        cover: as it is now.
        piece: as it was computed.
        keeps_counter: whether the person may choose.
    """
    choices, panel = from_json(cover.choices), piece.panel_name
    choice = choices.of(panel)
    taken = () if choice is None else choice.reliefs
    refused = () if choice is None else choice.refused_reliefs
    found = piece.details.get("reliefs", {})
    return {
        "cuts": cut_rows(
            "R",
            taken=taken,
            refused=refused,
            proposed=found.get("proposals", ()),
            known=found.get("taken", ()),
        ),
        "cut_sentences": found.get("sentences", ()),
        "refused_cuts": len(refused),
        "cuts_seen": cuts_seen(choices, panel),
        "panel": panel,
        "may_cut": keeps_counter
        and choice is not None
        and not cover.is_dropped
        and not why_not(cover.job),
    }


def cut_rows(
    letter: str,
    *,
    taken: tuple[Path, ...],
    refused: tuple[Path, ...],
    proposed: Iterable[Mapping[str, Any]],
    known: Iterable[Mapping[str, Any]] = (),
) -> list[CutRow]:
    """Those that are taken, by their numbers, then those that are proposed, counted on.

    Args:
        letter: their names begin with.
        taken, refused: paths, as chosen now.
        proposed: see `layflat.web.cover.relieved`.
        known: more paths whose flat is known.
    """
    rows, flat = list[CutRow](), dict[Path, str]()
    proposed = list(proposed)
    for item in (*known, *proposed):
        flat[_path(item)] = json.dumps(item["flat"]) if "flat" in item else ""
    for path in taken:
        rows.append(_row(letter, rows, path, flat.get(path, ""), words="", is_taken=True))
    for item in proposed:
        path = _path(item)
        if path not in taken and path not in refused:
            row = _row(letter, rows, path, flat[path], words=item["words"], is_taken=False)
            rows.append(row)
    return rows


def _path(item: Mapping[str, Any]) -> Path:
    return tuple((x, y, z) for x, y, z in item["path"])


def _row(
    letter: str, before: list[CutRow], path: Path, flat: str, *, words: str, is_taken: bool
) -> CutRow:
    return CutRow(
        name=f"{letter}{len(before) + 1}",
        path=json.dumps(path),
        start=json.dumps(path[0]),
        flat=flat,
        words=words,
        is_taken=is_taken,
    )
