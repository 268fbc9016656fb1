"""The guide's tables of keys, defaults and ranges are the code's own.

Nothing of the code's insides is read: an unknown key makes it say which are known, an absurd
value which range it has, a missing one whether there is a default.
"""

import json
import re
import tomllib
from collections.abc import Callable, Iterator
from copy import deepcopy
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

import pytest

import pages
from layflat.base import LayflatError, SettingError
from layflat.cut import read_machine, read_marks, read_readings
from layflat.film import Film, generic_film, read_film, read_strip_test
from layflat.job import read_order, read_week
from layflat.pattern import Layer
from layflat.surface import read_panels

ABSURD = 1e12
BELONG_TO = {"line_mm": ("keep_mm",)}
"""Keys that may only stand with another."""
BETWEEN = re.compile(r"must lie between (\S+) and (\S+)\.$")
TABLES = pages.tables(pages.GUIDE)
KEY_TABLES = [mark.removeprefix("keys: ") for mark in TABLES if mark.startswith("keys: ")]


@dataclass(frozen=True)
class Kind:
    """A kind of file: the guide's example, how it is written, and what reads it."""

    example: str
    read: Callable[[Path], Any]

    def document(self) -> dict[str, Any]:
        text = pages.files(pages.GUIDE)[self.example]
        loaded: dict[str, Any] = (json if self.is_json else tomllib).loads(text)
        return loaded

    @property
    def is_json(self) -> bool:
        return self.example.endswith(".json")

    def judged(self, document: dict[str, Any], folder: Path) -> str:
        """What the reader says about *document*; "" when it takes it."""
        path = folder / self.example
        text = json.dumps(document) if self.is_json else pages.as_toml(document)
        path.write_text(text, encoding="utf-8")
        try:
            self.read(path)
        except SettingError as error:
            return str(error)
        return ""


KINDS = {
    "film": Kind("film.toml", read_film),
    "strip": Kind("strip.toml", read_strip_test),
    "marks": Kind("marks.toml", read_marks),
    "readings": Kind("readings.toml", read_readings),
    "machine": Kind("plotter.toml", read_machine),
    "job": Kind("job.toml", read_order),
    "panels": Kind("board-panels.json", read_panels),
    "week": Kind("week.toml", read_week),
}


def rows_of(table: str) -> Iterator[tuple[str, dict[str, str]]]:
    """Each key of a table with its row; a row may name several."""
    for row in TABLES[f"keys: {table}"]:
        for key in pages.codes(row["key"]):
            yield key, row


def within(document: dict[str, Any], table: str) -> dict[str, Any]:
    """The table of *document* that a table of the guide is about; of lists the first item."""
    found: Any = document
    for name in table.split(".")[1:]:
        found = found[name]
        found = found[0] if isinstance(found, list) else found
    assert isinstance(found, dict)
    return found


def test_the_tables_are_there() -> None:
    assert set(KINDS) <= {table.split(".")[0] for table in KEY_TABLES}
    assert len(KEY_TABLES) >= 11


@pytest.mark.parametrize("table", KEY_TABLES)
def test_the_keys_are_those_that_the_code_knows(table: str, tmp_path: Path) -> None:
    kind = KINDS[table.split(".")[0]]
    document = full(kind)
    within(document, table)["unheard_of"] = 1
    known = re.search(r"known are (.*)\.$", kind.judged(document, tmp_path))
    assert known is not None
    assert {key for key, _ in rows_of(table)} == set(known[1].split(", "))


def full(kind: Kind) -> dict[str, Any]:
    """The guide's example with every key that may be left out."""
    document = kind.document()
    if kind.example == "plotter.toml":
        for key, row in rows_of("machine"):
            if key not in document:
                document[key] = {} if key == "sources" else json.loads(row["default"])
    if kind.example == "job.toml":
        document["cover"][0].setdefault("seams", document["cover"][0]["reliefs"])
        document["cut"] |= {"tabs": 0, "tab_mm": 1, "hinge_mm": 30}
    if kind.example == "marks.toml":
        document |= {"sure": False, "tolerance_mm": 0.5, "reading_mm": 0.2}
    if kind.example == "strip.toml":
        document["loaded"][0]["torn"] = False
    if kind.example == "week.toml":
        document["piece"][0]["answers"] = ["all=default"]
    return document


@pytest.mark.parametrize("table", KEY_TABLES)
def test_the_ranges_are_those_that_the_code_has(table: str, tmp_path: Path) -> None:
    kind = KINDS[table.split(".")[0]]
    for key, row in rows_of(table):
        document = full(kind)
        place = within(document, table)
        stated = [float(end) for end in row.get("from – to", "").split(" – ") if end]
        if not stated and holds_tables(place[key]):
            continue  # they have ranges of their own
        place[key] = with_absurd(place[key])
        found = BETWEEN.search(kind.judged(document, tmp_path))
        actual = [float(end) for end in found.groups()] if found else []
        assert stated == pytest.approx(actual, rel=1e-5), f"{table}, {key}"


def holds_tables(value: Any) -> bool:
    return isinstance(value, dict) or (isinstance(value, list) and isinstance(value[0], dict))


def with_absurd(value: Any) -> Any:
    """*value* with the first number or word in it absurd."""
    if isinstance(value, dict) and value:
        first = next(iter(value))
        return {**value, first: with_absurd(value[first])}
    if isinstance(value, list) and value:
        return [with_absurd(value[0]), *value[1:]]
    return ABSURD


@pytest.mark.parametrize("table", [t for t in KEY_TABLES if "default" in TABLES[f"keys: {t}"][0]])
def test_the_defaults_are_those_that_the_code_takes(table: str, tmp_path: Path) -> None:
    kind = KINDS[table.split(".")[0]]
    for key, row in rows_of(table):
        document = full(kind)
        place = within(document, table)
        before = deepcopy(place)
        for gone in (key, *BELONG_TO.get(key, ())):
            del place[gone]
        complaint = kind.judged(document, tmp_path)
        assert bool(complaint) == (row["default"] == ""), f"{table}, {key}: {complaint}"
        if not complaint:
            taken = kind.read(tmp_path / kind.example).defaults
            name = ".".join([*table.split(".")[1:], key])
            if name in taken and key in before:
                assert spelled(taken[name]) == row["default"], name


def spelled(value: Any) -> str:
    if isinstance(value, tuple):
        return ", ".join(f"{item:g}" for item in value)
    if isinstance(value, bool):
        return str(value).lower()
    return f"{value:g}" if isinstance(value, float) else str(value)


def test_the_generic_film_is_as_the_guide_states() -> None:
    film = generic_film()
    rows = dict(rows_of("film"))
    for item in fields(Film):
        if item.name not in ("sources", "basis"):
            assert spelled(getattr(film, item.name)) == rows[item.name]["generic film"]


def test_the_layers_are_those_of_the_code() -> None:
    named = [key for row in TABLES["layers"] for key in pages.codes(row["layer"])]
    assert named == [layer.value for layer in Layer]


def test_a_slip_of_the_pen_is_told(tmp_path: Path) -> None:
    """The checks above rest on errors; here is one that must not come."""
    for kind in KINDS.values():
        assert kind.judged(kind.document(), tmp_path) == ""
    with pytest.raises(LayflatError):
        read_film(tmp_path / "no-such-film.toml")
