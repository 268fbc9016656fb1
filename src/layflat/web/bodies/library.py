"""What happens in the library: bodies and revisions are added, prepared and found."""

import re
from collections.abc import Mapping
from typing import Any

from django.db import transaction
from django.db.models import Prefetch, Q, QuerySet

from layflat.base import InputError
from layflat.web.bodies.models import Body, Revision
from layflat.web.files.models import StoredFile
from layflat.web.folding import folded, typed
from layflat.web.people.models import Person, Shop
from layflat.web.record.models import write_event
from layflat.web.work.models import State
from layflat.web.work.tasks import ask

_YEAR = re.compile(r"[12]\d{3}")
_MOST_WORDS = 8


def add_body(values: Mapping[str, Any], *, who: Person | None) -> tuple[Body, bool]:
    """Add a body; where the library has one of the same words, that one is meant.

    Args:
        values: the fields of `Body`.
        who: adds it.

    Returns:
        the body, and whether it is new.
    """
    with transaction.atomic():
        # The row of the shop is held, so that a form that was sent twice adds one.
        Shop.objects.select_for_update().first()
        same = Body.objects.filter(is_retired=False, **values).first()
        if same is not None:
            return same, False
        body = Body.objects.create(**values)
        write_event(
            "body.added",
            f"{body} added to the library.",
            who=who,
            after={"body": body.pk, **values},
        )
    return body, True


def add_revision(
    body: Body,
    *,
    scan: StoredFile,
    unit: str = "",
    panels: StoredFile | None = None,
    who: Person | None,
) -> Revision:
    """Add a revision to *body* and ask for its preparation.

    Where the newest is of the same scan, unit and panels, that one is meant: a form that was sent
    twice adds one.

    Args:
        body: which body.
        scan: a mesh file (see `layflat.web.bodies.contents.keep_scan`).
        unit: of the scan: mm, cm, m or in; "" where the file fixes it.
        panels: a file of panels, if there is one.
        who: adds it.
    """
    with transaction.atomic():
        # The row of the body is held, so that two people cannot take one number.
        Body.objects.select_for_update().get(pk=body.pk)
        last = body.revisions.order_by("-number").first()
        if last is not None and (last.scan, last.unit, last.panels) == (scan, unit, panels):
            return last
        number = last.number + 1 if last else 1
        revision = Revision.objects.create(
            body=body, number=number, scan=scan, unit=unit, panels=panels, added_by=who
        )
        _ask(revision, who=who)
        write_event(
            "body.revised",
            f"Revision {revision.number} of {body} added from “{scan.name}”.",
            who=who,
            after={"revision": revision.pk, "scan": scan.sha256, "unit": unit},
        )
    return revision


def add_without_scan(body: Body, *, who: Person | None) -> Revision:
    """Let a body be covered by its kept patterns alone; one that has a revision keeps it."""
    with transaction.atomic():
        Body.objects.select_for_update().get(pk=body.pk)
        last = body.revisions.order_by("-number").first()
        if last is not None:
            return last
        revision = Revision.objects.create(body=body, number=1, added_by=who)
        write_event(
            "body.revised",
            f"{body} is known by its kept patterns, without a scan.",
            who=who,
            after={"revision": revision.pk},
        )
    return revision


def prepare_again(revision: Revision, *, unit: str, who: Person | None) -> None:
    """Prepare a revision anew whose preparation failed or was stopped, perhaps in another unit.

    Raises:
        InputError: it is ready, or its preparation still goes on; nothing was changed.
    """
    with transaction.atomic():
        held = Revision.objects.select_for_update().get(pk=revision.pk)
        under_way = held.preparation is not None and not held.preparation.is_over
        if fill(held) or under_way:
            raise InputError(f"Revision {held.number} needs no preparing: see how it stands.")
        before, held.unit = held.unit, unit
        _ask(held, who=who)
        write_event(
            "body.prepared-again",
            f"{held} is prepared again, in {unit or 'the unit of the file'}.",
            who=who,
            before={"unit": before},
            after={"revision": held.pk, "unit": unit},
        )
    revision.refresh_from_db()


def _ask(revision: Revision, *, who: Person | None) -> None:
    revision.preparation = ask(
        "bodies.prepare",
        {
            "scan": revision.scan.sha256 if revision.scan else "",
            "unit": revision.unit,
            "panels": revision.panels.sha256 if revision.panels else "",
        },
        who=who,
    )
    revision.save(update_fields=["preparation", "unit"])
    fill(revision)


def fill(revision: Revision) -> bool:
    """Take over what the preparation made, once it is done; doing it again changes nothing.

    Returns:
        whether the revision is ready.
    """
    made = revision.preparation
    if revision.is_ready or made is None or made.state != State.DONE or made.result is None:
        return revision.is_ready
    result = made.result
    kept = StoredFile.objects.in_bulk(
        [result["light"], result["lines"], result["picture"]], field_name="sha256"
    )
    revision.light = kept[result["light"]]
    revision.lines = kept[result["lines"]]
    revision.picture = kept[result["picture"]]
    revision.mending = result["mending"]
    revision.save(update_fields=["light", "lines", "picture", "mending"])
    return True


def found(text: str) -> QuerySet[Body]:
    """The bodies that people mean by *text*, with their revisions as `newest_first`.

    A year finds the bodies that were built then; every other word must be in the maker, the name
    or the note, whatever its capitals and accents. A body whose years nobody wrote is found by any
    year.
    """
    wanted = Q(is_retired=False)
    for word in typed(text).split()[:_MOST_WORDS]:
        if _YEAR.fullmatch(word):
            year = int(word)
            wanted &= Q(year_from__isnull=True) | Q(year_from__lte=year)
            wanted &= Q(year_to__isnull=True) | Q(year_to__gte=year)
        else:
            wanted &= Q(words_folded__contains=folded(word))
    revisions = Revision.objects.select_related("preparation").order_by("-number")
    return Body.objects.filter(wanted).prefetch_related(
        Prefetch("revisions", queryset=revisions, to_attr="newest_first")
    )


def fill_all() -> None:
    """Take over what preparations made in the meantime."""
    waiting = Revision.objects.filter(light=None, preparation__state=State.DONE)
    for revision in waiting.select_related("preparation"):
        fill(revision)
