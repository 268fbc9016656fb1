"""What people read in place of names that files carry."""

import pytest

from layflat.papers import panel_in_sentence, panel_title


@pytest.mark.parametrize(
    ("name", "title"),
    [
        ("fender-left", "Fender, left"),
        ("hood", "Hood"),
        ("rear-arch-right", "Rear arch, right"),
        ("loading_sill", "Loading sill"),
        ("left", "Left"),
        ("Hood, my own", "Hood, my own"),
        ("--", "--"),
        ("", ""),
    ],
)
def test_a_panels_name_is_written_as_people_read_it(name: str, title: str) -> None:
    assert panel_title(name) == title


@pytest.mark.parametrize(
    ("name", "words"),
    [("fender-left", "fender, left"), ("hood", "hood"), ("Front door", "Front door"), ("", "")],
)
def test_a_panel_within_a_sentence_begins_small(name: str, words: str) -> None:
    assert panel_in_sentence(name) == words
