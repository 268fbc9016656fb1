"""The calibration sheet's paper: what must stand on it, for machines with and without forces."""

import datetime

import pytest

from cut.shapes import machine
from layflat.cut import LENGTHS, SCORES, calibration_sheet, nominal_mm
from layflat.papers import (
    CUTTING,
    CalibrationLine,
    CalibrationPaper,
    Document,
    Head,
    calibration_document,
)


def document(*, send_force: bool) -> Document:
    sheet = calibration_sheet(machine(send_force=send_force), width_mm=610)
    head = Head(
        workshop="Lampwick Yard",
        job="Calibration",
        number="",
        vehicle="The plotter in the yard",
        dated=datetime.date(2026, 5, 31),
    )
    paper = CalibrationPaper(
        head=head,
        film_mm=sheet.length_mm,
        lines=tuple(
            CalibrationLine(group=cut.group, name=cut.name, points_mm=cut.line_mm)
            for cut in sheet.cuts
        ),
        lengths=tuple(
            (words, nominal_mm(name, side_mm=sheet.side_mm, circle_mm=sheet.circle_mm))
            for name, words in LENGTHS.items()
        ),
        offsets_mm=sheet.offsets_mm,
        overcuts_mm=sheet.overcuts_mm,
        forces_g=sheet.forces_g,
        scores=SCORES,
    )
    return calibration_document(paper)


@pytest.mark.parametrize("send_force", [True, False])
def test_everything_that_is_read_has_its_field(send_force: bool) -> None:
    made = document(send_force=send_force)
    assert len(made.values["lengths"]) == len(LENGTHS)
    assert made.values["offsets"] == ["0.1", "0.2", "0.3", "0.4", "0.5", "0.6", "0.7"]
    assert made.values["cautions"] == list(CUTTING)
    assert ("not sent any force" in made.values["force_words"]) == (not send_force)
    picture = made.pictures["sheet.svg"].decode()
    assert ("forces" in picture) == send_force
    assert made.values["head"]["subject"] == "Machine"
    assert made.page_count() == 2
    assert made.pdf() == document(send_force=send_force).pdf()
