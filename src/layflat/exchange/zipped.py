"""ZIP as archives use it: so plain that the same contents are the same bytes everywhere.

Every entry is stored as it is, since compressors differ from version to version; names are plain
ASCII, dates are ZIP's first day, and there are no comments, no extra fields and no gaps
(APPNOTE.TXT 6.3.10). The reader takes nothing else. So an archive cannot unpack to more than it
weighs, two entries cannot share bytes, and what one reader sees is what every reader sees.
"""

import hashlib
import struct
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import IO, Final

from layflat.base import InputError
from layflat.exchange.manifest import NAME
from layflat.exchange.records import MANIFEST, MOST_BYTES, MOST_ENTRIES, SIGNATURE, Part

CHUNK: Final = 1 << 20
_LOCAL_BYTES: Final = 30
"""Of the fixed part of a local header (4.3.7)."""
_CENTRAL_BYTES: Final = 46
"""Of the fixed part of a central header (4.3.12)."""
_END_BYTES: Final = 22
"""Of the end of the central directory, without a comment (4.3.16)."""
_LOCATOR_BYTES: Final = 20
"""Of what leads to ZIP's 64-bit form (4.3.15), which archives never have."""
_LONGEST_NAME: Final = 60
_DATE: Final = (1980, 1, 1, 0, 0, 0)
_UNIX: Final = 3
_MODE: Final = 0o100644 << 16


def chunks_of(part: Part) -> Iterator[bytes]:
    """A part's bytes.

    Raises:
        OSError: its file cannot be read.
    """
    if isinstance(part.data, bytes):
        yield part.data
        return
    with part.data.open("rb") as file:
        while chunk := file.read(CHUNK):
            yield chunk


def write_zip(file: IO[bytes], parts: list[Part]) -> None:
    """Write *parts*, in their order.

    Raises:
        OSError: it cannot be written, or a part cannot be read.
    """
    with zipfile.ZipFile(file, "w", zipfile.ZIP_STORED, allowZip64=False) as archive:
        for part in parts:
            info = _info(part.name)
            info.file_size = _size(part)
            with archive.open(info, "w") as entry:
                for chunk in chunks_of(part):
                    entry.write(chunk)


def _size(part: Part) -> int:
    return len(part.data) if isinstance(part.data, bytes) else part.data.stat().st_size


def _info(name: str) -> zipfile.ZipInfo:
    info = zipfile.ZipInfo(name, _DATE)
    info.create_system = _UNIX
    info.external_attr = _MODE
    return info


def opened_zip(path: Path) -> zipfile.ZipFile:
    """The ZIP file at *path*, which is of the plain kind described above.

    Raises:
        InputError: it is not.
        OSError: it cannot be read.
    """
    size = path.stat().st_size
    if size > MOST_BYTES:
        raise InputError(f"The archive has more than {MOST_BYTES / 1e6:g} MB; it is not read.")
    _require_small_directory(path, size)
    # NotImplementedError is how zipfile refuses what it does not know.
    try:
        archive = zipfile.ZipFile(path)
    except (zipfile.BadZipFile, ValueError, NotImplementedError, EOFError) as error:
        raise _no_archive() from error
    try:
        _require_plain(archive, size)
        _require_headers(archive, path)
    except BaseException:
        archive.close()
        raise
    return archive


def _no_archive() -> InputError:
    return InputError(
        "This is no whole archive: it is damaged, was cut short, or is another kind of file."
    )


def _require_small_directory(path: Path, size: int) -> None:
    """Look at the end of the file before a reader makes a record of each entry that it claims."""
    with path.open("rb") as file:
        file.seek(max(0, size - _LOCATOR_BYTES - _END_BYTES))
        end = file.read()
    if len(end) < _END_BYTES or not end[-_END_BYTES:].startswith(b"PK\5\6"):
        raise _no_archive()
    entries, length, start = struct.unpack_from("<HII", end, len(end) - _END_BYTES + 10)
    if entries > MOST_ENTRIES or length > entries * (_CENTRAL_BYTES + _LONGEST_NAME):
        raise InputError("The archive holds more files than are ever read.")
    if start + length + _END_BYTES != size or end.startswith(b"PK\6\7"):
        raise InputError("The archive has bytes that belong to none of its files.")


def _require_headers(archive: zipfile.ZipFile, path: Path) -> None:
    """Each entry says of itself what the directory says of it; readers may go by either."""
    with path.open("rb") as file:
        for info in archive.infolist():
            expected = info.FileHeader(zip64=False)
            file.seek(info.header_offset)
            if file.read(len(expected)) != expected:
                raise InputError(
                    f"“{info.filename}” is described in two ways in the archive; it is not read."
                )


def _require_plain(archive: zipfile.ZipFile, size: int) -> None:
    entries = archive.infolist()
    if len(entries) > MOST_ENTRIES:
        raise InputError("The archive holds more files than are ever read.")
    names = [info.filename for info in entries]
    strange = [name for name in names if not _is_known(name)]
    if strange:
        raise InputError(
            f"The archive holds “{_shown(strange[0])}”, which no archive of Layflat's holds."
        )
    if len(set(names)) < len(names):
        twice = next(name for name in names if names.count(name) > 1)
        raise InputError(f"The archive holds “{twice}” twice.")
    if names[:2] != [MANIFEST, SIGNATURE]:
        raise InputError(f"The archive does not begin with {MANIFEST} and {SIGNATURE}.")
    at = 0
    for info in entries:
        _require_entry(info, at)
        at += _LOCAL_BYTES + len(info.filename) + info.file_size
    directory = sum(_CENTRAL_BYTES + len(name) for name in names)
    if archive.comment or archive.start_dir != at or at + directory + _END_BYTES != size:
        raise InputError("The archive has bytes that belong to none of its files.")


def _require_entry(info: zipfile.ZipInfo, at: int) -> None:
    """One entry, which begins at *at* as the one before it ends there."""
    if info.compress_type != zipfile.ZIP_STORED or info.compress_size != info.file_size:
        raise InputError(
            f"“{info.filename}” is compressed, which Layflat never does: another program packed "
            "the archive anew. Ask the shop for it as it was made."
        )
    if info.external_attr != _MODE or info.create_system != _UNIX:
        raise InputError(f"“{info.filename}” is a link, a folder or no plain file.")
    if (
        info.flag_bits
        or info.extra
        or info.comment
        or info.date_time != _DATE
        or info.header_offset != at
        or info.volume
        or info.internal_attr
    ):
        raise InputError(f"“{info.filename}” is not packed as Layflat packs; it is not read.")


def _is_known(name: str) -> bool:
    return name in (MANIFEST, SIGNATURE) or NAME.fullmatch(name) is not None


def _shown(name: str) -> str:
    return "".join(sign if sign.isprintable() else "?" for sign in name)[:60]


def read_entry(archive: zipfile.ZipFile, name: str, *, most_bytes: int) -> Iterator[bytes]:
    """The bytes of one entry, at most *most_bytes*.

    Raises:
        InputError: they are damaged, or more.
    """
    damaged = f"“{name}” in the archive is damaged; ask the shop for it anew."
    if archive.getinfo(name).file_size > most_bytes:
        raise InputError(f"“{name}” in the archive has more than {most_bytes / 1e6:g} MB.")
    try:
        with archive.open(name) as entry:
            while chunk := entry.read(CHUNK):
                yield chunk
    except (zipfile.BadZipFile, EOFError, NotImplementedError, RuntimeError, ValueError) as error:
        raise InputError(damaged) from error


def sha256_of(part: Part) -> tuple[str, int]:
    """A part's SHA-256 in hexadecimal, and its size in bytes.

    Raises:
        OSError: its file cannot be read.
    """
    digest, size = hashlib.sha256(), 0
    for chunk in chunks_of(part):
        digest.update(chunk)
        size += len(chunk)
    return digest.hexdigest(), size
