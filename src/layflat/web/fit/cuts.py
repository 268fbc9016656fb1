"""Relief cuts of one piece on its page: taken, proposed, refused."""

import json
from dataclasses import dataclass
from typing import Any

from layflat.web.cover.changing import why_not
from layflat.web.cover.choices import from_json
from layflat.web.cover.choosing import reliefs_seen
from layflat.web.cover.models import Cover, Piece


@dataclass(frozen=True, kw_only=True)
class CutRow:
    """A cut on the page.

    Attributes:
        name: "R1" and so on.
        path: its JSON, as forms send it.
        words: what it gains, or "".
        is_taken: whether it is chosen.
    """

    name: str
    path: str
    words: str
    is_taken: bool


def cuts_context(cover: Cover, piece: Piece, *, keeps_counter: bool) -> dict[str, Any]:
    """What the page of a piece shows of its cuts.

    Args:
        cover: as it is now.
        piece: as it was computed.
        keeps_counter: whether the person may choose.
    """
    choices = from_json(cover.choices)
    choice = choices.of(piece.panel)
    taken = () if choice is None else choice.reliefs
    refused = () if choice is None else choice.refused_reliefs
    found = piece.details.get("reliefs", {})
    rows = [
        CutRow(name=f"R{number}", path=json.dumps(path), words="", is_taken=True)
        for number, path in enumerate(taken, start=1)
    ]
    for item in found.get("proposals", ()):
        path = tuple(tuple(point) for point in item["path"])
        if path not in taken and path not in refused:
            rows.append(
                CutRow(
                    name=item["name"],
                    path=json.dumps(item["path"]),
                    words=item["words"],
                    is_taken=False,
                )
            )
    return {
        "cuts": rows,
        "cut_sentences": found.get("sentences", ()),
        "refused_cuts": len(refused),
        "cuts_seen": reliefs_seen(choices, piece.panel),
        "may_cut": keeps_counter
        and choice is not None
        and not cover.is_dropped
        and not why_not(cover.job),
    }
