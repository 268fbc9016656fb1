"""Files read within bounds and written whole: aside first, then renamed into place."""

import hashlib
import os
import secrets
import shutil
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path

from layflat.base.errors import InputError, OutputError

_CHUNK = 1 << 20
_MARK = ".layflat-folder"


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


def require_writable(path: Path, *, inputs: Iterable[Path] = ()) -> None:
    """See, before long work, that a file can be written at *path* and is none of its *inputs*.

    Raises:
        OutputError: it is an input or a folder, or its folder is missing or read-only.
    """
    folder = path.parent
    if path.is_dir():
        raise OutputError(f"{path} cannot be written: it is a folder.")
    if not folder.is_dir():
        raise OutputError(f"{path} cannot be written: there is no folder {folder}.")
    if not os.access(folder, os.W_OK | os.X_OK):
        raise OutputError(f"{path} cannot be written: the folder {folder} is read-only.")
    if path.exists() and any(each.exists() and path.samefile(each) for each in inputs):
        raise OutputError(f"{path} is read as input and is not written over; name another file.")


def write_files(contents: Mapping[Path, bytes]) -> None:
    """Write each file of *contents* whole, and all of them or none.

    Raises:
        OutputError: a folder is missing or read-only, or the disk is full.
    """
    asides: dict[Path, Path] = {}
    path = Path()
    try:
        for path, data in contents.items():
            asides[path] = _aside(path)
            with open(asides[path], "xb", opener=_private) as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            asides[path].chmod(0o644)
        for path, aside in asides.items():
            aside.replace(path)
    except OSError as error:
        raise OutputError(f"{path} cannot be written: {error.strerror}.") from error
    finally:
        for aside in asides.values():
            with suppress(OSError):
                aside.unlink(missing_ok=True)


def _aside(path: Path) -> Path:
    """A name beside *path* that nobody has: it is known before the file is there to be left."""
    return path.parent / f".{path.name}.{secrets.token_hex(4)}.part"


def _private(name: str, flags: int) -> int:
    return os.open(name, flags, 0o600)


def write_bytes(path: Path, data: bytes) -> None:
    """Write *data* to *path* whole or not at all (see `write_files`)."""
    write_files({path: data})


def write_text(path: Path, text: str) -> None:
    """Write *text* as UTF-8 with plain line ends, whole or not at all (see `write_files`)."""
    write_bytes(path, text.encode("utf-8"))


def require_own_folder(path: Path) -> None:
    """See that *path* is a folder that Layflat may write: new, empty, or its own.

    Raises:
        OutputError: it is a file, or holds something else.
    """
    if path.exists() and not path.is_dir():
        raise OutputError(f"{path} is a file; name a folder.")
    if path.is_dir() and any(path.iterdir()) and not (path / _MARK).exists():
        raise OutputError(
            f"{path} holds files that Layflat did not write; name an empty or a new folder."
        )
    there = next(folder for folder in path.absolute().parents if folder.exists())
    if not (there.is_dir() and os.access(there, os.W_OK | os.X_OK)):
        raise OutputError(f"{path} cannot be made: {there} is a file or read-only.")


@contextmanager
def write_folder(path: Path) -> Iterator[Path]:
    """Give a folder to write into, which becomes *path* only when the block ends well.

    An earlier folder at *path* is replaced as a whole, and only if it holds nothing but what
    Layflat wrote there (it carries a mark file); any other folder must be empty.

    Raises:
        OutputError: *path* holds something else, or cannot be written.
    """
    require_own_folder(path)
    aside = _aside(path)
    try:
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            aside.mkdir(mode=0o700)
        except OSError as error:
            raise OutputError(f"{path} cannot be made: {error.strerror}.") from error
        aside.chmod(0o755)
        (aside / _MARK).write_text(
            "This folder was written by Layflat and may be replaced by it.\n"
        )
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
