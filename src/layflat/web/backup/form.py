"""The form of a backup: one ZIP file whose last 64 letters are the SHA-256 of all before them.

Any ZIP program opens it, so that the contents can be read without Layflat, too. In it lie

- `manifest.json`: form, version, day, migrations, and every other entry with size and SHA-256;
- `rows/<model>.jsonl`: the rows of one table, a JSON list of values each; compressed;
- `files/<sha256>`: a stored file, as it is;
- `secret-key`.

The closing hash is the archive's comment (APPNOTE.TXT 6.3.10, 4.3.16 and 4.4.12). It finds what was
damaged by chance anywhere in the file, also where ZIP itself keeps no sum; it is no signature.
"""

import hashlib
import json
import os
import re
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import IO, Any, Final

from layflat.base import InputError, Progress

FORM: Final = 1
MANIFEST: Final = "manifest.json"
KEY: Final = "secret-key"
CHUNK: Final = 1 << 20
SEAL: Final = hashlib.sha256().digest_size * 2
"""Letters of the closing hash."""
MOST_ENTRIES: Final = 5_000_000
MOST_MANIFEST_BYTES: Final = 1_500_000_000
MOST_ROW_BYTES: Final = 20_000_000_000
"""Of all rows together, once they are no longer compressed."""
MOST_LINE_BYTES: Final = 64_000_000
MOST_KEY_BYTES: Final = 1_000
_NAME: Final = re.compile(r"secret-key|rows/[a-z_]+\.[A-Za-z_]+\.jsonl|files/[0-9a-f]{64}")
_EMPTY_COMMENT: Final = b"\0\0"


@dataclass(frozen=True, kw_only=True)
class Entry:
    """One entry of a backup.

    Attributes:
        name: in the archive.
        size: in bytes, uncompressed.
        sha256: of its bytes, in hexadecimal.
    """

    name: str
    size: int
    sha256: str


@dataclass(frozen=True, kw_only=True)
class Table:
    """The rows of one model.

    Attributes:
        model: its app's label and its name, such as "jobs.Job".
        columns: names of the fields, in the order of the values in a row.
        rows: how many there are.
        entry: where they lie.
    """

    model: str
    columns: tuple[str, ...]
    rows: int
    entry: Entry


@dataclass(frozen=True, kw_only=True)
class Manifest:
    """What a backup holds.

    Attributes:
        form: of the backup.
        version: of Layflat that made it.
        made_at: when the snapshot was taken, ISO 8601, UTC.
        shop: its name.
        migrations: that the database had, "app.name" each.
        tables: every model's rows.
        files: the stored files.
        key: the secret key.
    """

    form: int
    version: str
    made_at: str
    shop: str
    migrations: tuple[str, ...]
    tables: tuple[Table, ...]
    files: tuple[Entry, ...]
    key: Entry

    @property
    def entries(self) -> tuple[Entry, ...]:
        """All that the archive holds beside the manifest."""
        return (*(table.entry for table in self.tables), *self.files, self.key)


def manifest_json(manifest: Manifest) -> bytes:
    """A manifest as it is written."""
    return json.dumps(asdict(manifest), indent=1, sort_keys=True).encode()


def read_manifest(data: bytes) -> Manifest:
    """A manifest as it was written.

    Raises:
        InputError: a newer Layflat wrote it, or nobody did.
    """
    try:
        found = json.loads(data)
        if isinstance(found, dict) and isinstance(found.get("form"), int) and found["form"] > FORM:
            raise newer(str(found.get("version", "")))
        manifest = Manifest(
            form=_is(int, found["form"]),
            version=_is(str, found["version"]),
            made_at=_is(str, found["made_at"]),
            shop=_is(str, found["shop"]),
            migrations=tuple(_is(str, name) for name in found["migrations"]),
            tables=tuple(
                Table(
                    model=_is(str, table["model"]),
                    columns=tuple(_is(str, name) for name in table["columns"]),
                    rows=_is(int, table["rows"]),
                    entry=_entry(table["entry"]),
                )
                for table in found["tables"]
            ),
            files=tuple(_entry(entry) for entry in found["files"]),
            key=_entry(found["key"]),
        )
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        if isinstance(error, InputError):
            raise
        raise InputError("The backup's list of contents cannot be read.") from error
    return _within_bounds(manifest)


def newer(version: str) -> InputError:
    """That a backup comes from a newer Layflat."""
    return InputError(
        f"The backup was made by a newer Layflat{f' ({version[:40]})' if version else ''}; install "
        "that version or a later one, then restore it."
    )


def _is(kind: type[Any], value: Any) -> Any:
    if type(value) is not kind:
        raise TypeError(kind)
    return value


def _entry(found: dict[str, Any]) -> Entry:
    return Entry(
        name=_is(str, found["name"]), size=_is(int, found["size"]), sha256=_is(str, found["sha256"])
    )


def _within_bounds(manifest: Manifest) -> Manifest:
    entries = manifest.entries
    names = [entry.name for entry in entries]
    strange = [name for name in names if not _NAME.fullmatch(name)]
    wrong = [entry for entry in manifest.files if entry.name != f"files/{entry.sha256}"]
    if strange or wrong or len(set(names)) < len(names) or manifest.key.name != KEY:
        raise InputError("The backup lists contents that no backup has; it was not restored.")
    rows = sum(table.entry.size for table in manifest.tables)
    if (
        any(entry.size < 0 for entry in entries)
        or len(entries) > MOST_ENTRIES
        or rows > MOST_ROW_BYTES
        or manifest.key.size > MOST_KEY_BYTES
    ):
        raise InputError("The backup says it holds more than is ever restored; nothing was.")
    return manifest


def seal(path: Path, *, progress: Progress) -> None:
    """Close a ZIP file that has no comment: its hash becomes the comment.

    Raises:
        OSError: it cannot be written.
    """
    with path.open("r+b") as file:
        file.seek(-len(_EMPTY_COMMENT), os.SEEK_END)
        file.write(SEAL.to_bytes(2, "little"))
        file.flush()
        file.seek(0)
        size = path.stat().st_size
        digest = _hashed(file, size, lambda part: progress("closing the backup", part))
        file.seek(0, os.SEEK_END)
        file.write(digest.encode())
        file.flush()
        os.fsync(file.fileno())


def require_sealed(file: IO[bytes], size: int, *, progress: Progress) -> None:
    """See that a backup is as it was made, to the last byte.

    Raises:
        InputError: it is none, or it was changed or cut short.
        OSError: it cannot be read.
    """
    whole = max(0, size - SEAL)
    file.seek(0)
    digest = _hashed(file, whole, lambda part: progress("checking the backup", part))
    if file.read() != digest.encode():
        raise InputError(
            "This is no whole backup: it is damaged, was cut short, or is another kind of file. "
            "Nothing was restored; take another copy of it."
        )


def _hashed(file: IO[bytes], size: int, progress: Callable[[float], None]) -> str:
    digest, left = hashlib.sha256(), size
    while left:
        chunk = file.read(min(CHUNK, left))
        if not chunk:
            break
        digest.update(chunk)
        left -= len(chunk)
        progress(1 - left / size)
    return digest.hexdigest()


def opened(file: IO[bytes]) -> tuple[zipfile.ZipFile, Manifest]:
    """The archive of a sealed backup, and what it holds; its entries are exactly those listed.

    Raises:
        InputError: it does not hold what a backup holds.
    """
    # NotImplementedError is how zipfile refuses a compression or encryption that it does not know.
    try:
        archive = zipfile.ZipFile(file)
    except (zipfile.BadZipFile, ValueError, NotImplementedError) as error:
        raise InputError("The backup cannot be opened; nothing was restored.") from error
    if len(archive.infolist()) > MOST_ENTRIES:
        raise InputError("The backup says it holds more than is ever restored; nothing was.")
    names = [info.filename for info in archive.infolist()]
    if names.count(MANIFEST) != 1:
        raise InputError("The backup has no list of its contents; nothing was restored.")
    listed = Entry(name=MANIFEST, size=MOST_MANIFEST_BYTES, sha256="")
    manifest = read_manifest(b"".join(_chunks(archive, listed)))
    if sorted(names) != sorted([MANIFEST, *(entry.name for entry in manifest.entries)]):
        raise InputError("The backup does not hold what it lists; nothing was restored.")
    return archive, manifest


def chunks_of(archive: zipfile.ZipFile, entry: Entry) -> Iterator[bytes]:
    """An entry's bytes, never more than it is listed with; the last ones only once all are right.

    Raises:
        InputError: they are not those that were listed.
    """
    digest, size, held = hashlib.sha256(), 0, b""
    for chunk in _chunks(archive, entry):
        digest.update(chunk)
        size += len(chunk)
        if held:
            yield held
        held = chunk
    if size != entry.size or digest.hexdigest() != entry.sha256:
        raise _not_as_listed(entry)
    yield held


def _chunks(archive: zipfile.ZipFile, entry: Entry) -> Iterator[bytes]:
    left = entry.size
    try:
        with archive.open(entry.name) as file:
            while chunk := file.read(min(CHUNK, left + 1)):
                left -= len(chunk)
                if left < 0:
                    raise _not_as_listed(entry)
                yield chunk
    except (zipfile.BadZipFile, EOFError, NotImplementedError, RuntimeError) as error:
        raise _not_as_listed(entry) from error
    except Exception as error:
        # zlib.error and its like have no common base.
        if isinstance(error, InputError | OSError):
            raise
        raise _not_as_listed(entry) from error


def _not_as_listed(entry: Entry) -> InputError:
    return InputError(
        f"“{entry.name}” in the backup is not as it was listed; nothing was restored."
    )


class Writer:
    """Writes entries into an archive, and says of each what a manifest lists."""

    def __init__(self, archive: zipfile.ZipFile) -> None:
        self._archive = archive

    def add(self, name: str, chunks: Iterator[bytes], *, is_compressed: bool) -> Entry:
        """Write one entry.

        Raises:
            OSError: it cannot be written.
        """
        kind = zipfile.ZIP_DEFLATED if is_compressed else zipfile.ZIP_STORED
        # A date of its own would say nothing that the manifest does not say.
        info = zipfile.ZipInfo(name)
        info.compress_type = kind
        info.external_attr = 0o600 << 16
        entry, digest = Entry(name=name, size=0, sha256=""), hashlib.sha256()
        size = 0
        with self._archive.open(info, "w", force_zip64=True) as file:
            for chunk in chunks:
                digest.update(chunk)
                size += len(chunk)
                file.write(chunk)
        return replace(entry, size=size, sha256=digest.hexdigest())
