"""Labels: every piece has one, on A4 and letter, whatever people typed."""

import datetime

import pytest

from layflat.papers import Head, Paper, PieceLabel, PieceLabels, labels_document


def sheet(count: int, *, paper: Paper = Paper.A4, **more: str) -> PieceLabels:
    values = {"plate": "LW 204 K", "film": "Clear 150", "lot": "LW-7731", "roll": "R7", **more}
    return PieceLabels(
        head=Head(
            workshop="Lampwick Yard",
            job="Film, layout 1",
            number="2031-0042",
            vehicle="Tarnholm Siskwing",
            dated=datetime.date(2031, 5, 24),
            paper=paper,
        ),
        labels=tuple(
            PieceLabel(number=i, panel="Rear quarter panel, left", section=1, attempt=1 + i % 2)
            for i in range(1, count + 1)
        ),
        **values,
    )


@pytest.mark.parametrize("paper", Paper)
def test_eighteen_labels_take_two_pages_at_most(paper: Paper) -> None:
    document = labels_document(sheet(18, paper=paper))
    assert document.pdf().startswith(b"%PDF-")
    assert document.page_count() <= 2
    assert [row["number"] for row in document.values["labels"]] == [str(i) for i in range(1, 19)]


def test_what_stands_on_a_label() -> None:
    first, second = labels_document(sheet(2)).values["labels"]
    assert first == {
        "number": "1",
        "panel": "Rear quarter panel, left",
        "again": "Cut again, no. 2",
        "job": "2031-0042 · LW 204 K",
        "film": "Lot LW-7731",
        "roll": "R7, section 1",
    }
    assert second["again"] == ""
    assert labels_document(sheet(1, plate="", lot="")).values["labels"][0]["job"] == "2031-0042"
    assert labels_document(sheet(1, lot="")).values["labels"][0]["film"] == "No lot number"


def test_signs_of_any_kind_are_set() -> None:
    strange = sheet(1, plate="🚗" * 30, lot="#[x] \\ $ \u202e" + "y" * 200, roll="*R_7*")
    assert labels_document(strange).pdf().startswith(b"%PDF-")
