"""Making a backup of a running shop."""

import contextlib
import datetime
import os
import tempfile
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import layflat
from layflat.base import (
    CheckError,
    InputError,
    OutputError,
    Progress,
    part_of,
    require_writable,
    silent,
)
from layflat.web.backup import form
from layflat.web.data_folder import DATABASE_FILE, KEY_FILE, use_data_folder, uses_sqlite

_ROWS_END, _FILES_END = 0.3, 0.8


@dataclass(frozen=True, kw_only=True)
class BackedUp:
    """What was kept.

    Attributes:
        path: of the backup.
        rows, files: how many.
        size: of the backup in bytes.
    """

    path: Path
    rows: int
    files: int
    size: int


def back_up(
    folder: Path, path: Path, *, replace: bool = False, progress: Progress = silent
) -> BackedUp:
    """Write the whole shop into one file, as it stood at one moment; people go on working.

    Args:
        folder: the data folder; the database is there, or where DATABASE_URL says.
        path: of the backup; it appears there only when it is whole, closed to others.
        replace: whether a file that is there already gives way.
        progress: told how far it is, may stop it.

    Raises:
        InputError: there is no shop, or a newer Layflat made it.
        OutputError: the backup cannot be written, or there is a file already.
        CheckError: a stored file is missing or damaged.
        StoppedError: raised by *progress*; nothing is left behind.
    """
    _require_shop(folder)
    require_writable(path)
    if path.exists() and not replace:
        raise OutputError(f"{path} is there already; name another file, or add --replace.")
    if path.resolve().is_relative_to(folder.resolve()):
        raise OutputError(
            f"{path} lies in the data folder itself and would be lost with it; name a file "
            "elsewhere."
        )
    use_data_folder(folder)
    try:
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}-")
        os.close(handle)
        aside = Path(name)
        try:
            done = _written(folder, aside, progress)
            if path.exists() and not replace:
                raise OutputError(
                    f"{path} was made by somebody else meanwhile; it is left as it is."
                )
            aside.replace(path)
            _flush_folder(path.parent)
        finally:
            aside.unlink(missing_ok=True)
        size = path.stat().st_size
    except OSError as error:
        raise OutputError(f"{path} cannot be written: {error.strerror or error}.") from error
    return BackedUp(
        path=path, rows=sum(table.rows for table in done.tables), files=len(done.files), size=size
    )


def _require_shop(folder: Path) -> None:
    has_rows = (folder / DATABASE_FILE).is_file() if uses_sqlite() else True
    if not (folder / KEY_FILE).is_file() or not has_rows:
        raise InputError(
            f"There is no shop in {folder}; name its data folder with --data"
            f"{'' if uses_sqlite() else ' and its database in DATABASE_URL'}."
        )


def _written(folder: Path, aside: Path, progress: Progress) -> form.Manifest:
    with zipfile.ZipFile(aside, "w", allowZip64=True) as archive:
        writer = form.Writer(archive)
        rows = _Rows(writer)
        rows.write(part_of(progress, start=0.0, end=_ROWS_END))
        # Files are only ever added: all that the rows name are there by now.
        files = _write_files(
            writer, folder / "files", rows.files, part_of(progress, start=_ROWS_END, end=_FILES_END)
        )
        key = writer.add(form.KEY, iter([(folder / KEY_FILE).read_bytes()]), is_compressed=False)
        manifest = form.Manifest(
            form=form.FORM,
            version=layflat.__version__,
            made_at=rows.made_at.isoformat(),
            shop=rows.shop,
            migrations=rows.migrations,
            tables=tuple(rows.tables),
            files=tuple(files),
            key=key,
        )
        writer.add(form.MANIFEST, iter([form.manifest_json(manifest)]), is_compressed=True)
    form.seal(aside, progress=part_of(progress, start=_FILES_END, end=1.0))
    return manifest


class _Rows:
    """Writes the tables of one snapshot, and notes what of them the rest needs."""

    def __init__(self, writer: form.Writer) -> None:
        self._writer = writer
        self.tables: list[form.Table] = []
        self.files: list[tuple[str, int, str]] = []
        self.shop = ""
        self.migrations: tuple[str, ...] = ()
        self.made_at = datetime.datetime.now(datetime.UTC)

    def write(self, progress: Progress) -> None:
        """Write every table."""
        # Models can be imported only once Django is set up.
        from layflat.web.backup.rows import columns_of, count, line_of, name_of, rows_of, snapshot

        with snapshot() as found:
            self.made_at = datetime.datetime.now(datetime.UTC)
            self.migrations = found.migrations
            models = found.models()
            total = max(1, sum(count(model) for model in models))
            done = 0
            for model in models:
                name = name_of(model)
                columns = tuple(field.attname for field in columns_of(model))
                before = done

                def lines() -> Iterator[bytes]:
                    nonlocal done
                    for row in rows_of(model):  # noqa: B023 - used up within this turn
                        self._note(name, dict(zip(columns, row, strict=True)))  # noqa: B023
                        done += 1
                        if done % 500 == 0:
                            progress("copying rows", done / total)
                        yield line_of(row)

                entry = self._writer.add(f"rows/{name}.jsonl", lines(), is_compressed=True)
                self.tables.append(
                    form.Table(model=name, columns=columns, rows=done - before, entry=entry)
                )
                progress("copying rows", done / total)

    def _note(self, name: str, row: dict[str, object]) -> None:
        if name == "files.StoredFile":
            self.files.append((str(row["sha256"]), int(str(row["size"])), str(row["name"])))
        elif name == "people.Shop":
            self.shop = str(row["name"])


def _write_files(
    writer: form.Writer, folder: Path, files: list[tuple[str, int, str]], progress: Progress
) -> list[form.Entry]:
    total, done = max(1, sum(size for _, size, _ in files)), 0
    entries, wrong = [], []
    for sha256, size, name in sorted(files):
        place = folder / sha256[:2] / sha256
        if not _has_size(place, size):
            wrong.append(name)
            continue
        entries.append(writer.add(f"files/{sha256}", _chunks(place), is_compressed=False))
        if entries[-1].sha256 != sha256:
            wrong.append(name)
        done += size
        progress("copying files", done / total)
    if wrong:
        many = f"{len(wrong)} stored files are" if len(wrong) > 1 else "1 stored file is"
        raise CheckError(
            f"{many} missing from {folder} or damaged, the first “{wrong[0]}”; no backup was "
            "written. Put them back from an earlier one, then try again."
        )
    return entries


def _has_size(place: Path, size: int) -> bool:
    try:
        return place.stat().st_size == size
    except OSError:
        return False


def _chunks(place: Path) -> Iterator[bytes]:
    try:
        with place.open("rb") as file:
            while chunk := file.read(form.CHUNK):
                yield chunk
    except OSError as error:
        raise CheckError(
            f"The stored file {place} cannot be read ({error.strerror}); no backup was written."
        ) from error


def _flush_folder(folder: Path) -> None:
    """Have the new name survive a power cut, where the system can."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
