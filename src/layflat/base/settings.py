"""TOML files read with every value checked for presence, type and range.

A `Settings` is one table of such a file. It remembers what was asked for, so that `finish`
can refuse a key that nobody knows (a misspelt key must not turn into a silent default), and
which values came from a default, so that a report can say so.
"""

import datetime
import math
import tomllib
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from layflat.base.errors import SettingError
from layflat.base.files import read_bytes

_MAX_BYTES = 1_000_000


class Settings:
    """One table of a settings file, read value by value."""

    def __init__(self, table: Mapping[str, Any], *, where: str) -> None:
        self._table = table
        self._asked: set[str] = set()
        self.where = where
        self.defaults: dict[str, Any] = {}

    def __contains__(self, key: str) -> bool:
        return key in self._table

    def _take(self, key: str, default: Any) -> Any:
        self._asked.add(key)
        if key in self._table:
            return self._table[key]
        if default is None:
            raise SettingError(f"{self.where}: the value “{key}” is missing.")
        self.defaults[key] = default
        return default

    def number(self, key: str, *, least: float, most: float, default: float | None = None) -> float:
        """A finite number from *least* to *most*.

        Raises:
            SettingError: it is missing without a default, no number, or out of range.
        """
        value = self._take(key, default)
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise SettingError(f"{self.where}: “{key}” must be a number, not {value!r}.")
        if not math.isfinite(value) or not least <= value <= most:
            raise SettingError(
                f"{self.where}: “{key}” is {value:g}; it must lie between {least:g} and {most:g}."
            )
        return float(value)

    def integer(self, key: str, *, least: int, most: int, default: int | None = None) -> int:
        """A whole number from *least* to *most*.

        Raises:
            SettingError: as for `number`, or it is not whole.
        """
        value = self.number(key, least=least, most=most, default=default)
        if value != int(value):
            raise SettingError(f"{self.where}: “{key}” is {value:g}; it must be a whole number.")
        return int(value)

    def text(self, key: str, *, default: str | None = None, least: int = 1, most: int = 200) -> str:
        """A text of *least* to *most* characters, blanks at its ends not counted.

        Raises:
            SettingError: it is missing without a default, no text, empty or too long.
        """
        value = self._take(key, default)
        if not isinstance(value, str):
            raise SettingError(f"{self.where}: “{key}” must be a text, not {value!r}.")
        if not least <= len(value.strip()) <= most:
            raise SettingError(f"{self.where}: “{key}” must have {least} to {most} characters.")
        return value

    def flag(self, key: str, *, default: bool | None = None) -> bool:
        """True or false.

        Raises:
            SettingError: it is missing without a default, or something else.
        """
        value = self._take(key, default)
        if not isinstance(value, bool):
            raise SettingError(f"{self.where}: “{key}” must be true or false, not {value!r}.")
        return value

    def day(self, key: str) -> datetime.date:
        """A date, in TOML's own form: 2026-05-31.

        Raises:
            SettingError: it is missing, or something else.
        """
        value = self._take(key, None)
        if not isinstance(value, datetime.date) or isinstance(value, datetime.datetime):
            raise SettingError(f"{self.where}: “{key}” must be a date like 2026-05-31.")
        return value

    def choice(self, key: str, options: tuple[str, ...], *, default: str | None = None) -> str:
        """One of *options*.

        Raises:
            SettingError: it is missing without a default, or not among them.
        """
        value = self._take(key, default)
        if value not in options:
            listed = ", ".join(options)
            raise SettingError(f"{self.where}: “{key}” is {value!r}; it must be one of {listed}.")
        return str(value)

    def numbers(
        self, key: str, *, least: float, most: float, default: tuple[float, ...] | None = None
    ) -> tuple[float, ...]:
        """A list of finite numbers, each from *least* to *most*.

        Raises:
            SettingError: it is missing without a default, or holds something else.
        """
        value = self._take(key, default)
        if not isinstance(value, list | tuple):
            raise SettingError(f"{self.where}: “{key}” must be a list of numbers, not {value!r}.")
        items = {f"{key}[{i}]": item for i, item in enumerate(value)}
        inner = Settings(items, where=self.where)
        return tuple(inner.number(name, least=least, most=most) for name in items)

    def lists(self, key: str, *, least: float, most: float) -> tuple[tuple[float, ...], ...]:
        """A list of lists of finite numbers, each from *least* to *most*.

        Raises:
            SettingError: it is missing, or holds something else.
        """
        value = self._take(key, None)
        if not isinstance(value, list):
            raise SettingError(f"{self.where}: “{key}” must be a list of lists, not {value!r}.")
        rows = {f"{key}[{i}]": row for i, row in enumerate(value)}
        inner = Settings(rows, where=self.where)
        return tuple(inner.numbers(name, least=least, most=most) for name in rows)

    def texts(self, key: str, *, most: int = 200) -> tuple[str, ...]:
        """A list of texts, each of 1 to *most* characters.

        Raises:
            SettingError: it is missing, or holds something else.
        """
        value = self._take(key, None)
        if not isinstance(value, list):
            raise SettingError(f"{self.where}: “{key}” must be a list of texts, not {value!r}.")
        items = {f"{key}[{i}]": item for i, item in enumerate(value)}
        inner = Settings(items, where=self.where)
        return tuple(inner.text(name, most=most) for name in items)

    def paths(
        self, key: str, *, least: float, most: float
    ) -> tuple[tuple[tuple[float, ...], ...], ...]:
        """A list of paths, each a list of lists of finite numbers from *least* to *most*.

        Raises:
            SettingError: it is missing, or holds something else.
        """
        value = self._take(key, None)
        if not isinstance(value, list):
            raise SettingError(f"{self.where}: “{key}” must be a list of paths, not {value!r}.")
        rows = {f"{key}[{i}]": row for i, row in enumerate(value)}
        inner = Settings(rows, where=self.where)
        return tuple(inner.lists(name, least=least, most=most) for name in rows)

    def table(self, key: str, *, optional: bool = False) -> "Settings":
        """The table under *key*; an absent optional table reads as an empty one.

        Raises:
            SettingError: it is missing and not optional, or no table.
        """
        value = self._take(key, {} if optional else None)
        if not isinstance(value, Mapping):
            raise SettingError(f"{self.where}: “{key}” must be a table.")
        self.defaults.pop(key, None)
        return Settings(value, where=f"{self.where}, {key}")

    def tables(self, key: str, *, optional: bool = False) -> Iterator["Settings"]:
        """The tables of the list under *key*, in order.

        Raises:
            SettingError: it is missing and not optional, or no list of tables.
        """
        value = self._take(key, [] if optional else None)
        if not isinstance(value, list) or not all(isinstance(item, Mapping) for item in value):
            raise SettingError(f"{self.where}: “{key}” must be a list of tables.")
        self.defaults.pop(key, None)
        for i, item in enumerate(value):
            yield Settings(item, where=f"{self.where}, {key} {i + 1}")

    def names(self) -> tuple[str, ...]:
        """The keys of this table, in the file's order; they count as asked for."""
        self._asked.update(self._table)
        return tuple(self._table)

    def plain(self) -> dict[str, Any]:
        """All values of this table as they are; they count as asked for."""
        self._asked.update(self._table)
        return dict(self._table)

    def finish(self) -> None:
        """Refuse what nobody asked for.

        Raises:
            SettingError: the table has a key that is not known.
        """
        unknown = [key for key in self._table if key not in self._asked]
        if unknown:
            known = ", ".join(sorted(self._asked))
            raise SettingError(
                f"{self.where}: “{unknown[0]}” is not a value that is known here; "
                f"known are {known}."
            )


def read_settings(path: Path) -> Settings:
    """The top table of the TOML file at *path*.

    Raises:
        SettingError: the file is not TOML.
        InputError: the file cannot be read.
    """
    data = read_bytes(path, max_bytes=_MAX_BYTES)
    try:
        return Settings(tomllib.loads(data.decode("utf-8")), where=str(path))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, RecursionError) as error:
        raise SettingError(f"{path} is not a TOML file: {error}.") from error
