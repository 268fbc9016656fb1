"""An archive that came: checked whole, compared with what is here, taken as far as is wanted."""

import hashlib
import tempfile
from collections.abc import Collection, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from django.core.files import File
from django.db import transaction

from layflat.base import InputError, OutputError
from layflat.exchange import (
    MOST_BYTES,
    BodyState,
    CoverState,
    Opened,
    PatternLine,
    Standing,
    missing,
    opened,
    standing,
)
from layflat.web.bodies.models import Body
from layflat.web.cover.choices import from_json
from layflat.web.exchanging.models import KnownKey, Received
from layflat.web.files.models import StoredFile
from layflat.web.files.store import keep, path_of
from layflat.web.people.models import Person
from layflat.web.record.models import write_event

_CHUNK: Final = 1 << 20
BODY, COVERS = "body", "covers"
"""How a form calls the scans and the saved covers; a pattern is called by its name."""


@dataclass(frozen=True, kw_only=True)
class Item:
    """One thing of an archive, beside what is here.

    Attributes:
        key: how a form calls it.
        title, detail: for people.
        standing: how it stands to what is here.
        to_add: how many revisions would be added.
    """

    key: str
    title: str
    detail: str
    standing: Standing
    to_add: int

    @property
    def is_wanted(self) -> bool:
        """Whether it is ticked at first: only what goes on from what is here, or is new."""
        return self.to_add > 0 and self.standing in (Standing.NEW, Standing.NEWER)


@dataclass(frozen=True, kw_only=True)
class Preview:
    """What an archive would bring to a body, and who signed it."""

    items: tuple[Item, ...]
    known: KnownKey | None
    corrections: int


def bring(file: "File[Any]", *, who: Person | None) -> Received:
    """Check an archive whole, then keep it aside; the library stays as it is.

    Raises:
        InputError: it is no archive, or anything in it is not as it should be; nothing is kept.
        OutputError: it cannot be kept.
    """
    if not file.size:
        raise InputError("The file is empty.")
    if file.size > MOST_BYTES:
        raise InputError(f"The file is larger than the {MOST_BYTES / 1e6:g} MB of an archive.")
    with _aside(file) as place, opened(place) as found:
        _require_covers(found)
        vehicle, signed = str(found.contents.vehicle), found.signed
    file.seek(0)
    with transaction.atomic():
        stored = keep(
            file.chunks(),
            name=f"{vehicle}.zip",
            media_type="application/zip",
            most_bytes=MOST_BYTES,
            who=who,
        )
        received, is_new = Received.objects.get_or_create(
            archive=stored,
            defaults={
                "vehicle": vehicle[:200],
                "shop": signed.shop,
                "key": signed.public.hex(),
                "received_by": who,
            },
        )
        if is_new:
            write_event(
                "archive.received",
                f"An archive of {vehicle} came, signed as {signed.shop}.",
                who=who,
                after={"archive": stored.sha256, "key": received.key},
            )
    return received


@contextmanager
def _aside(file: "File[Any]") -> Iterator[Path]:
    """The upload as a file with a path, for as long as the block lasts."""
    try:
        with tempfile.NamedTemporaryFile(prefix="layflat-") as aside:
            for chunk in file.chunks():
                aside.write(chunk)
            aside.flush()
            yield Path(aside.name)
    except OSError as error:
        raise OutputError(f"The archive cannot be read: {error.strerror or error}.") from error


def _require_covers(found: Opened) -> None:
    """What a saved cover covers is read as the app reads it."""
    for cover in found.contents.covers:
        try:
            from_json(dict(cover.choices))
        except InputError as error:
            raise InputError(f"The cover “{cover.title}” in the archive: {error}") from error


@contextmanager
def content_of(received: Received) -> Iterator[Opened]:
    """An archive that came, checked anew, for as long as the block lasts.

    Raises:
        InputError: it is no longer in the data folder, or damaged.
    """
    with opened(path_of(received.archive.sha256)) as found:
        yield found


def alike(found: Opened) -> list[Body]:
    """Bodies of the library that may be the archive's, by maker and name."""
    vehicle = found.contents.vehicle
    rows = Body.objects.filter(maker__iexact=vehicle.maker, name__iexact=vehicle.name)
    return list(rows.order_by("is_retired", "pk"))


def preview(found: Opened, body: Body | None) -> Preview:
    """What an archive would bring to *body*, or to a new one."""
    contents = found.contents
    items = [_body_item(found, contents.bodies, body)] if contents.bodies else []
    items += [_pattern_item(found, line, body) for line in contents.patterns]
    if contents.covers:
        items.append(_covers_item(contents.covers, body))
    key = found.signed.public.hex()
    return Preview(
        items=tuple(items),
        known=KnownKey.objects.filter(key=key).first(),
        corrections=len(contents.corrections),
    )


def body_marks(found: Opened, states: tuple[BodyState, ...]) -> list[str]:
    """What tells an archive's body revisions apart, the oldest first."""
    return [
        _mark(found.sha256(state.scan), state.unit, found.sha256(state.panels)) for state in states
    ]


def own_body_marks(body: Body | None) -> list[str]:
    """The same of a body of the library."""
    if body is None:
        return []
    rows = body.revisions.filter(scan__isnull=False).order_by("number")
    return [
        _mark(
            row.scan.sha256 if row.scan else "",
            "" if row.scan and row.scan.media_type == "model/gltf-binary" else row.unit,
            row.panels.sha256 if row.panels else "",
        )
        for row in rows.select_related("scan", "panels")
    ]


def _mark(scan: str, unit: str, panels: str) -> str:
    return hashlib.sha256(f"{scan} {unit} {panels}".encode()).hexdigest()


def own_pattern_marks(body: Body | None, name: str) -> list[str]:
    """The hashes of a kept pattern's revisions, the oldest first."""
    kept = body.patterns.filter(name=name).first() if body else None
    if kept is None:
        return []
    rows = kept.revisions.order_by("number").values_list("pattern__sha256", flat=True)
    return list(rows)


def pattern_marks(found: Opened, line: PatternLine) -> list[str]:
    """The same of an archive's pattern."""
    return [found.sha256(state.pattern) for state in line.revisions]


def _body_item(found: Opened, states: tuple[BodyState, ...], body: Body | None) -> Item:
    theirs, ours = body_marks(found, states), own_body_marks(body)
    panels = found.panels[states[-1].panels].panels if states[-1].panels else ()
    names = ", ".join(panel.name for panel in panels) or "none"
    return Item(
        key=BODY,
        title="Scan and panels",
        detail=f"Panels: {names}",
        standing=standing(theirs, ours),
        to_add=len(missing(theirs, ours)),
    )


def _pattern_item(found: Opened, line: PatternLine, body: Body | None) -> Item:
    theirs, ours = pattern_marks(found, line), own_pattern_marks(body, line.name)
    return Item(
        key=f"pattern-{line.name}",
        title=line.title,
        detail="A flat pattern",
        standing=standing(theirs, ours),
        to_add=len(missing(theirs, ours)),
    )


def _covers_item(covers: tuple[CoverState, ...], body: Body | None) -> Item:
    here = {saved.title.casefold() for saved in body.saved_covers.all()} if body else set()
    new = [cover for cover in covers if cover.title.casefold() not in here]
    return Item(
        key=COVERS,
        title="Saved covers",
        detail=", ".join(cover.title for cover in covers),
        standing=Standing.NEW if new else Standing.SAME,
        to_add=len(new),
    )


def files_of(
    found: Opened, names: Collection[str], types: dict[str, str], who: Person | None
) -> dict[str, StoredFile]:
    """Keep entries of an archive as files, by their names."""
    return {
        name: keep(
            found.chunks(name),
            name=f"{found.contents.vehicle} {name.replace('/', ' ')}",
            media_type=types[name.rsplit(".", 1)[-1]],
            most_bytes=MOST_BYTES,
            who=who,
        )
        for name in names
    }
