import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from layflat.base import InputError
from layflat.cut import read_hpgl
from layflat.cut.reader import read_program


def downs(text: str) -> list[list[list[float]]]:
    return [stroke.points_mm.tolist() for stroke in read_hpgl(text) if stroke.down]


def test_increments_and_absolute_places() -> None:
    assert downs("IN;SP1;PU40,40;PD;PR40,0,0,40;PA;PD0,0;PU;") == [[[1, 1], [2, 1], [2, 2], [0, 0]]]


def test_nothing_is_cut_without_a_pen() -> None:
    assert downs("IN;PU0,0;PD40,0;PU;") == []


def test_lower_case_spaces_signs_and_missing_semicolons() -> None:
    assert downs("in sp1pu10 20pd-40+80;pu") == [[[0.25, 0.5], [-1, 2]]]


def test_a_knife_that_goes_down_and_nowhere_is_a_stab() -> None:
    assert downs("IN;SP1;PU40,0;PD;PU;") == [[[1, 0]]]


def test_what_is_read_over_is_said() -> None:
    assert read_program("IN;SP1;FS20;FS10;PU;").notes == ("FS was read over (2 times).",)


def test_a_program_that_ends_down_or_cut_short_is_told_apart() -> None:
    assert not read_program("IN;SP1;PD40,0;").ends_up
    assert not read_program("IN;SP1;PD40,0;PU0,0").complete


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("IN;SP1;PD10;", "odd number"),
        ("IN;SP1;PD1,1e5;", "where a command must be"),
        ("IN;SP1;PD9999999999,3;", "range"),
        ("IN;XX;", "unknown command XX"),
        ("IN;SP1;PD1,2;\x00", "must be"),
        ("IN;SP1;PD1.2.3,4;", "odd number"),
    ],
)
def test_bad_programs_are_refused(text: str, words: str) -> None:
    with pytest.raises(InputError, match=words):
        read_hpgl(text)


@given(st.text(alphabet="INSPUDPARXY0123456789,.;- \n", max_size=80))
@settings(max_examples=200, deadline=None, derandomize=True)
def test_any_text_is_read_or_refused(text: str) -> None:
    try:
        strokes = read_hpgl(text)
    except InputError:
        return
    assert all(np.isfinite(stroke.points_mm).all() for stroke in strokes)
