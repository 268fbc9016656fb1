"""The record of a sending: a file of lines that is only ever added to.

What may be handed over is written, and on the disk, before it is handed over: after a crash of
this process or of this computer the record says at least as much as happened, never less. A last
line that was not finished was not acted upon, and does not count.
"""

import errno
import fcntl
import json
import os
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from layflat.base import InputError, OutputError, read_bytes

_MOST_BYTES = 64_000_000
FORM = 1


@dataclass(frozen=True, kw_only=True)
class Past:
    """What a record says of a program.

    Attributes:
        sha256: of the program's bytes.
        program: its name.
        section: which of its file, or 0 for the whole.
        how: how the last sending ended; "crashed" if its end was not written.
        least: offset in the program before which all was surely taken up.
        most: offset behind which the machine has got nothing.
        reason: why it broke.
    """

    sha256: str
    program: str
    section: int
    how: str
    least: int
    most: int
    reason: str


class Record:
    """An open record, held by this process alone."""

    def __init__(self, path: Path, *, again: bool = False) -> None:
        """Begin a record at *path*, or go on with the one there.

        Raises:
            OutputError: there is one already (or none, to go on with), another process holds it,
                or it cannot be written.
        """
        self.path = path
        flags = os.O_RDWR | os.O_APPEND | (0 if again else os.O_CREAT | os.O_EXCL)
        try:
            self._file = os.open(path, flags, 0o644)
        except FileExistsError:
            raise OutputError(
                f"{path} is there already: this program was sent, or begun. Go on with it by "
                f"--resume {path}, or name another file by --record to send it once more."
            ) from None
        except OSError as error:
            raise OutputError(f"{path} cannot be written: {error.strerror}.") from error
        try:
            fcntl.flock(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB)
            self._cut_torn()
            if not again:
                _sync_folder(path.parent)
        except BlockingIOError:
            os.close(self._file)
            raise OutputError(f"{path} is in use: that sending is still going on.") from None
        except OSError as error:
            os.close(self._file)
            if not again:
                path.unlink(missing_ok=True)
            raise OutputError(f"{path} cannot be written: {error.strerror}.") from error

    def _cut_torn(self) -> None:
        """Take away a last line that was not finished, so that the next one stands by itself."""
        size = os.fstat(self._file).st_size
        tail = os.pread(self._file, 1 << 16, max(0, size - (1 << 16)))
        torn = len(tail) - (tail.rfind(b"\n") + 1)
        if torn:
            os.ftruncate(self._file, size - torn)

    def write(self, what: str, **values: Any) -> None:
        """Add a line; it is on the disk when this returns.

        Raises:
            OutputError: it cannot be written; nothing of it is left.
        """
        entry = {"what": what, "at": datetime.now(UTC).isoformat(timespec="milliseconds"), **values}
        line = json.dumps(entry, ensure_ascii=False).encode() + b"\n"
        before = os.fstat(self._file).st_size
        try:
            if os.write(self._file, line) != len(line):
                raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
            os.fsync(self._file)
        except OSError as error:
            # Half a line would spoil the next one.
            with suppress(OSError):
                os.ftruncate(self._file, before)
            raise OutputError(f"{self.path} cannot be written: {error.strerror}.") from error

    def close(self) -> None:
        """Let it go."""
        os.close(self._file)


def _sync_folder(folder: Path) -> None:
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def read_record(path: Path) -> Past:
    """What the record at *path* says of the last sending in it.

    Raises:
        InputError: it is no record of a sending, or damaged.
    """
    data = read_bytes(path, max_bytes=_MOST_BYTES)
    lines = data[: data.rfind(b"\n") + 1].splitlines()
    entries: list[dict[str, Any]] = []
    for number, line in enumerate(lines, start=1):
        try:
            entry = json.loads(line)
            assert isinstance(entry, dict)
            assert isinstance(entry["what"], str)
        except (ValueError, AssertionError, KeyError, RecursionError):
            raise InputError(f"{path} is no record of a sending: look at line {number}.") from None
        entries.append(entry)
    starts = [i for i, entry in enumerate(entries) if entry["what"] == "began"]
    if not starts:
        raise InputError(f"{path} is no record of a sending: nothing was begun in it.")
    try:
        return _past(entries[starts[-1] :])
    except (KeyError, TypeError, ValueError):
        raise InputError(f"{path} is damaged: a value of the last sending is missing.") from None


def _past(entries: list[dict[str, Any]]) -> Past:
    """The story from the last beginning on."""
    began = entries[0]
    if began["form"] != FORM:
        raise ValueError
    least = most = int(began["begin"])
    how, reason = "crashed", ""
    for entry in entries[1:]:
        if entry["what"] == "window":
            least, most = max(least, int(entry["least"])), max(most, int(entry["through"]))
        elif entry["what"] == "ended":
            least, most = int(entry["least"]), int(entry["most"])
            how, reason = str(entry["how"]), str(entry["reason"])
    return Past(
        sha256=str(began["sha256"]),
        program=str(began["program"]),
        section=int(began["section"]),
        how=how,
        least=least,
        most=most,
        reason=reason,
    )
