"""A machine's values: from its file's text and back, and what programs depend on."""

import tempfile
from dataclasses import fields, replace
from pathlib import Path
from typing import Any, Final

from layflat.base import SettingError
from layflat.cut import Machine as Values
from layflat.cut import machine_toml, read_machine
from layflat.web.cover.order import usual_machine

WIDTH_MM: Final = 1524.0
_NOT_IN_PROGRAMS: Final = frozenset(
    {
        "name",
        "sources",
        "defaults",
        "buffer_bytes",
        "answers_position",
        "max_width_mm",
        "max_section_mm",
    }
)
"""What a program does not depend on as long as its layout fits the machine."""
_MOST_BYTES: Final = 100_000


def generic() -> Values:
    """The plotter that stands for any, as programs are made for it where nobody chose."""
    return usual_machine(roll_width_mm=WIDTH_MM)


def read_values(text: str) -> Values:
    """The values in a machine file's text.

    Raises:
        SettingError: a value is missing, unknown or out of its range.
    """
    data = text.encode()
    if len(data) > _MOST_BYTES:
        raise SettingError("This is far too long for a machine file.")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "machine.toml"
        path.write_bytes(data)
        try:
            return read_machine(path)
        except SettingError as error:
            raise SettingError(str(error).replace(str(path), "the machine file")) from error


def checked(values: Values, **changes: Any) -> Values:
    """The values with some changed, each in its range.

    Raises:
        SettingError: one is out of its range.
    """
    return read_values(machine_toml(replace(values, **changes)))


def cuts_alike(one: Values, other: Values) -> bool:
    """Whether programs for two machines are the same, byte for byte."""
    names = [item.name for item in fields(Values) if item.name not in _NOT_IN_PROGRAMS]
    return all(getattr(one, name) == getattr(other, name) for name in names)
