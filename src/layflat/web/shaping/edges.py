"""The edges of a kept pattern: begun, changed step by step, and saved as its next revision."""

import json
from collections.abc import Mapping
from typing import Any

from django.db import transaction

from layflat.base import InputError
from layflat.pattern import Pattern, pattern_json
from layflat.web.files.store import keep as keep_file
from layflat.web.patterns.keeping import keep, kept_pattern, pattern_of
from layflat.web.patterns.models import KeptPattern, KeptRevision, Origin
from layflat.web.people.models import Person
from layflat.web.shaping.models import EdgeDraft, EdgeWork
from layflat.web.shaping.wishes import (
    Wishes,
    described,
    number_of,
    shaped,
    wishes_of,
    with_corner,
    with_mark,
    with_place,
    without,
    without_corner,
)

_MOST_BYTES = 50_000_000


def begun(revision: KeptRevision) -> tuple[Pattern, Wishes]:
    """A revision's pattern without allowances and places, and what is asked of it.

    Raises:
        InputError: its file is missing or damaged.
    """
    work = EdgeWork.objects.select_related("net").filter(revision=revision).first()
    if work is not None:
        return kept_pattern(work.net.sha256), work.wishes
    pattern = pattern_of(revision)
    return pattern, wishes_of(pattern)


def changed(net: Pattern, wishes: Mapping[str, Any], fields: Mapping[str, str]) -> Wishes:
    """The wishes after a form was sent: the edges as described, then what its button does.

    Raises:
        InputError: a field cannot be used, or the result cannot be; says why.
    """
    found = described(wishes, fields)
    act, _, which = fields.get("act", "").partition("-")
    at = int(which) - 1 if which.isdecimal() and len(which) < 6 else -1
    if act == "corner":
        x, y = (number_of(fields.get(key, ""), f"The point's {key}") for key in ("x", "y"))
        found = with_corner(net, found, x, y)
    elif act == "join":
        found = without_corner(found, at)
    elif act == "place":
        found = with_place(found, fields)
    elif act == "mark":
        found = with_mark(found, fields)
    elif act in ("unplace", "unmark"):
        found = without(found, "places" if act == "unplace" else "marks", at)
    shaped(net, found)
    return found


def keep_draft(revision: KeptRevision, wishes: Wishes, *, seen: int) -> EdgeDraft | None:
    """Keep changed wishes; None where somebody, or the same tap, changed them already."""
    with transaction.atomic():
        KeptPattern.objects.select_for_update().get(pk=revision.kept_id)
        draft = EdgeDraft.objects.filter(kept=revision.kept_id).first()
        if (draft.version if draft else 0) != seen:
            return None
        if draft is None:
            return EdgeDraft.objects.create(
                kept_id=revision.kept_id, based_on=revision, wishes=wishes
            )
        draft.wishes, draft.version = wishes, draft.version + 1
        draft.save(update_fields=["wishes", "version"])
        return draft


def save(draft: EdgeDraft, *, who: Person | None) -> KeptRevision:
    """Keep what is asked as the next revision; the draft is gone then.

    Raises:
        InputError: it cannot be.
        OutputError: the data folder cannot be written.
    """
    base = draft.based_on
    net, _ = begun(base)
    done = shaped(net, draft.wishes)
    content = json.dumps(pattern_json(net), separators=(",", ":")).encode()
    stored = keep_file(
        [content],
        name=f"{draft.kept.name}-net.json",
        media_type="application/json",
        most_bytes=_MOST_BYTES,
        who=who,
    )
    with transaction.atomic():
        revision = keep(
            draft.kept.body,
            name=draft.kept.name,
            title=draft.kept.title,
            pattern=done.pattern,
            origin=Origin.EDITED,
            exactness=base.exactness,
            said=[*base.said, *(line for line in done.said if line not in base.said)],
            source=base.source,
            who=who,
            based_on=base,
        )
        EdgeWork.objects.get_or_create(
            revision=revision, defaults={"net": stored, "wishes": draft.wishes}
        )
        EdgeDraft.objects.filter(pk=draft.pk).delete()
    return revision


def newest_of(kept: KeptPattern) -> KeptRevision:
    """The newest revision of a kept pattern.

    Raises:
        InputError: it has none.
    """
    found = kept.revisions.select_related("kept__body", "pattern", "source").first()
    if found is None:
        raise InputError("This pattern has no revision yet.")
    return found
