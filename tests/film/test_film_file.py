from dataclasses import fields, replace
from pathlib import Path

import pytest

from layflat.base import InputError, SettingError
from layflat.film import (
    QUANTITIES,
    Basis,
    Film,
    film_notes,
    film_toml,
    generic_film,
    limits_basis,
    read_film,
)

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
    assert set(film.sources) == {f.name for f in fields(Film)} - {"sources", "basis"}
    assumed = film.sources["wrap_finger_limit"]
    assert set(film.sources.values()) == {"not stated", assumed}


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


def test_a_file_without_the_limit_of_wraps_is_read_and_says_what_was_assumed(
    tmp_path: Path,
) -> None:
    film = read_film(written(tmp_path, GOOD))
    assert film.wrap_finger_limit == generic_film().wrap_finger_limit == 0.1
    assert film.sources["wrap_finger_limit"].startswith("Assumption: ")
    assert film.basis_of("wrap_finger_limit") == "not stated"
    own = GOOD + 'wrap_finger_limit = 0.04\n[sources]\nwrap_finger_limit = "Our trial."\n'
    film = read_film(written(tmp_path, own))
    assert film.wrap_finger_limit == 0.04
    assert film.sources["wrap_finger_limit"] == "Our trial."


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


def test_what_each_number_rests_on_is_read_and_may_be_missing(tmp_path: Path) -> None:
    told = '[basis]\nstretch_limit = "measured"\nthickness_um = "test report"\n'
    film = read_film(written(tmp_path, GOOD + told))
    assert film.basis == {"stretch_limit": Basis.MEASURED, "thickness_um": Basis.TEST_REPORT}
    assert limits_basis(film) == {"stretch_limit": "measured", "finger_limit": "not stated"}
    assert len(film_notes(film)) == 1
    assert "what its finger limit rests on" in film_notes(film)[0]
    older = read_film(written(tmp_path, GOOD))
    assert older.basis == {}
    assert "stretch limit and finger limit rest on" in film_notes(older)[0]


@pytest.mark.parametrize("basis", ['finger_limit = "guessed"', 'name = "measured"'])
def test_a_basis_that_is_no_word_of_the_three_is_refused(tmp_path: Path, basis: str) -> None:
    with pytest.raises(SettingError, match="basis"):
        read_film(written(tmp_path, f"{GOOD}[basis]\n{basis}\n"))


def test_the_generic_film_rests_on_assumptions_and_says_so() -> None:
    film = generic_film()
    assert set(film.basis.values()) == {"assumed"}
    assert len(film.basis) == 6
    assert film_notes(film) == ()


def test_a_film_is_written_as_it_is_read_again(tmp_path: Path) -> None:
    odd = 'A film of "ours", 5 µm \\ more\nthan\tit was\x7f'
    film = replace(
        read_film(written(tmp_path, GOOD)),
        name=odd,
        youngs_modulus_mpa=1.0 / 3.0,
        sources={"stretch_limit": odd},
        basis={"stretch_limit": "measured"},
    )
    again = read_film(written(tmp_path, film_toml(film)))
    for item in fields(Film):
        if item.name != "sources":
            assert getattr(again, item.name) == getattr(film, item.name)
    assert again.sources["stretch_limit"] == odd
    generic = generic_film()
    assert read_film(written(tmp_path, film_toml(generic))) == generic


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("poisson_ratio", 0.5),
        ("poisson_ratio", float("nan")),
        ("youngs_modulus_mpa", -20.0),
        ("thickness_um", 0.0),
        ("stretch_limit", 5.0),  # per cent given for a fraction
        ("stretch_limit", float("nan")),
        ("finger_limit", -0.01),
        ("finger_limit", 0.6),
        ("basis", {"finger_limit": "guessed"}),
    ],
)
def test_a_film_out_of_physics_cannot_be_made_anywhere(key: str, value: object) -> None:
    with pytest.raises(SettingError) as told:
        replace(generic_film(), **{key: value})  # type: ignore[arg-type]
    assert str(told.value).count(". ") == 0
    assert QUANTITIES.get(key, "finger_limit") in str(told.value)
