"""Contents in the data folder, each in a file named by its hash."""

import hashlib
import json
import os
import tempfile
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from django.conf import settings

from layflat.base import InputError, OutputError
from layflat.web.files.models import StoredFile
from layflat.web.people.models import Person


def path_of(sha256: str) -> Path:
    """Where the content with a hash lies."""
    folder: Path | None = settings.FILES_FOLDER
    if folder is None:
        raise OutputError("There is no data folder; name one in LAYFLAT_DATA.")
    return folder / sha256[:2] / sha256


def kept_json(sha256: str, *, what: str, remedy: str, most_bytes: int) -> Any:
    """The plain values in a kept file of JSON.

    Args:
        sha256: its hash.
        what: it is, as a sentence begins, such as "A pattern's file".
        remedy: what to do where it cannot be read, such as "compute the cover anew".
        most_bytes: a larger file is not read.

    Raises:
        InputError: it is missing, too large or damaged.
    """
    try:
        path = path_of(sha256)
        if path.stat().st_size > most_bytes:
            raise InputError(f"{what} is far too large; {remedy}.")
        return json.loads(path.read_bytes())
    except OSError as error:
        raise InputError(f"{what} is no longer in the data folder; {remedy}.") from error
    except ValueError as error:
        raise InputError(f"{what} is damaged; {remedy}.") from error


def keep(
    chunks: Iterable[bytes], *, name: str, media_type: str, most_bytes: int, who: Person | None
) -> StoredFile:
    """Keep a content: written aside, flushed, named by its hash, then recorded.

    Args:
        chunks: its bytes in order.
        name: for people; only its last part counts.
        media_type: what the caller found it to be.
        most_bytes: more is refused.
        who: brought it.

    Raises:
        InputError: it is larger than *most_bytes*, or empty.
        OutputError: it cannot be written.
    """
    digest, size = hashlib.sha256(), 0
    folder = path_of("00").parent.parent
    try:
        folder.mkdir(parents=True, exist_ok=True)
        handle, aside = tempfile.mkstemp(dir=folder, prefix="incoming-")
        try:
            with os.fdopen(handle, "wb") as file:
                for chunk in chunks:
                    size += len(chunk)
                    if size > most_bytes:
                        raise InputError(
                            f"“{_last(name)}” is larger than {most_bytes / 1e6:.0f} MB."
                        )
                    digest.update(chunk)
                    file.write(chunk)
                file.flush()
                os.fsync(file.fileno())
            if size == 0:
                raise InputError(f"“{_last(name)}” is empty.")
            place = path_of(digest.hexdigest())
            place.parent.mkdir(exist_ok=True)
            Path(aside).replace(place)
        finally:
            Path(aside).unlink(missing_ok=True)
    except OSError as error:
        raise OutputError(f"“{_last(name)}” cannot be kept: {error.strerror}.") from error
    kept, _ = StoredFile.objects.get_or_create(
        sha256=digest.hexdigest(),
        defaults={
            "size": size,
            "media_type": media_type,
            "name": _last(name),
            "added_by": who,
        },
    )
    return kept


def _last(name: str) -> str:
    last = name.replace("\\", "/").rsplit("/", 1)[-1]
    return "".join(sign for sign in last if sign.isprintable())[:200] or "unnamed"
