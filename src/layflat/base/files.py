"""Files read within bounds and written whole: aside first, then renamed into place."""

import hashlib
import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from layflat.base.errors import InputError, OutputError

_CHUNK = 1 << 20


def read_bytes(path: Path, *, max_bytes: int) -> bytes:
    """The contents of the file at *path*.

    Raises:
        InputError: the file is missing, unreadable, not a file, empty, or over *max_bytes*.
    """
    try:
        if not path.is_file():
            what = "is a folder, not a file" if path.is_dir() else "does not exist"
            raise InputError(f"{path} {what}.")
        size = path.stat().st_size
        if size > max_bytes:
            raise InputError(
                f"{path} has {size / 1e6:.0f} MB; at most {max_bytes / 1e6:.0f} MB are read."
            )
        data = path.read_bytes()
    except OSError as error:
        raise InputError(f"{path} cannot be read: {error.strerror}.") from error
    if not data:
        raise InputError(f"{path} is empty.")
    return data


def file_sha256(path: Path) -> str:
    """The SHA-256 of the file at *path*, in hexadecimal.

    Raises:
        InputError: the file cannot be read.
    """
    digest = hashlib.sha256()
    try:
        with path.open("rb") as file:
            while chunk := file.read(_CHUNK):
                digest.update(chunk)
    except FileNotFoundError:
        raise InputError(f"{path} does not exist.") from None
    except OSError as error:
        raise InputError(f"{path} cannot be read: {error.strerror}.") from error
    return digest.hexdigest()


def write_bytes(path: Path, data: bytes) -> None:
    """Write *data* to *path* whole or not at all.

    Raises:
        OutputError: the folder is missing or read-only, or the disk is full.
    """
    aside: Path | None = None
    try:
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.", suffix=".part")
        aside = Path(name)
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        aside.chmod(0o644)
        aside.replace(path)
    except OSError as error:
        if aside is not None:
            aside.unlink(missing_ok=True)
        raise OutputError(f"{path} cannot be written: {error.strerror}.") from error


def write_text(path: Path, text: str) -> None:
    """Write *text* as UTF-8 with plain line ends, whole or not at all (see `write_bytes`)."""
    write_bytes(path, text.encode("utf-8"))


@contextmanager
def write_folder(path: Path) -> Iterator[Path]:
    """Give a folder to write into, which becomes *path* only when the block ends well.

    An earlier folder at *path* is replaced as a whole, and only if it holds nothing but what
    Layflat wrote there (it carries a mark file); any other folder must be empty.

    Raises:
        OutputError: *path* holds something else, or cannot be written.
    """
    mark = ".layflat-folder"
    if path.is_dir() and any(path.iterdir()) and not (path / mark).exists():
        raise OutputError(
            f"{path} holds files that Layflat did not write; name an empty or a new folder."
        )
    if path.exists() and not path.is_dir():
        raise OutputError(f"{path} is a file; name a folder.")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        aside = Path(tempfile.mkdtemp(dir=path.parent, prefix=f".{path.name}.", suffix=".part"))
    except OSError as error:
        raise OutputError(f"{path} cannot be made: {error.strerror}.") from error
    try:
        aside.chmod(0o755)
        (aside / mark).write_text("This folder was written by Layflat and may be replaced by it.\n")
        yield aside
        old = aside.with_suffix(".old")
        if path.exists():
            path.replace(old)
        aside.replace(path)
        shutil.rmtree(old, ignore_errors=True)
    except OSError as error:
        raise OutputError(f"{path} cannot be written: {error.strerror}.") from error
    finally:
        shutil.rmtree(aside, ignore_errors=True)
