"""Packing an archive: what it lists, whose signature it carries, and its bytes."""

import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import IO

import layflat
from layflat.base import InputError, OutputError
from layflat.exchange.manifest import manifest_json, read_manifest
from layflat.exchange.records import MANIFEST, SIGNATURE, Contents, Entry, Manifest, Part
from layflat.exchange.sign import Key, require_signed, signature_json
from layflat.exchange.zipped import sha256_of, write_zip


def pack(contents: Contents, parts: Sequence[Part], *, key: Key, shop: str) -> "Packed":
    """An archive of *contents*, whose files are *parts*; the same bytes for the same input.

    Args:
        contents: what it holds; each entry that it names is one of *parts*.
        parts: the files, in any order.
        key: signs.
        shop: the name that goes with the signature.

    Raises:
        InputError: the contents do not go together, or are more than an archive may hold; or the
            shop's name is empty, too long, or cannot be printed.
    """
    ordered = sorted(parts, key=lambda part: part.name)
    try:
        sums = [(part.name, *sha256_of(part)) for part in ordered]
    except OSError as error:
        name = Path(error.filename or "A file").name
        raise InputError(f"{name} cannot be read: {error.strerror}.") from error
    files = tuple(Entry(name=name, size=size, sha256=sha256) for name, sha256, size in sums)
    data = manifest_json(Manifest(version=layflat.__version__, contents=contents, files=files))
    signed = signature_json(data, key=key, shop=shop)
    # What is given away must be something that others can read.
    read_manifest(data)
    require_signed(data, signed)
    return Packed([Part(MANIFEST, data), Part(SIGNATURE, signed), *ordered])


class Packed:
    """An archive that is ready to be written."""

    def __init__(self, parts: list[Part]) -> None:
        self._parts = parts

    def write(self, path: Path) -> None:
        """Write it to *path*, whole or not at all; a file that is there gives way.

        Raises:
            OutputError: it cannot be written.
        """
        try:
            with tempfile.NamedTemporaryFile(
                dir=path.parent, prefix=f".{path.name}.", delete=False
            ) as file:
                aside = Path(file.name)
                try:
                    write_zip(file, self._parts)
                    file.flush()
                    aside.chmod(0o644)
                    aside.replace(path)
                finally:
                    aside.unlink(missing_ok=True)
        except OSError as error:
            raise OutputError(f"{path} cannot be written: {error.strerror}.") from error

    def copy_to(self, file: IO[bytes]) -> None:
        """Write it into an open file.

        Raises:
            OutputError: that fails, or a part cannot be read.
        """
        try:
            write_zip(file, self._parts)
        except OSError as error:
            raise OutputError(f"The archive cannot be written: {error.strerror}.") from error
