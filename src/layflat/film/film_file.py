"""Film files (TOML), in and out, and the generic film that comes with Layflat."""

import json
from collections.abc import Mapping
from dataclasses import fields
from importlib.resources import as_file, files
from pathlib import Path

from layflat.base import Settings, read_settings
from layflat.film.material import (
    FINGER_LIMITS,
    NOT_STATED,
    QUANTITIES,
    STRETCH_LIMITS,
    WRAP_FINGER_LIMIT,
    WRAP_FINGER_SOURCE,
    Basis,
    Film,
)

MAX_SOURCE_LENGTH = 1000
"""Characters of a source at most."""

_TABLES = ("sources", "basis")


def read_film(path: Path) -> Film:
    """The film in the TOML file at *path*.

    All values of :class:`Film` must be there but for the finger limit of warmed wraps, which files
    did not always have; where it is missing, its source says what was assumed. Any other source
    that is missing is noted as "not stated" in ``Film.sources``; what a number rests on may be
    missing from the table ``basis``, and is then not stated either.

    Raises:
        SettingError: the file is not TOML, or a value is missing, unknown or absurd.
        InputError: the file cannot be read.
    """
    settings = read_settings(path)
    film = Film(
        name=settings.text("name"),
        thickness_um=settings.number("thickness_um", least=10.0, most=2000.0),
        youngs_modulus_mpa=settings.number("youngs_modulus_mpa", least=0.1, most=10_000.0),
        poisson_ratio=settings.number("poisson_ratio", least=0.0, most=0.499),
        stretch_limit=settings.number(
            "stretch_limit", least=STRETCH_LIMITS[0], most=STRETCH_LIMITS[1]
        ),
        finger_limit=settings.number("finger_limit", least=FINGER_LIMITS[0], most=FINGER_LIMITS[1]),
        wrap_finger_limit=settings.number(
            "wrap_finger_limit",
            least=FINGER_LIMITS[0],
            most=FINGER_LIMITS[1],
            default=WRAP_FINGER_LIMIT,
        ),
        one_direction=settings.flag("one_direction"),
        sources=_sources(
            settings.table("sources", optional=True),
            assumed={"wrap_finger_limit": WRAP_FINGER_SOURCE}
            if "wrap_finger_limit" in settings.defaults
            else {},
        ),
        basis=_basis(settings.table("basis", optional=True)),
    )
    settings.finish()
    return film


def generic_film() -> Film:
    """The film that is taken when nobody names one; each value states its source."""
    with as_file(files("layflat.film") / "generic.toml") as path:
        return read_film(path)


def film_toml(film: Film) -> str:
    """The film as the text of a film file; `read_film` reads the same film again."""
    lines = []
    for name in _values():
        value = getattr(film, name)
        lines.append(f"{name} = {_text(value) if isinstance(value, str) else _plain(value)}")
    known = {key: text for key, text in film.sources.items() if text != NOT_STATED}
    lines += _table("sources", known) + _table("basis", film.basis)
    return "\n".join(lines) + "\n"


def _values() -> list[str]:
    return [field.name for field in fields(Film) if field.name not in _TABLES]


def _plain(value: float | bool) -> str:
    return str(value).lower() if isinstance(value, bool) else repr(float(value))


def _text(value: str) -> str:
    # A basic string of TOML is written as JSON's strings are, but for one more character.
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def _table(name: str, values: Mapping[str, str]) -> list[str]:
    if not values:
        return []
    return ["", f"[{name}]", *(f"{key} = {_text(str(value))}" for key, value in values.items())]


def _sources(table: Settings, *, assumed: Mapping[str, str]) -> dict[str, str]:
    """The source of each value of a film, as far as *table* states it or it was *assumed*."""
    sources = {
        key: table.text(key, default=assumed.get(key, NOT_STATED), most=MAX_SOURCE_LENGTH)
        for key in _values()
    }
    table.finish()
    return sources


def _basis(table: Settings) -> dict[str, str]:
    """What each number of a film rests on, as far as *table* states it."""
    words = (*Basis, NOT_STATED)
    found = {key: table.choice(key, words, default=NOT_STATED) for key in QUANTITIES}
    table.finish()
    return {key: word for key, word in found.items() if word != NOT_STATED}
