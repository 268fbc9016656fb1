"""Corrections that came from another shop, beside those that are here."""

import datetime
import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

from django.db import transaction

from layflat.exchange import chain, joined, mark, of_shop
from layflat.papers import revision_picture
from layflat.revise import History, history_json
from layflat.web.bodies.models import Body
from layflat.web.corrections.figures import figures_of
from layflat.web.corrections.models import Correction
from layflat.web.corrections.reading import history_of, past_of
from layflat.web.files.models import StoredFile
from layflat.web.files.store import keep
from layflat.web.people.models import Person
from layflat.web.record.models import write_event

_MOST_BYTES: Final = 64_000_000


@dataclass(frozen=True)
class Here:
    """What is here of a piece's corrections.

    Attributes:
        marks: of the revisions that led to what is cut now, the oldest first.
        now: the correction by which it is cut, or None.
        back: the newest correction that was taken back, by its mark.
    """

    marks: list[str]
    now: Correction | None
    back: dict[str, Correction]


def here_of(body: Body | None, piece: str) -> Here:
    """What is here of a piece's corrections; one query, and a file for each of the own ones.

    Raises:
        InputError: a file is missing or damaged.
    """
    rows = Correction.objects.filter(body=body, piece=piece).exclude(number=None)
    marks: list[str] = []
    now = None
    back = {}
    for row in rows.select_related("history").order_by("number") if body else ():
        theirs = _marks(row)
        if row.state == Correction.State.KEPT:
            marks += theirs
            now = row
        elif theirs:
            back[theirs[-1]] = row
    return Here(marks, now, back)


def _marks(row: Correction) -> list[str]:
    """Of what came from another shop as it was there: on the own pattern it may lie elsewhere."""
    if row.came is not None:
        return [str(each) for each in row.came["marks"]]
    return [mark(history_of(row.history.sha256).revision(row.number or 0))]


def brought(body: Body | None, piece: str, theirs: History, shop: str) -> History:
    """All revisions of a piece once those of another shop are taken; theirs is current.

    Raises:
        InputError: they are of another piece, or a file is missing or damaged.
    """
    named = of_shop(theirs, shop)
    past = past_of(body, piece) if body else None
    if past is None or not past.history:
        return named
    ours = replace(history_of(past.history), current=past.current)
    return joined(ours, named)


def take_correction(
    body: Body,
    piece: str,
    theirs: History,
    *,
    came: Mapping[str, Any],
    said: str,
    who: Person | None,
    at: datetime.datetime,
) -> Correction | None:
    """Cut a piece by another shop's correction from the next car on.

    What is here stays on record; taken back, the piece is cut as before. Taking the same again
    changes nothing.

    Args:
        body, piece: whose.
        theirs: the other shop's revisions.
        came: `shop`, `key` and `number` of who signed it and what it was there.
        said: where it comes from, in a sentence that stays with it.
        who, at: takes it, and when.

    Returns:
        the correction, or None where the piece is cut by it already.

    Raises:
        InputError: it is of another piece, or a file is missing or damaged.
        OutputError: a file cannot be kept.
    """
    marks = [mark(one) for one in chain(theirs)]
    with transaction.atomic():
        Body.objects.select_for_update().get(pk=body.pk)
        if not marks or marks[-1] in here_of(body, piece).marks:
            return None
        after = brought(body, piece, theirs, str(came["shop"]))
        made = after.revision(after.current)
        picture, factor = revision_picture(made)
        content = json.dumps(history_json(after), ensure_ascii=False, separators=(",", ":"))
        found = Correction.objects.create(
            body=body,
            piece=piece,
            number=made.number,
            state=Correction.State.KEPT,
            history=_kept(content, f"{piece}-revisions.json", "application/json", who),
            picture=_kept(picture, f"{piece}-revision.svg", "image/svg+xml", who),
            figures=figures_of(made, factor, earlier=after.revisions),
            said=[said, *made.said],
            came={**came, "marks": marks},
            settled_at=at,
            settled_by=who,
        )
        write_event(
            "correction.taken",
            f"Revision {made.number} of {piece} of {body} came from {came['shop']}; it is cut from "
            f"the next car on: moved by at most {made.summary.largest_mm:.1f} mm.",
            who=who,
            after={"correction": found.pk, "history": found.history.sha256},
        )
    return found


def _kept(content: str, name: str, media_type: str, who: Person | None) -> StoredFile:
    data = content.encode()
    return keep([data], name=name, media_type=media_type, most_bytes=_MOST_BYTES, who=who)
