"""An archive that came: checked whole, compared with what is here, taken as far as is wanted."""

import tempfile
from collections.abc import Collection, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final

from django.core.files import File
from django.db import transaction

from layflat.base import InputError, OutputError
from layflat.exchange import MOST_BYTES, Opened, opened
from layflat.web.bodies.models import Body
from layflat.web.cover.choices import from_json
from layflat.web.exchanging.models import Received
from layflat.web.files.models import StoredFile
from layflat.web.files.store import keep, path_of
from layflat.web.people.models import Person
from layflat.web.record.models import write_event

_MOST_OTHERS: Final = 500


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


def others_for(found: Opened, alike: list[Body]) -> list[Body]:
    """Bodies of other names that the archive may be taken for; none where it brings a scan."""
    if found.contents.bodies:
        return []
    names = {body.pk for body in alike}
    rows = Body.objects.filter(is_retired=False).exclude(pk__in=names)
    return list(rows.order_by("maker", "name", "pk")[:_MOST_OTHERS])


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
