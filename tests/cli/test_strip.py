"""`layflat strip` on files of its own."""

import json
from pathlib import Path

import pytest

import pages
from layflat.base import file_sha256
from layflat.cli import main
from layflat.film import film_toml, generic_film, read_film


@pytest.fixture
def strip(tmp_path: Path) -> Path:
    path = tmp_path / "strip.toml"
    path.write_text(pages.files(pages.GUIDE)["strip.toml"], encoding="utf-8")
    return path


def test_a_strip_test_becomes_a_film_file_and_a_table(
    strip: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out, report = strip.with_name("film.toml"), strip.with_name("strip.json")
    assert main(["strip", str(strip), "-o", str(out), "--report", str(report)]) == 0
    film = read_film(out)
    assert film.basis["youngs_modulus_mpa"] == "measured"
    assert film.basis["poisson_ratio"] == "assumed"
    said = capsys.readouterr().out
    assert f"{film.youngs_modulus_mpa:.3g} ± " in said
    assert "Weights fall on feet and film snaps back" in said
    assert "degrees of freedom" in said
    document = json.loads(report.read_text(encoding="utf-8"))
    assert document["kind"] == "strip"
    assert document["inputs"] == {"strip.toml": file_sha256(strip)}
    assert document["defaults"]["film"] == "generic clear film"
    assert document["youngs_modulus_mpa"] == pytest.approx(film.youngs_modulus_mpa, rel=1e-3)
    assert document["stretch_limit"] == film.stretch_limit
    again = strip.with_name("again.toml")
    assert main(["strip", str(strip), "-o", str(again), "--json"]) == 0
    assert again.read_bytes() == out.read_bytes()
    assert json.loads(capsys.readouterr().out)["rows"] == document["rows"]


def test_what_a_strip_cannot_tell_comes_from_the_film_that_is_named(strip: Path) -> None:
    base = strip.with_name("base.toml")
    base.write_text(film_toml(generic_film()).replace("0.45", "0.48"), encoding="utf-8")
    out = strip.with_name("film.toml")
    assert main(["strip", str(strip), "--film", str(base), "-o", str(out)]) == 0
    assert read_film(out).poisson_ratio == 0.48


@pytest.mark.parametrize("taken", ["strip.toml", "base.toml"])
def test_an_input_is_not_written_over(
    strip: Path, taken: str, capsys: pytest.CaptureFixture[str]
) -> None:
    base = strip.with_name("base.toml")
    base.write_text(film_toml(generic_film()), encoding="utf-8")
    before = strip.with_name(taken).read_bytes()
    command = ["strip", str(strip), "--film", str(base), "-o", str(strip.with_name(taken))]
    assert main(command) == 2
    assert "is read as input" in capsys.readouterr().err
    assert strip.with_name(taken).read_bytes() == before


def test_rows_that_cannot_be_end_with_one_sentence_and_write_nothing(
    strip: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = strip.read_text(encoding="utf-8")
    strip.write_text(text.replace("load_g = 200", "load_g = 50", 1), encoding="utf-8")
    out = strip.with_name("film.toml")
    assert main(["strip", str(strip), "-o", str(out)]) == 2
    said = capsys.readouterr().err
    assert said.startswith("layflat: ")
    assert said.count("\n") == 1
    assert not out.exists()
    assert main(["strip", str(strip), "-o", str(out.with_suffix(".txt"))]) == 2
