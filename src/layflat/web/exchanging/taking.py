"""Taking what an archive brings into the library; nothing that is here is changed."""

from collections.abc import Collection
from typing import Final

from django.db import transaction
from django.utils import timezone

from layflat.base import InputError, counted
from layflat.exchange import CorrectionState, Opened, PatternLine, PatternState, missing
from layflat.web.bodies.library import add_body, add_revision
from layflat.web.bodies.models import Body, Revision
from layflat.web.corrections.taking import take_correction
from layflat.web.cover.choices import from_json, to_json
from layflat.web.cover.models import SavedCover
from layflat.web.exchanging.comparing import (
    BODY,
    COVERS,
    body_marks,
    correction_key,
    own_body_marks,
    own_pattern_marks,
    pattern_marks,
)
from layflat.web.exchanging.models import Received
from layflat.web.exchanging.receiving import content_of, files_of
from layflat.web.patterns.keeping import keep as keep_pattern
from layflat.web.patterns.models import KeptRevision, Origin
from layflat.web.people.models import Person
from layflat.web.record.models import write_event

_TYPES: Final = {
    "ply": "model/x-ply",
    "stl": "model/stl",
    "obj": "model/obj",
    "glb": "model/gltf-binary",
    "json": "application/json",
}


def take(
    received: Received, *, into: Body | None, wanted: Collection[str], who: Person | None
) -> tuple[Body, int]:
    """Add what is wanted of an archive to a body, or to a new one.

    Revisions are added after those that are here, and only those that are not here yet; what is
    here stays as it is. Sending a form twice adds nothing more.

    Args:
        received: the archive.
        into: the body; None to add one with the archive's words.
        wanted: keys of items (see `layflat.web.exchanging.comparing.Item`).
        who: takes it.

    Returns:
        the body, and how many things were added.

    Raises:
        InputError: nothing is wanted, or the archive is damaged by now.
        OutputError: a file cannot be kept.
    """
    if not wanted:
        raise InputError("Nothing is ticked; tick what is to be taken.")
    with content_of(received) as found, transaction.atomic():
        body = into or _new_body(found, who)
        added = _take_bodies(found, body, who) if BODY in wanted else 0
        for line in found.contents.patterns:
            if f"pattern-{line.name}" in wanted:
                added += _take_pattern(found, line, body, received, who)
        if COVERS in wanted:
            added += _take_covers(found, body, who)
        for state in found.contents.corrections:
            if correction_key(state) in wanted:
                added += _take_correction(found, state, body, received, who)
        Received.objects.filter(pk=received.pk).update(body=body)
        if added:
            write_event(
                "archive.taken",
                f"{counted(added, 'thing')} of an archive signed as {received.shop} added to the "
                f"{body}.",
                who=who,
                after={"archive": received.archive.sha256, "body": body.pk},
            )
    return body, added


def _new_body(found: Opened, who: Person | None) -> Body:
    vehicle = found.contents.vehicle
    values = {
        "maker": vehicle.maker,
        "name": vehicle.name,
        "year_from": vehicle.year_from,
        "year_to": vehicle.year_to,
        "note": vehicle.note,
    }
    return add_body(values, who=who)[0]


def _take_bodies(found: Opened, body: Body, who: Person | None) -> int:
    states = found.contents.bodies
    places = missing(body_marks(found, states), own_body_marks(body))
    for place in places:
        state = states[place]
        names = [name for name in (state.scan, state.panels) if name]
        kept = files_of(found, names, _TYPES, who)
        add_revision(
            body,
            scan=kept[state.scan],
            unit=state.unit,
            panels=kept.get(state.panels),
            who=who,
        )
    return len(places)


def _take_pattern(
    found: Opened, line: PatternLine, body: Body, received: Received, who: Person | None
) -> int:
    places = missing(pattern_marks(found, line), own_pattern_marks(body, line.name))
    made: dict[int, KeptRevision] = {}
    for place in places:
        state = line.revisions[place]
        made[state.number] = keep_pattern(
            body,
            name=line.name,
            title=line.title,
            pattern=found.patterns[state.pattern],
            origin=Origin.ARCHIVE,
            exactness=state.exactness,
            said=[*state.said, _from(state, received)],
            source=None,
            who=who,
            based_on=made.get(state.based_on or 0),
        )
    return len(places)


def _from(state: PatternState, received: Received) -> str:
    """Where a revision comes from, in a sentence that stays with it."""
    came = Origin(state.origin).label if state.origin in Origin.values else "of unknown origin"
    day = f", of {state.made}" if state.made else ""
    return (
        f"From an archive signed as {received.shop} ({received.fingerprint}), revision "
        f"{state.number} there, from {came}{day}."
    )


def _take_correction(
    found: Opened, state: CorrectionState, body: Body, received: Received, who: Person | None
) -> int:
    day = f", of {state.made}" if state.made else ""
    taken = take_correction(
        body,
        state.panel,
        found.histories[state.history],
        came={"shop": received.shop, "key": received.key, "number": state.number},
        said=(
            f"From an archive signed as {received.shop} ({received.fingerprint}), revision "
            f"{state.number} there{day}."
        ),
        who=who,
        at=timezone.now(),
    )
    return int(taken is not None)


def _take_covers(found: Opened, body: Body, who: Person | None) -> int:
    """Saved covers whose titles are not here yet, on the body revision that they were drawn on."""
    here = {saved.title.casefold() for saved in body.saved_covers.all()}
    marks = body_marks(found, found.contents.bodies)
    ours = own_body_marks(body)
    rows = list(body.revisions.filter(scan__isnull=False).order_by("number"))
    of_number = {
        state.number: rows[ours.index(mark)]
        for state, mark in zip(found.contents.bodies, marks, strict=True)
        if mark in ours
    }
    added = 0
    for cover in found.contents.covers:
        revision: Revision | None = of_number.get(cover.revision)
        if cover.title.casefold() in here or revision is None:
            continue
        SavedCover.objects.create(
            body=body,
            title=cover.title,
            choices=to_json(from_json(dict(cover.choices))),
            revision=revision,
            saved_by=who,
        )
        added += 1
    return added
