"""Strip tests: rows that cannot be, rows that contradict, and the film that comes out."""

from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from film.strip_rows import LOADS_G, strip_test
from layflat.base import CheckError, SettingError
from layflat.film import (
    StripTest,
    Unloaded,
    film_of_strip,
    film_toml,
    fit_strip,
    generic_film,
    read_film,
    read_strip_test,
    recovery_of,
    strip_lines,
    strip_notes,
)

E_MPA = 20.0
HEAD = """
name = "ours"
[strip]
width_mm = 25
thickness_um = 150
marked_mm = 300
"""
TORN = "[[loaded]]\nload_g = 900\nwait_min = 2\ntorn = true\n"
GOOD = [(100, 303.9), (200, 308.1), (300, 312.4), (400, 317.0)]


def hooke(pull: float) -> float:
    return pull / E_MPA


def bent(pull: float) -> float:
    return pull / (E_MPA - 1.5 * pull)


def rows_text(rows: list[tuple[float, float]], *, more: str = "") -> str:
    text = "".join(
        f"[[loaded]]\nload_g = {load}\nlength_mm = {length}\nwait_min = 2\n"
        for load, length in rows
    )
    return HEAD + text + more


def read(folder: Path, text: str) -> StripTest:
    path = folder / "strip.toml"
    path.write_text(text, encoding="utf-8")
    return read_strip_test(path)


def with_row(test: StripTest, index: int, *, by_mm: float) -> StripTest:
    rows = list(test.loaded)
    rows[index] = replace(rows[index], length_mm=rows[index].length_mm + by_mm)
    return replace(test, loaded=tuple(rows))


def test_exact_rows_of_hooke_give_the_modulus_back() -> None:
    fit = fit_strip(strip_test(hooke))
    assert fit.modulus_mpa == pytest.approx(E_MPA, rel=1e-9)
    assert fit.softening == pytest.approx(0.0, abs=1e-8)
    assert fit.marked_mm == pytest.approx(300.0, rel=1e-12)
    assert fit.chi_square < 1e-12
    assert fit.freedom == len(LOADS_G) - 2
    assert "agree better" in fit.notes[0]
    assert fit.slope_share(0.2) == pytest.approx(1.0, abs=1e-6)


@given(modulus=st.floats(5.0, 100.0), softening=st.floats(-2.0, 6.0), loads=st.integers(4, 12))
def test_exact_rows_of_the_law_give_both_its_numbers_back(
    modulus: float, softening: float, loads: int
) -> None:
    # Loads that stretch the film by up to a fifth, whatever its modulus.
    most = 0.2 * modulus / (1 + 0.2 * softening) * 25 * 0.15 / 9.80665e-3
    grams = [most * (i + 1) / loads for i in range(loads)]
    fit = fit_strip(strip_test(lambda s: s / (modulus - softening * s), loads_g=grams))
    assert fit.modulus_mpa == pytest.approx(modulus, rel=1e-6)
    assert fit.softening == pytest.approx(softening, abs=1e-5)
    assert fit.pull_share(0.1) == pytest.approx(1 / (1 + 0.1 * softening), rel=1e-6)


def test_more_careful_readings_make_the_modulus_surer() -> None:
    coarse = fit_strip(strip_test(bent, reading_mm=0.5))
    fine = fit_strip(strip_test(bent, reading_mm=0.1))
    assert fine.softening_error < 0.5 * coarse.softening_error
    # What width and thickness are off by stays: 5 µm of 150 and 0.2 mm of 25, rectangular.
    section = E_MPA * ((5 / 150) ** 2 + (0.2 / 25) ** 2) ** 0.5 / 3**0.5 * 1.959964
    assert section < fine.modulus_error_mpa < coarse.modulus_error_mpa


@pytest.mark.parametrize(
    ("rows", "more", "words"),
    [
        (GOOD[:3], "", "3 different loads"),
        ([], "", "loaded"),
        ([*GOOD[:3], (250, 317.0)], "", "less load"),
        ([(-100, 303.0), *GOOD], "", "load_g"),
        ([*GOOD, (600, 312.0)], "", "shorter than the strip was"),
        ([*GOOD[:3], (400, -317.0)], "", "length_mm"),
        ([*GOOD[:3], (400, 3170.0)], "", "more than twice"),
        ([*GOOD, (30_000, 400.0)], "", "load_g"),
        ([(g * 100, mm) for g, mm in GOOD[:2]] + [(20_000, 330.0)] * 2, "", "different loads"),
        ([*GOOD, (19_000, 350.0), (20_000, 352.0)], "thickness", "no such film carries"),
        ([(g, 300 + 0.001 * g) for g, _ in GOOD], "", "hang heavier weights"),
        (GOOD, TORN + "length_mm = 340\n", "no length"),
        (GOOD, TORN * 2, "tore under 900 g"),
        (GOOD, "[[unloaded]]\nafter_g = 250\nlength_mm = 300\nwait_min = 30\n", "nothing was read"),
        (GOOD, "[[unloaded]]\nafter_g = 200\nlength_mm = 290\nwait_min = 30\n", "shorter than"),
        (GOOD, "[[unloaded]]\nafter_g = 200\nlength_mm = 312\nwait_min = 30\n", "longer than"),
        (GOOD, "[[unloaded]]\nafter_g = 200\nlength_mm = 301\n", "wait_min"),
        (GOOD, "[[rows]]\nload_g = 2\n", "not a value that is known"),
    ],
)  # fmt: skip
def test_rows_that_cannot_be_get_one_sentence_each(
    tmp_path: Path, rows: list[tuple[float, float]], more: str, words: str
) -> None:
    text = rows_text(rows, more="" if more == "thickness" else more)
    if more == "thickness":
        text = text.replace("thickness_um = 150", "thickness_um = 15")
    with pytest.raises(SettingError, match=words) as told:
        read(tmp_path, text)
    assert str(told.value).rstrip(".").count(". ") == 0


def test_a_strip_that_tore_is_used_up_to_there_and_said(tmp_path: Path) -> None:
    test = read(tmp_path, rows_text(GOOD, more=TORN))
    assert (len(test.loaded), test.torn_g) == (4, 900.0)
    notes = strip_notes(test, fit_strip(test), recovery_of(test), generic_film())
    assert any("tore under 900 g" in note and "beyond 400 g" in note for note in notes)
    with pytest.raises(SettingError, match="before the strip tore under 900 g"):
        read(tmp_path, rows_text(GOOD[:3], more=TORN))


def test_what_nobody_gave_is_among_the_defaults(tmp_path: Path) -> None:
    test = read(tmp_path, rows_text(GOOD))
    assert test.defaults == {
        "strip.width_error_mm": 0.2,
        "strip.thickness_error_um": 5.0,
        "strip.reading_mm": 0.5,
        "strip.load_error_g": 1.0,
        "strip.thickness_basis": "assumed",
    }


@pytest.mark.parametrize("by_mm", [4.0, -4.0])
def test_one_row_that_contradicts_the_others_is_named_and_nothing_thrown_away(
    by_mm: float,
) -> None:
    clean = fit_strip(strip_test(bent, seed=3))
    spoiled = fit_strip(with_row(strip_test(bent, seed=3), 4, by_mm=by_mm))
    assert clean.widened == 1.0
    assert spoiled.widened > 1.5
    assert spoiled.modulus_error_mpa > 1.5 * clean.modulus_error_mpa
    assert len(spoiled.notes) == 1
    assert "under 500 g contradicts the others" in spoiled.notes[0]
    assert ("too long" if by_mm > 0 else "too short") in spoiled.notes[0]
    assert len(spoiled.off) == len(LOADS_G)
    # How far the film was stretched is not sure then: no limit is taken from it.
    test = with_row(strip_test(bent, seed=3), 4, by_mm=by_mm)
    film = film_of_strip(test, spoiled, recovery_of(test), generic_film(), where="s.toml")
    assert film.basis["stretch_limit"] == "assumed"
    notes = strip_notes(test, spoiled, recovery_of(test), generic_film())
    assert any("the readings under load contradict" in note for note in notes)


def test_rows_that_bend_otherwise_than_the_law_are_told_so() -> None:
    def knee(pull: float) -> float:
        return pull / 60.0 + 0.6 * max(0.0, pull - 0.9) ** 2

    fit = fit_strip(strip_test(knee, seed=5))
    assert fit.odds < 0.01
    assert fit.widened > 1.0
    assert "otherwise than the law can" in fit.notes[0]


def test_a_fit_that_does_not_settle_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("layflat.film.strip_test_fit._STEPS", 1)
    with pytest.raises(CheckError, match="did not settle in 1 steps"):
        fit_strip(strip_test(bent, seed=1))


def test_rows_that_hardly_tell_a_modulus_are_refused() -> None:
    light = [20.0, 25.0, 30.0, 160.0]
    with pytest.raises(SettingError, match="hardly tell the modulus"):
        fit_strip(strip_test(hooke, loads_g=light, reading_mm=2.0))


def test_where_film_no_longer_comes_back_is_found_on_exact_rows() -> None:
    recovery = recovery_of(strip_test(bent, reading_mm=0.05, limit=0.05))
    assert recovery.limit == pytest.approx(0.05, abs=5e-4)
    assert recovery.low <= 0.05 <= recovery.high
    assert recovery.set_share == pytest.approx(0.25, abs=0.01)
    assert recovery.proposed is not None
    assert recovery.proposed <= recovery.low < recovery.proposed + 0.001


def test_film_that_all_came_back_gives_no_limit_lower_than_the_one_assumed() -> None:
    base = generic_film()
    high = strip_test(hooke, limit=1.0)
    assert recovery_of(high).limit is None
    film = film_of_strip(high, fit_strip(high), recovery_of(high), base, where="s.toml")
    assert film.stretch_limit == pytest.approx(0.104)
    low = strip_test(hooke, limit=1.0, loads_g=(50.0, 100.0, 150.0, 200.0))
    film = film_of_strip(low, fit_strip(low), recovery_of(low), base, where="s.toml")
    assert film.stretch_limit == base.stretch_limit
    assert film.basis["stretch_limit"] == "assumed"
    notes = strip_notes(low, fit_strip(low), recovery_of(low), base)
    assert any("stays 5 % (assumed): all came back, but from less" in note for note in notes)


def test_too_few_readings_with_the_weight_off_tell_no_limit() -> None:
    test = strip_test(bent)
    for unloaded in ((), test.unloaded[:1], test.unloaded[5:]):
        few = replace(test, unloaded=unloaded)
        recovery = recovery_of(few)
        assert recovery.proposed is None
        assert recovery.notes
        film = film_of_strip(few, fit_strip(few), recovery, generic_film(), where="s.toml")
        assert film.basis["stretch_limit"] == "assumed"


def test_readings_with_the_weight_off_that_contradict_are_told() -> None:
    test = strip_test(bent)
    odd = replace(test.unloaded[1], length_mm=304.0)
    spoiled = replace(test, unloaded=(test.unloaded[0], odd, *test.unloaded[2:]))
    assert any("contradict each other" in note for note in recovery_of(spoiled).notes)
    assert not any("contradict" in note for note in recovery_of(test).notes)


def test_hasty_and_uneven_waits_are_told() -> None:
    test = strip_test(bent)
    uneven = replace(test.loaded[0], wait_min=20.0)
    hasty = tuple(
        Unloaded(after_g=row.after_g, length_mm=row.length_mm, wait_min=1.0)
        for row in test.unloaded
    )
    test = replace(test, loaded=(uneven, *test.loaded[1:]), unloaded=hasty)
    notes = strip_notes(test, fit_strip(test), recovery_of(test), generic_film())
    assert any("after 2 to 20 min" in note for note in notes)
    assert any("less than 10 minutes" in note for note in notes)


def test_the_film_says_what_was_measured_and_what_stays_assumed(tmp_path: Path) -> None:
    base, test = generic_film(), strip_test(bent, seed=1)
    fit, recovery = fit_strip(test), recovery_of(test)
    film = film_of_strip(test, fit, recovery, base, where="s.toml")
    assert film.basis["youngs_modulus_mpa"] == film.basis["stretch_limit"] == "measured"
    assert film.basis["thickness_um"] == film.basis["poisson_ratio"] == "assumed"
    assert film.sources["youngs_modulus_mpa"].startswith("Measured by strip test: ")
    assert f"± {fit.modulus_error_mpa:.2g} MPa (95 %)" in film.sources["youngs_modulus_mpa"]
    assert film.sources["stretch_limit"].startswith("Measured by strip test, s.toml: ")
    assert (film.poisson_ratio, film.finger_limit) == (base.poisson_ratio, base.finger_limit)
    path = tmp_path / "film.toml"
    path.write_text(film_toml(film), encoding="utf-8")
    assert read_film(path) == film
    notes = strip_notes(test, fit, recovery, base)
    assert any("Poisson's ratio stays 0.45" in note for note in notes)
    assert len(strip_lines(test, fit, recovery)) == len(LOADS_G) + 6
