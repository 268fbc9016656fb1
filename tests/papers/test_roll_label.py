"""The label of a roll or offcut: one page, whatever people typed, and a code that leads back."""

import datetime

import pytest
import segno

from layflat.papers import Head, Paper, RollLabel, roll_label, roll_label_document

ADDRESS = "http://192.168.2.7:8000/find/?q=R12"


def label(*, paper: Paper = Paper.A4, is_offcut: bool = True, **more: str) -> RollLabel:
    values = {
        "roll": "R12",
        "film": "Clear 150",
        "lot": "LW-7731",
        "size": "812 mm wide, 1.442 m long",
        "origin": "Cut from R1 on 2031-05-24",
        "place": "offcut box",
        **more,
    }
    return RollLabel(
        head=Head(
            workshop="Lampwick Yard",
            job="none: stock",
            number="",
            vehicle="Clear 150, lot LW-7731",
            dated=datetime.date(2031, 5, 24),
            paper=paper,
        ),
        is_offcut=is_offcut,
        faults=("crease, 0.100 m to 0.120 m", "dirt, 0.5 m to 0.6 m", "dirt, 0.8 m to 0.9 m"),
        address=ADDRESS,
        **values,
    )


@pytest.mark.parametrize("paper", Paper)
def test_a_label_takes_one_page_and_is_the_same_again(paper: Paper) -> None:
    document = roll_label_document(label(paper=paper))
    assert document.page_count() == 1
    assert document.pdf() == roll_label(label(paper=paper))


def test_what_stands_on_it() -> None:
    values = roll_label_document(label()).values
    assert (values["kind"], values["roll"], values["lot"]) == ("Offcut", "R12", "Lot LW-7731")
    assert values["size"] == "812 mm wide, 1.442 m long"
    assert values["faults"] == ["crease, 0.100 m to 0.120 m", "dirt, 0.5 m to 0.6 m"]
    assert values["more"] == "and 1 more"
    assert "its arrow runs along the roll" in values["how"]
    roll = roll_label_document(label(is_offcut=False)).values
    assert roll["kind"] == "Roll"
    assert "arrow" not in roll["how"]


def test_the_code_is_that_of_the_address() -> None:
    """Module for module as the library makes it (ISO/IEC 18004, level M)."""
    drawn = roll_label_document(label()).pictures["qr.svg"].decode()
    made = segno.make(ADDRESS, error="m", micro=False, boost_error=False)
    assert (
        made.svg_inline(border=4, scale=4, light="#ffffff").split("<path", 2)[2].split("/>")[0]
        in drawn
    )


def test_signs_of_any_kind_are_set() -> None:
    strange = label(film="🚗" * 30, lot="#[x] \\ $ \u202e" + "y" * 200, place="*R_7*")
    assert roll_label(strange).startswith(b"%PDF-")
