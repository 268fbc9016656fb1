from dataclasses import fields
from pathlib import Path

import pytest

from layflat.base import InputError, SettingError
from layflat.film import Film, generic_film, read_film

GOOD = """
name = "shop film"
thickness_um = 200
youngs_modulus_mpa = 25.5
poisson_ratio = 0.4
stretch_limit = 0.08
finger_limit = 0.02
one_direction = true
"""


def written(folder: Path, text: str) -> Path:
    path = folder / "film.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_values_are_read_as_they_stand(tmp_path: Path) -> None:
    film = read_film(written(tmp_path, GOOD + '[sources]\nthickness_um = "The maker."\n'))
    assert (film.name, film.thickness_um, film.youngs_modulus_mpa) == ("shop film", 200.0, 25.5)
    assert (film.poisson_ratio, film.stretch_limit, film.finger_limit) == (0.4, 0.08, 0.02)
    assert film.one_direction is True
    assert film.sources["thickness_um"] == "The maker."


def test_a_source_that_is_missing_is_noted(tmp_path: Path) -> None:
    film = read_film(written(tmp_path, GOOD))
    assert set(film.sources) == {f.name for f in fields(Film)} - {"sources"}
    assert set(film.sources.values()) == {"not stated"}


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("thickness_um", "0"),
        ("thickness_um", "0.15"),  # millimetres given for micrometres
        ("youngs_modulus_mpa", "-20"),
        ("youngs_modulus_mpa", "20e6"),  # pascals given for megapascals
        ("poisson_ratio", "0.5"),
        ("poisson_ratio", "nan"),
        ("stretch_limit", "5"),  # per cent given for a fraction
        ("finger_limit", "true"),
        ("one_direction", '"no"'),
        ("name", '""'),
    ],
)
def test_absurd_values_are_refused_by_name(tmp_path: Path, key: str, value: str) -> None:
    lines = [line for line in GOOD.splitlines() if not line.startswith(key)]
    with pytest.raises(SettingError, match=key):
        read_film(written(tmp_path, "\n".join([*lines, f"{key} = {value}"])))


@pytest.mark.parametrize("key", ["name", "thickness_um", "poisson_ratio", "one_direction"])
def test_missing_values_are_refused_by_name(tmp_path: Path, key: str) -> None:
    lines = [line for line in GOOD.splitlines() if not line.startswith(key)]
    with pytest.raises(SettingError, match=key):
        read_film(written(tmp_path, "\n".join(lines)))


@pytest.mark.parametrize("extra", ["thicknes_um = 1", '[sources]\ncolour = "blue"'])
def test_unknown_values_are_refused(tmp_path: Path, extra: str) -> None:
    with pytest.raises(SettingError, match=r"thicknes_um|colour"):
        read_film(written(tmp_path, GOOD + extra))


def test_a_file_that_is_missing_or_no_toml_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="does not exist"):
        read_film(tmp_path / "none.toml")
    with pytest.raises(SettingError, match="TOML"):
        read_film(written(tmp_path, "name = "))


def test_each_value_of_the_generic_film_names_its_source() -> None:
    film = generic_film()
    assert "not stated" not in film.sources.values()
    for key in ("thickness_um", "stretch_limit", "finger_limit"):
        assert "no source" in film.sources[key] or "Assumption" in film.sources[key]
