"""What the strokes of a program belong to, and where it may halt."""

import dataclasses

import pytest

from cut.shapes import machine, plate, two_sections
from layflat.base import InputError
from layflat.cut import Cut, cut_report, cuts_among, program, read_hpgl, safe_points
from layflat.cut.reader import read_program


def test_every_stroke_belongs_to_one_cut() -> None:
    for section in program(two_sections(), machine()).sections:
        strokes = [i for cut in section.cuts for i in range(cut.first, cut.last)]
        assert strokes == list(range(section.strokes))
    names = program(plate(), machine()).sections[0].cut_names
    assert sorted(names) == [
        "heading 1",
        "opening 1 of plate",
        "outline of fin",
        "outline of plate",
    ]
    assert names.index("opening 1 of plate") < names.index("outline of plate")


def test_at_a_safe_point_the_knife_is_up_above_the_next_cut() -> None:
    section = program(plate(), machine()).sections[0]
    downs = [stroke for stroke in read_hpgl(section.hpgl) if stroke.down]
    points = safe_points(section)
    assert len(points) == len(section.cuts) + 1
    for place, cut in zip(points, section.cuts, strict=False):
        before = read_program(section.hpgl[:place])
        assert before.ends_up
        assert before.complete
        assert before.strokes[-1].points_mm[-1].tolist() == downs[cut.first].points_mm[0].tolist()
        assert sum(stroke.down for stroke in before.strokes) == cut.first
    assert points[-1] == len(section.hpgl)


def test_a_text_that_is_not_its_record_has_no_safe_points() -> None:
    section = program(plate(), machine()).sections[0]
    short = section.hpgl[: safe_points(section)[2]]
    with pytest.raises(InputError, match="lowers the knife 2 times, its record says 4"):
        safe_points(dataclasses.replace(section, hpgl=short))


def test_a_program_that_does_not_tell_its_cuts_halts_at_every_lowering() -> None:
    section = program(plate(), machine()).sections[0]
    assert safe_points(dataclasses.replace(section, cuts=())) == safe_points(section)


def test_cuts_move_on_when_others_are_put_between() -> None:
    cuts = (
        Cut(piece=None, kind="heading", first=0, last=1),
        Cut(piece=0, kind="outline", first=1, last=4),
    )
    found = cuts_among(cuts, {1: 8, 4: 2})
    assert [(cut.kind, cut.first, cut.last) for cut in found] == [
        ("heading", 0, 1), ("witness", 1, 9), ("outline", 9, 12), ("witness", 12, 14),
    ]  # fmt: skip
    assert cuts_among((), {1: 8}) == ()


def test_the_report_names_the_cuts() -> None:
    cuts = cut_report(program(plate(), machine()))["sections"][0]["cuts"]
    assert [cut["piece"] for cut in cuts if cut["kind"] == "opening"] == ["plate"]
    assert sum(cut["strokes"] for cut in cuts) == 4
