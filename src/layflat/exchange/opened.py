"""Opening an archive from elsewhere: everything in it is read and checked, or nothing is used."""

import hashlib
import tempfile
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from layflat.base import InputError, LayflatError
from layflat.exchange.histories import require_whole
from layflat.exchange.manifest import read_manifest
from layflat.exchange.plain import read_json
from layflat.exchange.records import (
    MANIFEST,
    MOST_JSON_BYTES,
    SIGNATURE,
    Contents,
    Entry,
    Manifest,
    PatternLine,
)
from layflat.exchange.sign import Signed, require_signed
from layflat.exchange.zipped import opened_zip, read_entry
from layflat.pattern import Pattern, read_pattern_json
from layflat.revise import History, read_history_json
from layflat.surface import BodyInfo, read_panels, sniff

_SCAN_KINDS: Final = {
    "ply": ("ply",),
    "stl": ("stl", "stl text"),
    "obj": ("obj",),
    "glb": ("glb",),
}
_SNIFFED_BYTES: Final = 1 << 20


@dataclass(frozen=True, eq=False)
class Opened:
    """An archive whose every byte was checked; good within the `opened` that gave it.

    Attributes:
        manifest: what it lists.
        signed: whose it is.
        panels: of each entry of panels.
        patterns: of each entry that is a pattern.
        histories: of each entry that is a history.
    """

    manifest: Manifest
    signed: Signed
    panels: dict[str, BodyInfo]
    patterns: dict[str, Pattern]
    histories: dict[str, History]
    archive: zipfile.ZipFile

    @property
    def contents(self) -> Contents:
        """What it holds."""
        return self.manifest.contents

    def sha256(self, name: str) -> str:
        """Of an entry, in hexadecimal; "" for no entry."""
        return next((entry.sha256 for entry in self.manifest.files if entry.name == name), "")

    def chunks(self, name: str) -> Iterator[bytes]:
        """An entry's bytes."""
        entry = next(entry for entry in self.manifest.files if entry.name == name)
        return read_entry(self.archive, name, most_bytes=entry.size)


@contextmanager
def opened(path: Path) -> Iterator[Opened]:
    """The archive at *path*, for as long as the block lasts.

    Every entry is read once: sizes and hashes are those of the list, the list is signed, panels,
    patterns and histories read without a fault, and scans are files of their kind. What a scan's
    triangles are like only shows when it is prepared.

    Raises:
        InputError: it is no archive, or anything in it is not as it should be; says what.
    """
    try:
        with opened_zip(path) as archive:
            data = b"".join(read_entry(archive, MANIFEST, most_bytes=MOST_JSON_BYTES))
            signature = b"".join(read_entry(archive, SIGNATURE, most_bytes=MOST_JSON_BYTES))
            signed = require_signed(data, signature)
            manifest = read_manifest(data)
            listed = [MANIFEST, SIGNATURE, *(entry.name for entry in manifest.files)]
            if archive.namelist() != listed:
                raise InputError("The archive does not hold the files that it lists, in order.")
            yield _checked(archive, manifest, signed)
    except OSError as error:
        raise InputError(f"The archive cannot be read: {error.strerror or error}.") from error


def _checked(archive: zipfile.ZipFile, manifest: Manifest, signed: Signed) -> Opened:
    found = Opened(manifest, signed, {}, {}, {}, archive)
    for entry in manifest.files:
        _read(found, entry)
    _require_same_names(found)
    return found


def _read(found: Opened, entry: Entry) -> None:
    """Check one entry, and read it where it is JSON."""
    digest, size, kept = hashlib.sha256(), 0, b""
    is_json = entry.name.endswith(".json")
    for chunk in read_entry(found.archive, entry.name, most_bytes=entry.size):
        digest.update(chunk)
        size += len(chunk)
        if is_json or len(kept) < _SNIFFED_BYTES:
            kept += chunk
    if size != entry.size or digest.hexdigest() != entry.sha256:
        raise InputError(
            f"“{entry.name}” in the archive is not the file that was signed; ask the shop for the "
            "archive anew."
        )
    folder = entry.name.split("/", 1)[0]
    if folder in ("scans", "surfaces"):
        _require_mesh(entry.name, kept)
    elif is_json:
        value = read_json(kept, where=entry.name, most_bytes=MOST_JSON_BYTES)
        try:
            if folder == "panels":
                found.panels[entry.name] = _panels(kept)
            elif folder == "patterns":
                found.patterns[entry.name] = read_pattern_json(value)
            else:
                found.histories[entry.name] = read_history_json(value)
        except LayflatError as error:
            raise InputError(f"“{entry.name}” in the archive: {str(error)[:400]}") from error


def _require_mesh(name: str, head: bytes) -> None:
    try:
        kind = sniff(head, where=name)
    except LayflatError as error:
        raise InputError(f"“{name}” in the archive is no mesh file that Layflat reads.") from error
    if kind not in _SCAN_KINDS[name.rsplit(".", 1)[-1]]:
        raise InputError(f"“{name}” in the archive is not of the kind that its name says.")


def _panels(data: bytes) -> BodyInfo:
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder) / "panels.json"
        place.write_bytes(data)
        try:
            return read_panels(place)
        except LayflatError as error:
            # Where a file lies on this machine is nobody's business.
            raise InputError(str(error).replace(str(place), place.name)) from error


def _require_same_names(found: Opened) -> None:
    """What a pattern and a history call themselves is what the list calls them."""
    for line in found.contents.patterns:
        _require_line(found, line)
    for correction in found.contents.corrections:
        history = found.histories[correction.history]
        if history.base.name != correction.panel or history.current != correction.number:
            raise InputError(f"The history of “{correction.panel}” is that of something else.")
        require_whole(history)


def _require_line(found: Opened, line: PatternLine) -> None:
    for state in line.revisions:
        if found.patterns[state.pattern].name != line.name:
            raise InputError(
                f"Revision {state.number} of “{line.name}” is a pattern of another name; the "
                "archive's files were swapped."
            )
