"""From drawings to programs: what is cut, in which order, within which limits."""

import dataclasses
import math
from pathlib import Path

import numpy as np
import pytest
from shapely import Point, union_all

from cut.shapes import circle, machine, on_stock, plate, rectangle, two_sections
from layflat.base import DrawingError, FitError, StoppedError
from layflat.cut import cut_report, program, read_hpgl
from layflat.pattern import Drawing, Pattern, dxf_text, read_drawing, reverse, to_polygon


def test_the_same_drawing_gives_the_same_bytes() -> None:
    assert program(plate(), machine()) == program(plate(), machine())


def test_the_way_a_curve_is_drawn_does_not_matter() -> None:
    turned = dataclasses.replace(
        plate(),
        patterns=tuple(
            dataclasses.replace(
                p, outline=reverse(p.outline), cut_outs=tuple(reverse(c) for c in p.cut_outs)
            )
            for p in plate().patterns
        ),
    )
    assert program(turned, machine()).tip_error.max_away_mm < 0.027


def test_a_drawing_from_a_file_cuts_the_same(tmp_path: Path) -> None:
    path = tmp_path / "layout.dxf"
    path.write_text(dxf_text(plate()), encoding="utf-8")
    made = program(read_drawing(path), machine())
    assert made.tip_error.max_away_mm < 0.027
    assert made.cut_length_mm == pytest.approx(program(plate(), machine()).cut_length_mm, abs=0.5)


def test_only_commands_that_the_reference_carries_are_used() -> None:
    text = program(plate(), machine()).hpgl
    assert {line[:2] for line in text.replace(";", ";\n").split()} == {"IN", "PA", "SP", "PU", "PD"}


def test_speed_and_force_are_sent_only_when_asked_for() -> None:
    text = program(plate(), machine(send_speed=True, send_force=True)).hpgl
    assert text.startswith("IN;PA;SP1;VS20;FS90;\n")


def test_sections_follow_the_roll_and_start_at_their_own_zero() -> None:
    made = program(two_sections(), machine())
    assert [section.pieces for section in made.sections] == [("left",), ("right",)]
    first, second = made.sections
    # 200.01 mm are 8000.4 units: the second section starts at the whole unit before.
    assert (first.start_mm, second.start_mm) == (0.0, 200.0)
    whole = [s.points_mm for s in read_hpgl(made.hpgl) if s.down]
    own = [s.points_mm for s in read_hpgl(first.hpgl) if s.down]
    moved = [s.points_mm + np.array([200.0, 0.0]) for s in read_hpgl(second.hpgl) if s.down]
    for a, b in zip(whole, own + moved, strict=True):
        np.testing.assert_allclose(a, b, atol=1e-9)


def test_lengths_are_those_of_the_text() -> None:
    made = program(plate(), machine())
    down = up = 0.0
    for stroke in read_hpgl(made.hpgl):
        length = float(np.hypot(*np.diff(stroke.points_mm, axis=0).T).sum())
        down, up = (down + length, up) if stroke.down else (down, up + length)
    assert made.cut_length_mm == pytest.approx(down, abs=1e-6)
    assert made.travel_length_mm == pytest.approx(up, abs=1e-6)
    # Outlines and hole, and for each of the three cuts at most 8 mm of lead-in and swivels,
    # and the short cut that aligns the blade.
    fin = 40.0 + math.hypot(100, 10) + math.hypot(100, 30)
    pattern = 2 * 250 + 2 * math.pi * 10 + fin
    assert pattern < made.cut_length_mm < pattern + 3 * 8 + 14 * 0.25


def test_a_cut_starts_away_from_corners() -> None:
    made = program(on_stock(Pattern("plate", rectangle(20, 30, 170, 130))), machine())
    end = [s.points_mm[-1] for s in read_hpgl(made.hpgl) if s.down][-1]
    corners = np.array([[20, 30], [170, 30], [170, 130], [20, 130]])
    assert np.hypot(*(corners - end).T).min() > 20.0


def test_the_blade_lands_where_it_cannot_reach_film() -> None:
    made = program(plate(), machine())
    landings = [s.points_mm[0] for s in read_hpgl(made.hpgl) if s.down]
    film = union_all([to_polygon(p) for p in plate().patterns])
    # The tip lands at most twice the offset from the place where it stands for the turn.
    assert all(film.distance(Point(*place)) > 0.08 for place in landings)
    assert made.notes == ()


def test_a_hole_without_room_for_a_lead_in_says_so() -> None:
    drawing = on_stock(
        Pattern("plate", rectangle(20, 30, 170, 130), (circle(90, 80, 0.6, clockwise=True),))
    )
    assert "cut-out 1 of plate" in program(drawing, machine()).notes[0]


def test_a_piece_in_a_hole_is_cut_before_the_hole() -> None:
    drawing = on_stock(
        Pattern("ring", circle(150, 150, 80), (circle(150, 150, 50, clockwise=True),)),
        Pattern("disc", circle(150, 150, 30)),
    )
    assert program(drawing, machine()).sections[0].pieces == ("disc", "ring")


@pytest.mark.parametrize(
    ("drawing", "changes", "error", "words"),
    [
        (Drawing(patterns=()), {}, DrawingError, "no piece"),
        (dataclasses.replace(plate(), stock=()), {}, DrawingError, "STOCK"),
        (plate(), {"max_section_mm": 390.0}, FitError, "10.0 mm more"),
        (plate(), {"max_width_mm": 120.0}, FitError, "outline of plate.*10.25 mm beyond the 120"),
        (
            on_stock(Pattern("plate", rectangle(0.1, 30, 90, 90))),
            {},
            FitError,
            "plate.*0.15 mm beyond the section's start",
        ),
        (
            on_stock(Pattern("plate", rectangle(350, 30, 401.5, 90))),
            {},
            FitError,
            "plate sticks out of section 1 by 1.50 mm",
        ),
        (
            Drawing(
                patterns=plate().patterns,
                stock=(rectangle(0, 0, 400, 300), rectangle(390, 0, 800, 300)),
            ),
            {},
            DrawingError,
            "overlap by 10.00 mm",
        ),
        (
            on_stock(Pattern("all", rectangle(0.5, 0.5, 399.5, 299.5))),
            {},
            FitError,
            "no waste",
        ),
        (on_stock(Pattern("speck", circle(50, 50, 0.1))), {}, DrawingError, "shorter than 1 mm"),
    ],
)
def test_what_cannot_be_cut_is_refused_with_its_measure(
    drawing: Drawing, changes: dict[str, float], error: type[Exception], words: str
) -> None:
    with pytest.raises(error, match=words):
        program(drawing, machine(**changes))


def test_the_work_can_be_stopped() -> None:
    def stop(step: str, fraction: float) -> None:
        if fraction > 0.5:
            raise StoppedError("Stopped.")

    with pytest.raises(StoppedError):
        program(plate(), machine(), progress=stop)


def test_the_report_adds_up() -> None:
    made = program(two_sections(), machine())
    report = cut_report(made)
    assert report["cut_length_mm"] == pytest.approx(sum(s["cut_mm"] for s in report["sections"]))
    assert report["seconds_estimated"] == pytest.approx(
        sum(s["seconds"] for s in report["sections"])
    )
    assert report["tip_error_max_mm"] == made.tip_error.max_away_mm
    assert report["strokes"] == 2 + 3
