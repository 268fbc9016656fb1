"""Which corrections count, and the revisions that they hold."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Final

from layflat.revise import History, Revision, read_history_json
from layflat.web.bodies.models import Body
from layflat.web.corrections.models import Correction
from layflat.web.files.store import kept_json

_REMEMBERED: Final = 32
_MOST_BYTES: Final = 64_000_000


@dataclass(frozen=True)
class Past:
    """What there was of a piece's revisions.

    Attributes:
        history: SHA-256 of the newest file of revisions, or "" where there is none.
        current: number of the revision that is cut now; 0 for the pattern as it is computed.
        last: the greatest number that was given.
    """

    history: str
    current: int
    last: int


def past_of(body: Body, piece: str) -> Past:
    """What there was of a piece's revisions until now; one query."""
    kept = [
        one
        for one in Correction.objects.filter(body=body, piece=piece).select_related("history")
        if one.number is not None
    ]
    if not kept:
        return Past("", 0, 0)
    last = max(kept, key=lambda one: one.number or 0)
    now = [one.number or 0 for one in kept if one.state == Correction.State.KEPT]
    return Past(last.history.sha256, max(now, default=0), last.number or 0)


def current_of(body: Body) -> dict[str, Correction]:
    """The corrections by which a body's pieces are cut now, by the pieces' names; one query."""
    kept = Correction.objects.filter(body=body, state=Correction.State.KEPT)
    found: dict[str, Correction] = {}
    for one in kept.select_related("history").order_by("number"):
        found[one.piece] = one
    return found


def stretch_said(body: int, piece: str, details: Mapping[str, Any]) -> str:
    """What fit notes say of the stretch of a piece from a kept pattern, in a sentence, or "".

    One query; none for a piece of another kind, or one that no revision from notes was cut by.

    Args:
        body: its primary key.
        piece: whose.
        details: of the computed piece (see `layflat.web.cover.models.Piece`).
    """
    number = (details.get("correction") or {}).get("number", 0) if "kept" in details else 0
    found = Correction.objects.filter(body=body, piece=piece, number=number) if number else ()
    return next((str(one.figures.get("stretch", {}).get("words", "")) for one in found), "")


def received_now(body: Body, piece: str) -> Correction | None:
    """The newest correction from another shop that counts; what was noted there counts here, too.

    One query.
    """
    kept = Correction.objects.filter(body=body, piece=piece, state=Correction.State.KEPT)
    return kept.filter(came__isnull=False).order_by("number").last()


def facts_for(body: Body, panels: Iterable[str]) -> dict[str, dict[str, Any]]:
    """What a task is given: `number` and `history` of each correction of some panels' pieces."""
    names = tuple(panels)
    return {
        piece: {"number": one.number, "history": one.history.sha256}
        for piece, one in current_of(body).items()
        if any(piece == name or piece.startswith(f"{name} ") for name in names)
    }


def revisions_of(facts: Mapping[str, Mapping[str, Any]]) -> dict[str, Revision]:
    """The revisions that `facts_for` names, by piece.

    Raises:
        InputError: a file is missing or damaged.
    """
    return {
        piece: history_of(str(one["history"])).revision(int(one["number"]))
        for piece, one in facts.items()
    }


# Contents are named by their hash and never change, so that each is read once.
@lru_cache(maxsize=_REMEMBERED)
def history_of(sha256: str) -> History:
    """The revisions in a kept file.

    Raises:
        InputError: it is missing or damaged.
    """
    data = kept_json(
        sha256, what="A file of revisions", remedy="note the piece anew", most_bytes=_MOST_BYTES
    )
    return read_history_json(data)
