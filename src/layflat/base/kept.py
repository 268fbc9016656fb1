"""Results of long steps, kept by what they were computed from, so that nothing is computed twice.

A result is found again by the hash of its step's name, of all that it was computed from, and of
this program's own code: after any change of these it is computed anew. Each is a file of its own,
written aside and renamed, so that several processes may share a folder.

A file is a pickle (Python's own format) whose reader makes nothing but arrays and this program's
own records, with a hash before it. One that is damaged, or holds anything else, is computed anew.
"""

import dataclasses
import hashlib
import os
import pickle
import struct
import time
from collections.abc import Callable
from contextlib import suppress
from enum import Enum
from functools import cache
from importlib.metadata import version
from io import BytesIO
from pathlib import Path
from typing import Any, Final, TypeVar

from layflat.base.digest import digest
from layflat.base.errors import OutputError
from layflat.base.files import require_own_folder, write_bytes

MOST_BYTES: Final = 4_000_000_000
"""What a folder holds at most; what was not used for longest goes first."""

_MARK: Final = b"layflat kept 1\n"
_SUFFIX: Final = ".kept"
_MOST_FILE: Final = 1_000_000_000
_LEFT_S: Final = 3600.0
_MOST_BUFFERS: Final = 100_000
_NUMPY: Final = frozenset(
    {
        ("numpy", "ndarray"),
        ("numpy", "dtype"),
        ("numpy._core.multiarray", "_reconstruct"),
        ("numpy._core.multiarray", "scalar"),
        ("numpy._core.numeric", "_frombuffer"),
        ("numpy.core.multiarray", "_reconstruct"),
        ("numpy.core.multiarray", "scalar"),
        ("numpy.core.numeric", "_frombuffer"),
    }
)
_BUILT_IN: Final = frozenset({"complex", "frozenset", "set"})
_WHEN_DAMAGED: Final = (
    struct.error,
    pickle.UnpicklingError,
    AttributeError,
    EOFError,
    ImportError,
    IndexError,
    KeyError,
    TypeError,
    ValueError,
)
_Result = TypeVar("_Result")


class _NotKeptError(Exception):
    """A file is not what was kept."""


class Kept:
    """A folder of kept results.

    Attributes:
        folder: where they lie, or None to keep nothing.
        found: how many were found, by step.
        made: how many were computed, by step.
        notes: sentences on files that were damaged or could not be written.
    """

    def __init__(
        self,
        folder: Path | None = None,
        *,
        most_bytes: int = MOST_BYTES,
        computes: bool = True,
    ) -> None:
        """Open *folder*, and make it if it is not there.

        Args:
            folder: where results lie, or None to keep none.
            most_bytes: what it holds at most.
            computes: whether what is not kept is computed; else asking for it is a `LookupError`.

        Raises:
            OutputError: it holds what Layflat did not write, or cannot be made.
        """
        self.folder = folder
        self.most_bytes = most_bytes
        self.computes = computes
        self.found: dict[str, int] = {}
        self.made: dict[str, int] = {}
        self.notes: list[str] = []
        if folder is None:
            return
        if not (folder.is_dir() and any(folder.glob(f"*{_SUFFIX}"))):
            require_own_folder(folder)
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise OutputError(f"{folder} cannot be made: {error.strerror}.") from error

    def get(self, step: str, given: tuple[Any, ...], compute: Callable[[], _Result]) -> _Result:
        """The result of *compute*, kept from before or computed now.

        Args:
            step: its name, a plain word.
            given: all that the result depends on (see `layflat.base.digest`).
            compute: makes it.

        Raises:
            LookupError: it is not kept, and shall not be computed.
        """
        if self.folder is None:
            return self._make(step, compute)
        path = self.folder / f"{step}-{digest(own_code(), step, given)}{_SUFFIX}"
        try:
            result: _Result = _read(path)
        except FileNotFoundError:
            pass
        except (_NotKeptError, OSError) as error:
            self.notes.append(f"A kept result ({step}) was damaged and computed anew: {error}.")
        else:
            _mark_used(path)
            self.found[step] = self.found.get(step, 0) + 1
            return result
        result = self._make(step, compute)
        try:
            write_bytes(path, _written(result))
            _mark_used(path)
        except OutputError as error:
            self.notes.append(f"A result ({step}) could not be kept: {error}")
        self._make_room(path)
        return result

    def _make(self, step: str, compute: Callable[[], _Result]) -> _Result:
        if not self.computes:
            raise LookupError(f"No result of the step “{step}” is kept for this.")
        result = compute()
        self.made[step] = self.made.get(step, 0) + 1
        return result

    def _make_room(self, newest: Path) -> None:
        """Take away what was not used for longest, while the folder holds too much.

        And what a process that was killed left half-written, an hour ago or more.
        """
        files = []
        for path in newest.parent.glob(f".*{_SUFFIX}.*.part"):
            with suppress(FileNotFoundError):
                if time.time() - path.stat().st_mtime > _LEFT_S:
                    path.unlink()
        for path in newest.parent.glob(f"*{_SUFFIX}"):
            with suppress(FileNotFoundError):
                state = path.stat()
                files.append((state.st_mtime_ns, state.st_size, path))
        held = sum(size for _, size, _ in files)
        for _, size, path in sorted(files, key=lambda file: file[0]):
            if held <= self.most_bytes:
                return
            if path != newest:
                with suppress(OSError):
                    path.unlink()
                held -= size


def _mark_used(path: Path) -> None:
    """Now, to the nanosecond: the file system's own clock may stand still for some milliseconds."""
    now = time.time_ns()
    with suppress(OSError):
        os.utime(path, ns=(now, now))


@cache
def own_code() -> str:
    """A hash of this program's code and of the libraries that its results rest on."""
    root = Path(__file__).parents[1]
    sha = hashlib.sha256()
    for path in sorted(root.rglob("*.py")):
        if "web" not in path.relative_to(root).parts:
            sha.update(path.relative_to(root).as_posix().encode() + b"\0" + path.read_bytes())
    libraries = ("numpy", "scipy", "shapely")
    return digest(sha.hexdigest(), [(name, version(name)) for name in libraries])


def _written(result: Any) -> bytes:
    """A result as the contents of a file: mark, hash, number and lengths of parts, parts."""
    arrays: list[pickle.PickleBuffer] = []
    body = pickle.dumps(result, protocol=5, buffer_callback=arrays.append)
    parts = [body, *(bytes(each.raw()) for each in arrays)]
    held = struct.pack(f"<Q{len(parts)}Q", len(parts), *map(len, parts)) + b"".join(parts)
    return _MARK + hashlib.sha256(held).digest() + held


def _read(path: Path) -> Any:
    """The result in a file.

    Raises:
        _NotKeptError: the file is damaged, or holds what is not kept here.
    """
    if path.stat().st_size > _MOST_FILE:
        raise _NotKeptError("the file is too large")
    data = path.read_bytes()
    start = len(_MARK) + hashlib.sha256().digest_size
    held = data[start:]
    if not data.startswith(_MARK) or hashlib.sha256(held).digest() != data[len(_MARK) : start]:
        raise _NotKeptError("its hash is another")
    try:
        (count,) = struct.unpack_from("<Q", held)
        if not 1 <= count <= _MOST_BUFFERS:
            raise _NotKeptError("it has too many parts")
        lengths = struct.unpack_from(f"<{count}Q", held, 8)
        parts, at = [], 8 + 8 * count
        for length in lengths:
            # Bytes cannot be written to, so that arrays come back as they were: frozen.
            parts.append(held[at : at + length])
            at += length
        return _Reader(BytesIO(parts[0]), buffers=parts[1:]).load()
    except _WHEN_DAMAGED as error:
        raise _NotKeptError(str(error)) from error


class _Reader(pickle.Unpickler):
    """Makes arrays and this program's own records, and nothing else."""

    def find_class(self, module_name: str, global_name: str, /) -> Any:
        """The class of that name, if it may be made."""
        is_built_in = module_name == "builtins" and global_name in _BUILT_IN
        if is_built_in or (module_name, global_name) in _NUMPY:
            return super().find_class(module_name, global_name)
        if module_name.startswith("layflat."):
            found = super().find_class(module_name, global_name)
            is_record = dataclasses.is_dataclass(found) or (
                isinstance(found, type) and issubclass(found, Enum)
            )
            if is_record:
                return found
        raise pickle.UnpicklingError(f"it holds {module_name}.{global_name}")
