"""Restoring a backup on an empty machine."""

import contextlib
import os
import shutil
import tempfile
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from layflat.base import InputError, OutputError, Progress, part_of, silent
from layflat.web.backup import form
from layflat.web.data_folder import DATABASE_FILE, KEY_FILE, use_data_folder, uses_sqlite

_CHECKED, _FILES_END = 0.3, 0.6
_ORDER = ("files", DATABASE_FILE, KEY_FILE)
"""The key is put into place last: without it the folder is no shop's."""


@dataclass(frozen=True, kw_only=True)
class Restored:
    """What was restored.

    Attributes:
        shop: its name.
        version: of Layflat that made the backup.
        made_at: when, ISO 8601, UTC.
        rows, files: how many.
    """

    shop: str
    version: str
    made_at: str
    rows: int
    files: int


def restore(path: Path, folder: Path, *, progress: Progress = silent) -> Restored:
    """Put a backup into an empty data folder, and into an empty database where one is named.

    Everything is checked before anything is put into its place; when it cannot be restored, the
    folder and the database are left as they were.

    Args:
        path: of the backup.
        folder: the data folder; it is made, or is empty.
        progress: told how far it is, may stop it.

    Raises:
        InputError: the backup is damaged, newer than this Layflat, or none.
        OutputError: the folder is not empty or cannot be written.
        SettingError: the database is not empty.
        StoppedError: raised by *progress*; nothing is left behind.
    """
    _require_empty(folder)
    with _read(path) as file:
        size = os.fstat(file.fileno()).st_size
        form.require_sealed(file, size, progress=part_of(progress, start=0.0, end=_CHECKED))
        archive, manifest = form.opened(file)
        with archive:
            _put(archive, manifest, folder, progress)
    return Restored(
        shop=manifest.shop,
        version=manifest.version,
        made_at=manifest.made_at,
        rows=sum(table.rows for table in manifest.tables),
        files=len(manifest.files),
    )


@contextmanager
def _read(path: Path) -> Iterator[IO[bytes]]:
    try:
        file = path.open("rb")
    except FileNotFoundError:
        raise InputError(f"{path} does not exist.") from None
    except OSError as error:
        raise InputError(f"{path} cannot be read: {error.strerror}.") from error
    with file:
        yield file


def _require_empty(folder: Path) -> None:
    try:
        found = sorted(entry.name for entry in folder.iterdir())
    except FileNotFoundError:
        return
    except OSError as error:
        raise OutputError(f"{folder} cannot be written: {error.strerror}.") from error
    if found:
        raise OutputError(
            f"{folder} is not empty (“{found[0]}” is in it); name an empty folder, so that nothing "
            "is lost."
        )


def _put(
    archive: zipfile.ZipFile, manifest: form.Manifest, folder: Path, progress: Progress
) -> None:
    was_there = folder.is_dir()
    try:
        folder.mkdir(parents=True, exist_ok=True)
        # Within the folder: it may be a disk of its own, where nothing can be renamed onto it.
        aside = Path(tempfile.mkdtemp(dir=folder, prefix=".restoring-"))
        try:
            _require_room(aside, manifest)
            _put_files(archive, manifest, aside, part_of(progress, start=_CHECKED, end=_FILES_END))
            _put_rows(
                archive,
                manifest,
                aside,
                folder,
                part_of(progress, start=_FILES_END, end=1.0),
            )
        except BaseException:
            for name in _ORDER:
                _remove(folder / name)
            raise
        finally:
            _remove(aside)
    except OSError as error:
        raise OutputError(f"{folder} cannot be written: {error.strerror or error}.") from error
    finally:
        if not was_there:
            with contextlib.suppress(OSError):
                folder.rmdir()  # only where nothing is in it


def _require_room(aside: Path, manifest: form.Manifest) -> None:
    needed = sum(entry.size for entry in manifest.entries)
    free = shutil.disk_usage(aside).free
    if needed > free:
        raise OutputError(
            f"The backup needs {needed / 1e9:.1f} GB, and {free / 1e9:.1f} GB are free; nothing "
            "was restored."
        )


def _put_files(
    archive: zipfile.ZipFile, manifest: form.Manifest, aside: Path, progress: Progress
) -> None:
    (aside / "files").mkdir()
    total, done = max(1, sum(entry.size for entry in manifest.files)), 0
    for entry in manifest.files:
        place = aside / "files" / entry.sha256[:2] / entry.sha256
        place.parent.mkdir(exist_ok=True)
        _write(archive, entry, place)
        done += entry.size
        progress("restoring files", done / total)
    _write(archive, manifest.key, aside / KEY_FILE)


def _write(archive: zipfile.ZipFile, entry: form.Entry, place: Path) -> None:
    handle = os.open(place, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(handle, "wb") as file:
        for chunk in form.chunks_of(archive, entry):
            file.write(chunk)
        file.flush()
        os.fsync(file.fileno())


def _put_rows(
    archive: zipfile.ZipFile,
    manifest: form.Manifest,
    aside: Path,
    folder: Path,
    progress: Progress,
) -> None:
    """Rows into the database, and everything into its place; both or neither."""
    use_data_folder(aside)
    # Models can be imported only once Django is set up.
    from django.db import DatabaseError, connection, transaction

    from layflat.web.backup.loading import load, require_empty, require_known

    try:
        require_known(manifest)
        if uses_sqlite():
            with connection.cursor() as cursor:
                # Flushed once, at the end: until then the file counts for nothing.
                cursor.execute("PRAGMA synchronous=OFF")
            load(archive, manifest, progress=progress)
            # The write-ahead log goes into the file as the last connection is closed.
            connection.close()
            _flush(aside / DATABASE_FILE)
            _move(aside, folder)
            return
        with transaction.atomic():
            require_empty()
            load(archive, manifest, progress=progress)
            _move(aside, folder)
    except DatabaseError as error:
        raise OutputError(f"The database cannot be written: {_first_line(error)}") from error
    finally:
        connection.close()


def _first_line(error: Exception) -> str:
    line = str(error).strip().partition("\n")[0]
    return line if line.endswith(".") else f"{line}."


def _flush(place: Path) -> None:
    with place.open("r+b") as file:
        os.fsync(file.fileno())


def _move(aside: Path, folder: Path) -> None:
    for name in _ORDER:
        if (aside / name).exists():
            (aside / name).replace(folder / name)


def _remove(path: Path) -> None:
    if path.is_dir():
        shutil.rmtree(path, ignore_errors=True)
    else:
        path.unlink(missing_ok=True)
