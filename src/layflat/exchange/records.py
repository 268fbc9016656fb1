"""What an archive holds, as plain records."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

FORM: Final = "layflat archive 1"
MANIFEST: Final = "archive.json"
SIGNATURE: Final = "signature.json"
MOST_BYTES: Final = 1_500_000_000
"""Of a whole archive; well below where ZIP needs its 64-bit form."""
MOST_ENTRIES: Final = 5_000
MOST_SCAN_BYTES: Final = 600_000_000
MOST_JSON_BYTES: Final = 20_000_000
"""Of one entry of JSON."""
ORIGINS: Final = ("computed", "photograph", "drawing", "other_car", "archive", "edited", "unknown")
UNITS: Final = ("mm", "cm", "m", "in")
SCAN_KINDS: Final = ("ply", "obj", "stl", "glb")


@dataclass(frozen=True, kw_only=True)
class Vehicle:
    """The vehicle whose shapes these are, in the giving shop's words; a year may be unknown."""

    maker: str
    name: str
    year_from: int | None = None
    year_to: int | None = None
    note: str = ""

    def __str__(self) -> str:
        return f"{self.maker} {self.name}".strip()


@dataclass(frozen=True, kw_only=True)
class BodyState:
    """One revision of the body.

    Attributes:
        number: in the giving shop, from 1, rising.
        scan, panels, surface: entries; `panels` and `surface` may be "". The surface is a GLB for
            other programs, made from the scan.
        unit: of the scan: mm, cm, m or in; "" where the file fixes it.
        made: day it was added, ISO 8601.
    """

    number: int
    scan: str
    unit: str
    panels: str = ""
    surface: str = ""
    made: str = ""


@dataclass(frozen=True, kw_only=True)
class PatternState:
    """One revision of a kept pattern.

    Attributes:
        number: in the giving shop, from 1, rising.
        pattern, drawing: entries; the JSON is the pattern, the DXF is for other programs.
        origin: one of `ORIGINS`.
        exactness: how exact it is, in the words and figures of where it came from.
        said: sentences on what was mended, guessed or left open.
        based_on: number of the revision that it was edited from, or None.
        made: day it was kept, ISO 8601.
    """

    number: int
    pattern: str
    drawing: str
    origin: str = "unknown"
    exactness: Mapping[str, Any] = field(default_factory=dict)
    said: tuple[str, ...] = ()
    based_on: int | None = None
    made: str = ""


@dataclass(frozen=True, kw_only=True)
class PatternLine:
    """A pattern with its revisions, the oldest first; `name` is one of a kind."""

    name: str
    title: str
    revisions: tuple[PatternState, ...]


@dataclass(frozen=True, kw_only=True)
class CoverState:
    """A cover that the shop begins from again.

    Attributes:
        title: one of a kind.
        revision: number of the body revision that its lines were drawn on.
        choices: panels, lines, edges and keep-outs, as the app keeps them.
    """

    title: str
    revision: int
    choices: Mapping[str, Any]


@dataclass(frozen=True, kw_only=True)
class CorrectionState:
    """What fit notes made of a panel's pattern.

    Attributes:
        panel: the piece's name, such as "hood", or "hood 2" of a panel in two pieces.
        history: entry; see `layflat.revise.history_json`.
        number: of the revision in it that is cut now, 0 for the base.
        said: sentences.
        made: day, ISO 8601.
    """

    panel: str
    history: str
    number: int
    said: tuple[str, ...] = ()
    made: str = ""


@dataclass(frozen=True, kw_only=True)
class Contents:
    """All that one archive holds of a vehicle."""

    vehicle: Vehicle
    bodies: tuple[BodyState, ...] = ()
    patterns: tuple[PatternLine, ...] = ()
    covers: tuple[CoverState, ...] = ()
    corrections: tuple[CorrectionState, ...] = ()

    def entries(self) -> Iterator[str]:
        """The names of the entries that it speaks of, some perhaps twice."""
        for body in self.bodies:
            yield from (name for name in (body.scan, body.panels, body.surface) if name)
        for line in self.patterns:
            for state in line.revisions:
                yield from (state.pattern, state.drawing)
        yield from (correction.history for correction in self.corrections)


@dataclass(frozen=True, kw_only=True)
class Entry:
    """One file in an archive: its name, its size in bytes and its SHA-256 in hexadecimal."""

    name: str
    size: int
    sha256: str


@dataclass(frozen=True, kw_only=True)
class Manifest:
    """What `archive.json` says: the version of Layflat that made it, the contents, the files."""

    version: str
    contents: Contents
    files: tuple[Entry, ...]


@dataclass(frozen=True)
class Part:
    """A file to be packed: its name in the archive, and its bytes or where they lie."""

    name: str
    data: bytes | Path
