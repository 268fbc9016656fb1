"""Scans and panels as people bring them: looked at, then kept."""

import io
import mmap
import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.files import File

from layflat.base import InputError, LayflatError, OutputError, SettingError
from layflat.surface import BodyInfo, Kind, read_panels, sniff
from layflat.web.files.models import StoredFile
from layflat.web.files.store import keep, path_of
from layflat.web.people.models import Person

_MEDIA_TYPES: dict[Kind, str] = {
    "ply": "model/x-ply",
    "stl": "model/stl",
    "stl text": "model/stl",
    "obj": "model/obj",
    "glb": "model/gltf-binary",
}
PANELS_TYPE = "application/json"


def keep_scan(file: "File[Any]", *, unit: str, who: Person | None) -> StoredFile:
    """Keep a scan.

    Args:
        file: an upload, or a file that is open for reading.
        unit: as the person gave it, or "".
        who: brought it.

    Raises:
        InputError: it is empty or too large, no PLY, OBJ, STL or GLB file, or its unit is missing.
        OutputError: it cannot be kept.
    """
    name = file.name or "scan"
    _require_size(file, most=settings.SCAN_MOST_BYTES)
    kind = _kind(file)
    if kind == "glb" and unit not in ("", "m"):
        raise SettingError(f"“{name}” is a GLB file, which is always in metres; choose “metres”.")
    if kind != "glb" and not unit:
        raise SettingError(
            f"“{name}” is a {kind.removesuffix(' text').upper()} file, which does not say its "
            "unit; choose the one that the scanner wrote."
        )
    file.seek(0)
    return keep(
        file.chunks(),
        name=name,
        media_type=_MEDIA_TYPES[kind],
        most_bytes=settings.SCAN_MOST_BYTES,
        who=who,
    )


def keep_panels(file: "File[Any]", *, who: Person | None) -> StoredFile:
    """Keep a file of panels that reads without a fault.

    Raises:
        InputError: it is empty or too large, or no such file, or a value in it is wrong.
        OutputError: it cannot be kept.
    """
    name = file.name or "panels"
    _require_size(file, most=settings.PANELS_MOST_BYTES)
    with _aside(file, name) as place:
        _panels_at(place)
    file.seek(0)
    return keep(
        file.chunks(),
        name=name,
        media_type=PANELS_TYPE,
        most_bytes=settings.PANELS_MOST_BYTES,
        who=who,
    )


@contextmanager
def _aside(file: "File[Any]", name: str) -> Iterator[Path]:
    """A copy of *file* under its name, for as long as the block lasts."""
    with ExitStack() as held:
        try:
            place = Path(held.enter_context(tempfile.TemporaryDirectory())) / _plain(name)
            with place.open("wb") as aside:
                shutil.copyfileobj(file, aside)
        except OSError as error:
            raise OutputError(f"“{name}” cannot be read: {error.strerror}.") from error
        yield place


def panels_of(stored: StoredFile) -> BodyInfo:
    """The panels in a kept file.

    Raises:
        InputError: it cannot be read any more.
    """
    with named(stored) as place:
        return _panels_at(place)


@contextmanager
def named(stored: StoredFile) -> Iterator[Path]:
    """The kept content under the name that people know, for as long as the block lasts.

    Raises:
        OutputError: the data folder cannot be written.
    """
    place = path_of(stored.sha256)
    try:
        folder = tempfile.TemporaryDirectory(dir=place.parent.parent, prefix="named-")
    except OSError as error:
        raise OutputError(f"“{stored.name}” cannot be opened: {error.strerror}.") from error
    with folder as inside:
        linked = Path(inside) / _plain(stored.name)
        try:
            os.link(place, linked)
        except FileNotFoundError as error:
            raise InputError(f"“{stored.name}” is no longer in the data folder.") from error
        except OSError:
            # A file system without links: a copy serves as well.
            shutil.copyfile(place, linked)
        yield linked


def _panels_at(place: Path) -> BodyInfo:
    try:
        return read_panels(place)
    except LayflatError as error:
        # Where a file lies on this machine is nobody's business.
        raise type(error)(str(error).replace(str(place), place.name)) from error


def _require_size(file: "File[Any]", *, most: int) -> None:
    if not file.size:
        raise InputError(f"“{file.name}” is empty.")
    if file.size > most:
        raise InputError(f"“{file.name}” is larger than {most / 1e6:.0f} MB.")


def _kind(file: "File[Any]") -> Kind:
    """What the file is by its contents."""
    file.seek(0)
    where = f"“{file.name}”"
    try:
        handle = file.fileno()
    except io.UnsupportedOperation:
        # A small upload, which is in memory.
        return sniff(file.read(), where=where)
    with mmap.mmap(handle, 0, access=mmap.ACCESS_READ) as mapped:
        return sniff(mapped, where=where)


def _plain(name: str) -> str:
    """A name that is safe for a file of ours."""
    kept = "".join(sign if sign.isalnum() or sign in " .-_()" else "_" for sign in name)
    return kept.strip(" .")[-120:] or "unnamed"
