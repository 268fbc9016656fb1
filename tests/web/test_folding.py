"""Text is folded as the Unicode Standard says of matching without regard to case."""

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from layflat.web.folding import bare, folded, typed


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("Zoë  MÜSSIG", "zoe mussig"),
        # The Unicode Standard, CaseFolding.txt: U+00DF folds to "ss", final and other sigma alike.
        ("Müßig", "mussig"),
        ("ὈΔΥΣΣΕΎΣ", "οδυσσευσ"),
        # Letters of their own, not letters with accents.
        ("ØRSTED-ŁOW", "ørsted-łow"),
    ],
)
def test_folded(text: str, expected: str) -> None:
    assert folded(text) == expected


def test_plates_are_bare_of_what_they_may_be_written_without() -> None:
    assert {bare(text) for text in ("LY-204 W", "ly204w", " L.Y 204-w")} == {"ly204w"}


@given(st.text(max_size=30))
def test_folding_twice_is_folding_once_and_case_does_not_matter(text: str) -> None:
    assert folded(folded(text)) == folded(text)
    assert bare(bare(text)) == bare(text)
    # The Unicode Standard, 3.13, D146: what is the same but for case and composition matches.
    for form in ("NFC", "NFD", "NFKC", "NFKD"):
        assert folded(unicodedata.normalize(form, text).upper()) == folded(text.upper())
    assert folded(text.casefold()) == folded(text)


@given(st.text())
def test_what_was_typed_is_one_short_line(text: str) -> None:
    line = typed(text, longest=20)
    assert len(line) <= 20
    assert line.isprintable()
    assert line == " ".join(line.split())
