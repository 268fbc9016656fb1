"""The list of an archive's contents, `archive.json`, written and read.

docs/exchange.schema.json describes it as JSON Schema; here is what no schema can say, too.
"""

import datetime
import re
from collections.abc import Iterable
from dataclasses import asdict
from typing import Final

from layflat.base import InputError, LayflatError, Settings
from layflat.exchange.plain import json_bytes, read_json
from layflat.exchange.records import (
    FORM,
    MANIFEST,
    MOST_BYTES,
    MOST_ENTRIES,
    MOST_JSON_BYTES,
    MOST_SCAN_BYTES,
    ORIGINS,
    UNITS,
    BodyState,
    Contents,
    CorrectionState,
    CoverState,
    Entry,
    Manifest,
    PatternLine,
    PatternState,
    Vehicle,
)

NAME: Final = re.compile(
    r"scans/[1-9]\d{0,3}\.(ply|obj|stl|glb)|surfaces/[1-9]\d{0,3}\.glb|panels/[1-9]\d{0,3}\.json"
    r"|patterns/[1-9]\d{0,3}/[1-9]\d{0,3}\.(json|dxf)|histories/[1-9]\d{0,3}\.json",
    re.ASCII,
)
"""What a file in an archive may be called: no name leads out of a folder."""
_SHA256: Final = re.compile(r"[0-9a-f]{64}", re.ASCII)
_MOST: Final = 9_999
_FIRST_YEAR, _LAST_YEAR = 1885, 2199
_LONGEST_SENTENCE: Final = 400


def manifest_json(manifest: Manifest) -> bytes:
    """A manifest as it stands in an archive."""
    contents = asdict(manifest.contents)
    vehicle = {key: value for key, value in contents.pop("vehicle").items() if value is not None}
    for line in contents["patterns"]:
        for state in line["revisions"]:
            if state["based_on"] is None:
                del state["based_on"]
    return json_bytes(
        {
            "form": FORM,
            "made_by": f"layflat {manifest.version}",
            "lengths": "mm",
            "vehicle": vehicle,
            **contents,
            "files": [asdict(entry) for entry in manifest.files],
        }
    )


def read_manifest(data: bytes) -> Manifest:
    """The manifest that `manifest_json` wrote.

    Raises:
        InputError: it is none, is beyond its bounds, or its parts do not go together.
    """
    found = read_json(data, where=MANIFEST, most_bytes=MOST_JSON_BYTES)
    if not isinstance(found, dict) or not isinstance(found.get("form"), str):
        raise InputError("The archive's list of contents is not one of Layflat's.")
    if found["form"] != FORM:
        raise InputError(
            f"The archive is of the form “{found['form'][:40]}”; this Layflat reads “{FORM}”. A "
            "newer Layflat may read it."
        )
    try:
        manifest = _manifest(Settings(found, where=MANIFEST))
    except LayflatError as error:
        # A wrong value is told with the value itself, which may be long.
        raise InputError(_short(str(error))) from error
    _require_together(manifest)
    return manifest


def _short(sentence: str) -> str:
    if len(sentence) <= _LONGEST_SENTENCE:
        return sentence
    return f"{sentence[:_LONGEST_SENTENCE]} …"


def _manifest(top: Settings) -> Manifest:
    top.choice("form", (FORM,))
    top.choice("lengths", ("mm",))
    manifest = Manifest(
        version=top.text("made_by", most=60).removeprefix("layflat "),
        contents=Contents(
            vehicle=_vehicle(top.table("vehicle")),
            bodies=tuple(_body(table) for table in top.tables("bodies")),
            patterns=tuple(_line(table) for table in top.tables("patterns")),
            covers=tuple(_cover(table) for table in top.tables("covers")),
            corrections=tuple(_correction(table) for table in top.tables("corrections")),
        ),
        files=tuple(_entry(table) for table in top.tables("files")),
    )
    top.finish()
    return manifest


def _vehicle(table: Settings) -> Vehicle:
    vehicle = Vehicle(
        maker=_words(table, "maker", most=80),
        name=_words(table, "name", most=80),
        year_from=_year(table, "year_from"),
        year_to=_year(table, "year_to"),
        note=_words(table, "note", least=0, most=400),
    )
    table.finish()
    first, last = vehicle.year_from, vehicle.year_to
    if first and last and last < first:
        raise InputError(f"{table.where}: the last year lies before the first.")
    return vehicle


def _year(table: Settings, key: str) -> int | None:
    if key not in table:
        return None
    return table.integer(key, least=_FIRST_YEAR, most=_LAST_YEAR)


def _words(table: Settings, key: str, *, least: int = 1, most: int) -> str:
    """Words for people, without signs that would change how others are shown."""
    text = table.text(key, least=least, most=most)
    if not text.isprintable() or text != text.strip():
        raise InputError(
            f"{table.where}: “{key}” holds signs that cannot be printed, or blanks at its ends."
        )
    return text


def _day(table: Settings) -> str:
    text = table.text("made", least=0, most=10)
    try:
        if text and datetime.date.fromisoformat(text).isoformat() != text:
            raise ValueError(text)
    except ValueError as error:
        raise InputError(f"{table.where}: “made” is no day like 2026-05-31.") from error
    return text


def _number(table: Settings) -> int:
    return table.integer("number", least=1, most=_MOST)


def _body(table: Settings) -> BodyState:
    state = BodyState(
        number=_number(table),
        scan=_file(table, "scan", "scans/"),
        unit=table.choice("unit", ("", *UNITS)),
        panels=_file(table, "panels", "panels/", least=0),
        surface=_file(table, "surface", "surfaces/", least=0),
        made=_day(table),
    )
    table.finish()
    if (state.unit == "") != state.scan.endswith(".glb"):
        raise InputError(
            f"{table.where}: a GLB file fixes its unit, metres; every other scan has one stated."
        )
    return state


def _file(table: Settings, key: str, folder: str, *, least: int = 1, ending: str = "") -> str:
    name = table.text(key, least=least, most=60)
    if name and not (NAME.fullmatch(name) and name.startswith(folder) and name.endswith(ending)):
        raise InputError(f"{table.where}: “{key}” names no file of an archive.")
    return name


def _line(table: Settings) -> PatternLine:
    line = PatternLine(
        name=_words(table, "name", most=80),
        title=_words(table, "title", most=120),
        revisions=tuple(_pattern(state) for state in table.tables("revisions")),
    )
    table.finish()
    if not line.revisions:
        raise InputError(f"{table.where}: “{line.name}” has no revision.")
    _require_rising(table.where, (state.number for state in line.revisions))
    numbers: set[int] = set()
    for state in line.revisions:
        if state.based_on is not None and state.based_on not in numbers:
            raise InputError(f"{table.where}: revision {state.number} rests on none before it.")
        numbers.add(state.number)
    return line


def _pattern(table: Settings) -> PatternState:
    state = PatternState(
        number=_number(table),
        pattern=_file(table, "pattern", "patterns/", ending=".json"),
        drawing=_file(table, "drawing", "patterns/", ending=".dxf"),
        origin=table.choice("origin", ORIGINS),
        exactness=table.table("exactness").plain(),
        said=table.texts("said", most=500),
        based_on=table.integer("based_on", least=1, most=_MOST) if "based_on" in table else None,
        made=_day(table),
    )
    table.finish()
    return state


def _cover(table: Settings) -> CoverState:
    cover = CoverState(
        title=_words(table, "title", most=80),
        revision=table.integer("revision", least=1, most=_MOST),
        choices=table.table("choices").plain(),
    )
    table.finish()
    return cover


def _correction(table: Settings) -> CorrectionState:
    state = CorrectionState(
        panel=_words(table, "panel", most=80),
        history=_file(table, "history", "histories/"),
        number=table.integer("number", least=0, most=_MOST),
        said=table.texts("said", most=500),
        made=_day(table),
    )
    table.finish()
    return state


def _entry(table: Settings) -> Entry:
    entry = Entry(
        name=_file(table, "name", ""),
        size=table.integer("size", least=1, most=MOST_BYTES),
        sha256=table.text("sha256", most=64),
    )
    table.finish()
    most = MOST_SCAN_BYTES if entry.name.startswith(("scans/", "surfaces/")) else MOST_JSON_BYTES
    if not _SHA256.fullmatch(entry.sha256):
        raise InputError(f"{table.where}: “sha256” is no SHA-256 in hexadecimal.")
    if entry.size > most:
        raise InputError(f"{table.where}: {entry.name} has more than {most / 1e6:g} MB.")
    return entry


def _require_rising(where: str, numbers: Iterable[int]) -> None:
    found = list(numbers)
    if found != sorted(set(found)):
        raise InputError(f"{where}: the revisions are not in order.")


def _require_together(manifest: Manifest) -> None:
    """What parts say of each other must be true."""
    contents = manifest.contents
    _require_rising(MANIFEST, (body.number for body in contents.bodies))
    names = [entry.name for entry in manifest.files]
    if names != sorted(set(names)):
        raise InputError("The archive lists a file twice, or its files out of order.")
    if len(names) > MOST_ENTRIES or sum(entry.size for entry in manifest.files) > MOST_BYTES:
        raise InputError("The archive says that it holds more than is ever read.")
    if set(contents.entries()) != set(names):
        raise InputError("The archive lists files that it says nothing of, or lacks some.")
    for what, keys in (
        ("patterns", [line.name for line in contents.patterns]),
        ("covers", [cover.title for cover in contents.covers]),
        ("corrections", [correction.panel for correction in contents.corrections]),
    ):
        if len({key.casefold() for key in keys}) < len(keys):
            raise InputError(f"The archive holds two {what} of one name.")
    bodies = {body.number for body in contents.bodies}
    lost = [cover.title for cover in contents.covers if cover.revision not in bodies]
    if lost:
        raise InputError(
            f"The cover “{lost[0]}” was drawn on a body revision that the archive does not hold."
        )
