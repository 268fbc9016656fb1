"""Film files (TOML) and the generic film that comes with Layflat."""

from dataclasses import fields
from importlib.resources import as_file, files
from pathlib import Path

from layflat.base import Settings, read_settings
from layflat.film.material import Film

NOT_STATED = "not stated"

_MAX_SOURCE_LENGTH = 1000


def read_film(path: Path) -> Film:
    """The film in the TOML file at *path*.

    All values of :class:`Film` must be there; a source may be missing, and is then noted as
    "not stated" in ``Film.sources``.

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
        stretch_limit=settings.number("stretch_limit", least=0.0, most=1.0),
        finger_limit=settings.number("finger_limit", least=0.0, most=0.5),
        one_direction=settings.flag("one_direction"),
        sources=_sources(settings.table("sources", optional=True)),
    )
    settings.finish()
    return film


def generic_film() -> Film:
    """The film that is taken when nobody names one; each value states its source."""
    with as_file(files("layflat.film") / "generic.toml") as path:
        return read_film(path)


def _sources(table: Settings) -> dict[str, str]:
    """The source of each value of a film, as far as *table* states it."""
    values = [field.name for field in fields(Film) if field.name != "sources"]
    sources = {key: table.text(key, default=NOT_STATED, most=_MAX_SOURCE_LENGTH) for key in values}
    table.finish()
    return sources
