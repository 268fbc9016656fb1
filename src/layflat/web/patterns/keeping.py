"""Keeping a pattern for a body, and reading it again."""

import functools
import json
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any, Final

from django.db import transaction
from django.db.models import F, OuterRef, Subquery

from layflat.base import InputError
from layflat.pattern import Drawing, Pattern, pattern_json, read_pattern_json, svg_text
from layflat.web.bodies.library import add_without_scan
from layflat.web.bodies.models import Body
from layflat.web.files.models import StoredFile
from layflat.web.files.store import keep as keep_file
from layflat.web.files.store import kept_json
from layflat.web.patterns.models import KeptPattern, KeptRevision, Origin
from layflat.web.people.models import Person
from layflat.web.record.models import write_event

_MOST_BYTES: Final = 50_000_000
_LONGEST_NAME: Final = 80
_LONGEST_TITLE: Final = 120
_REMEMBERED: Final = 64


def keep(
    body: Body,
    *,
    name: str,
    title: str,
    pattern: Pattern,
    origin: Origin | str,
    exactness: Mapping[str, Any],
    said: Sequence[str],
    source: StoredFile | None,
    who: Person | None,
    based_on: KeptRevision | None = None,
) -> KeptRevision:
    """Keep a pattern as the first or the next revision of the body's pattern of that name.

    Where the newest revision is the same pattern of the same origin, that one is meant: a form
    that was sent twice adds one. A pattern that was retired is offered again. A body that has no
    revision gets one without a scan, so that jobs can be made on it.

    Args:
        body: the vehicle that it fits.
        name: its panel's name; the pattern takes it.
        title: as people write it.
        pattern: in mm; checked by whoever made it.
        origin: where it came from.
        exactness: plain values for JSON that say how exact it is.
        said: sentences on what was mended, guessed or left open.
        source: the file that it was made from.
        who: keeps it.
        based_on: the revision that it was edited from, or that of another car.

    Raises:
        InputError: the name or the title is empty or too long.
        OutputError: the data folder cannot be written.
    """
    name, title = name.strip(), title.strip()
    if not name or len(name) > _LONGEST_NAME:
        raise InputError(f"Name the piece, in at most {_LONGEST_NAME} signs.")
    if not title or len(title) > _LONGEST_TITLE:
        raise InputError(f"Write what the piece is called, in at most {_LONGEST_TITLE} signs.")
    named = replace(pattern, name=name)
    content = json.dumps(pattern_json(named), separators=(",", ":")).encode()
    drawn = _for_screens(svg_text(Drawing(patterns=(named,)))).encode()
    stored = _stored(content, f"{name}.json", "application/json", who)
    picture = _stored(drawn, f"{name}.svg", "image/svg+xml", who)
    with transaction.atomic():
        # The row of the body is held, so that two people cannot take one name or one number.
        Body.objects.select_for_update().get(pk=body.pk)
        add_without_scan(body, who=who)
        kept, _ = KeptPattern.objects.get_or_create(body=body, name=name, defaults={"title": title})
        if kept.title != title or kept.is_retired:
            kept.title, kept.is_retired, kept.version = title, False, kept.version + 1
            kept.save(update_fields=["title", "is_retired", "version"])
        last = kept.revisions.first()
        if last is not None and (last.pattern_id, last.origin) == (stored.pk, str(origin)):
            return last
        revision = KeptRevision.objects.create(
            kept=kept,
            number=last.number + 1 if last else 1,
            pattern=stored,
            picture=picture,
            origin=origin,
            exactness=dict(exactness),
            said=list(said),
            source=source,
            based_on=based_on,
            added_by=who,
        )
        write_event(
            "pattern.kept",
            f"{kept.title} of {body} kept as revision {revision.number}, from "
            f"{Origin(origin).label}.",
            who=who,
            after={"body": body.pk, "revision": revision.pk, "pattern": stored.sha256},
        )
    return revision


def _for_screens(svg: str) -> str:
    """A drawing whose lines are as thick in a small picture as in a large one, in pixels."""
    thin = ' vector-effect="non-scaling-stroke" stroke-width="1.25"'
    return svg.replace("<path", f"<path{thin}").replace("<polyline", f"<polyline{thin}")


def _stored(data: bytes, name: str, media_type: str, who: Person | None) -> StoredFile:
    return keep_file([data], name=name, media_type=media_type, most_bytes=_MOST_BYTES, who=who)


def current(body: Body) -> list[KeptRevision]:
    """The newest revision of each of the body's patterns that are still offered, by title."""
    newest = KeptRevision.objects.filter(kept=OuterRef("kept")).order_by("-number").values("pk")[:1]
    found = KeptRevision.objects.filter(kept__body=body, kept__is_retired=False)
    found = found.select_related("kept", "pattern", "picture", "source", "added_by")
    return list(found.filter(pk=Subquery(newest)).order_by("kept__title", F("kept_id")))


def pattern_of(revision: KeptRevision) -> Pattern:
    """The pattern of a revision.

    Raises:
        InputError: its file is missing or damaged.
    """
    return kept_pattern(revision.pattern.sha256)


@functools.lru_cache(maxsize=_REMEMBERED)
def kept_pattern(sha256: str) -> Pattern:
    """The pattern of a kept file, by its hash.

    Raises:
        InputError: it is missing or damaged.
    """
    data = kept_json(
        sha256, what="A kept pattern's file", remedy="keep the pattern anew", most_bytes=_MOST_BYTES
    )
    return read_pattern_json(data)


def set_retired(kept: KeptPattern, *, is_retired: bool, who: Person | None) -> None:
    """Offer a locked pattern no longer for new covers, or again; nothing when that is so already.

    Covers that have it keep it.
    """
    if kept.is_retired == is_retired:
        return
    kept.is_retired, kept.version = is_retired, kept.version + 1
    kept.save(update_fields=["is_retired", "version"])
    done = "no longer offered" if is_retired else "offered again"
    write_event(
        "pattern.retired" if is_retired else "pattern.restored",
        f"The kept pattern {kept.title} of {kept.body} is {done}.",
        who=who,
        after={"pattern": kept.pk},
    )
