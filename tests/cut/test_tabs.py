"""Tabs and hinges: what stays uncut, where, and every fault in it refused."""

import dataclasses
import re

import numpy as np
import pytest
import shapely

from cut.shapes import circle, machine, on_stock, plate, rectangle, rounded, with_texts
from layflat.base import CheckError, SettingError
from layflat.cut import (
    CutProgram,
    Wishes,
    check_program,
    cut_report,
    program,
    read_hpgl,
    safe_points,
    simulate,
    tolerance_of,
    witnessed,
)
from layflat.pattern import Drawing, Pattern, sample, to_polygon
from layflat.send import spool_of_section

WISHES = {
    "tabs": Wishes(tabs=4, tab_mm=1.0),
    "wide tabs": Wishes(tabs=6, tab_mm=3.0),
    "hinge": Wishes(hinge_mm=25.0),
}


@pytest.fixture(scope="module")
def tabbed() -> CutProgram:
    return program(plate(), machine(), wishes=WISHES["tabs"])


def uncut(made: CutProgram, drawing: Drawing, name: str) -> list[shapely.LineString]:
    """The stretches of an outline that no tip comes near: measured without the check."""
    tips = simulate(read_hpgl(made.hpgl), knife_offset_mm=0.25, heading_rad=2.0, step_mm=0.02).cuts
    cut = shapely.MultiLineString(list(tips)).buffer(0.06)
    outline = next(p.outline for p in drawing.patterns if p.name == name)
    points = sample(outline, deviation_mm=0.002)
    left = shapely.LineString([*points, points[0]]).difference(cut)
    return [p for p in shapely.get_parts(shapely.line_merge(left)) if p.length > 0.01]


@pytest.mark.parametrize("wished", WISHES)
def test_what_stays_uncut_is_what_was_wished_and_far_from_corners(wished: str) -> None:
    wishes = WISHES[wished]
    made = program(plate(), machine(), wishes=wishes)
    assert made.tip_error.max_away_mm < 0.027
    (note,) = made.notes
    kind, words = wished.split()[-1], {"hinge": "plate, fin", "tabs": f"plate ({wishes.tabs}), fin"}
    assert f"Held in the sheet by {'a ' * (kind == 'hinge')}{kind} of" in note
    assert words[kind] in note
    for name, corners in (
        ("plate", [(20, 30), (170, 30), (170, 130), (20, 130)]),
        ("fin", [(200, 50), (300, 60), (200, 90)]),
    ):
        left = uncut(made, plate(), name)
        told = [b for b in made.sections[0].bridges if made.sections[0].pieces[b.piece] == name]
        assert len(left) == len(told) == (wishes.tabs or 1)
        for part in left:
            # The cut's ends reach 0.06 mm further in this measure.
            assert part.length + 0.12 == pytest.approx(wishes.hinge_mm or wishes.tab_mm, abs=0.06)
            assert part.distance(shapely.MultiPoint(corners)) >= 3.0
            middle = part.interpolate(0.5, normalized=True)
            assert min(np.hypot(b.x_mm - middle.x, b.y_mm - middle.y) for b in told) < 0.05


def test_tabs_are_spread_round_the_outline(tabbed: CutProgram) -> None:
    section = tabbed.sections[0]
    ring = shapely.LinearRing([(20, 30), (170, 30), (170, 130), (20, 130)])
    along = sorted(
        ring.project(shapely.Point(b.x_mm, b.y_mm))
        for b in section.bridges
        if section.pieces[b.piece] == "plate"
    )
    apart = np.diff([*along, along[0] + ring.length])
    assert apart.min() > ring.length / 4 / 3


def test_a_curve_has_tabs_too_and_its_blade_starts_again_as_it_heads() -> None:
    drawing = on_stock(Pattern("disc", circle(120, 120, 60)))
    made = program(drawing, machine(knife_offset_mm=0.5), wishes=Wishes(tabs=5, tab_mm=2.0))
    assert len(made.sections[0].bridges) == 5
    assert made.tip_error.max_away_mm < 0.027


@pytest.mark.parametrize(
    ("radius", "offset", "units"),
    [(90.0, 0.25, 20.0), (120.0, 0.5, 20.0), (110.0, 1.5, 20.0), (120.0, 2.0, 40.0)],
)
def test_behind_a_bridge_a_cut_begins_on_its_line_though_units_are_coarse(
    radius: float, offset: float, units: float
) -> None:
    """By a rounded place it begins some hundredths beside it, and comes nearer on its way."""
    drawing = on_stock(Pattern("disc", circle(150, 150, radius)))
    ours = machine(knife_offset_mm=offset, units_per_mm=units)
    made = program(drawing, ours, wishes=Wishes(tabs=6, tab_mm=0.5))
    assert len(made.sections[0].bridges) == 6
    assert made.tip_error.max_away_mm < 0.05


@pytest.mark.parametrize("width", [31.0, 36.0])
def test_a_cut_from_its_start_to_a_near_bridge_counts_though_its_lead_is_longer(
    width: float,
) -> None:
    tag = on_stock(Pattern("tag", rounded(100, 100, 100 + width, 175, width / 3)))
    made = program(tag, machine(knife_offset_mm=2.0), wishes=Wishes(tabs=7, tab_mm=0.3))
    assert len(made.sections[0].bridges) == 7
    assert made.tip_error.uncut_mm == 0.0


def test_an_outline_without_room_says_so() -> None:
    small = on_stock(Pattern("badge", rounded(50, 50, 74, 62, 4.0)))
    made = program(small, machine(), wishes=Wishes(tabs=8))
    count = len(made.sections[0].bridges)
    assert 0 < count < 8
    assert f"badge has room for {count} of 8 tabs" in made.notes[1]
    made = program(small, machine(), wishes=Wishes(hinge_mm=30.0))
    assert not made.sections[0].bridges
    assert "badge has no stretch that is gentle enough for a hinge of 30 mm" in made.notes[0]


@pytest.mark.parametrize("turn", [False, True])
@pytest.mark.parametrize("width", [1.0, 4.0, 12.0])
def test_a_narrow_piece_is_held_by_a_hinge_as_well(width: float, turn: bool) -> None:
    long, high = (width, 180.0) if turn else (180.0, width)
    strip = on_stock(Pattern("sill", rectangle(60, 60, 60 + long, 60 + high)))
    wishes = Wishes(hinge_mm=60.0)
    made = program(strip, machine(), wishes=wishes)
    (left,) = uncut(made, strip, "sill")
    assert left.length + 0.12 == pytest.approx(60.0, abs=0.06)
    # One that is told longer than it is stays a fault, however near the other side is.
    with pytest.raises(CheckError, match="is cut, where film was to stay"):
        check_program(altered(made, length_mm=61.0), strip, machine())


def test_a_cut_with_tabs_is_one_cut_without_a_safe_point_inside(tabbed: CutProgram) -> None:
    section = tabbed.sections[0]
    assert [cut.kind for cut in section.cuts] == ["heading", "opening", "outline", "outline"]
    assert section.strokes == 1 + 1 + 5 + 5
    assert len(safe_points(section)) == 4 + 1
    spool = spool_of_section(section, name="plate.plt")
    assert [cut.strokes for cut in spool.cuts] == [1, 1, 5, 5]
    assert spool.safe_points == safe_points(section)


def test_strips_witness_marks_and_tabs_go_together(tabbed: CutProgram) -> None:
    wishes = dataclasses.replace(WISHES["tabs"], strip_mm=100.0)
    made = witnessed(program(plate(), machine(), wishes=wishes), plate(), machine(), every_mm=100)
    section = made.sections[0]
    assert made.tip_error.max_away_mm < 0.027
    kinds = [cut.kind for cut in section.cuts]
    assert kinds[-1] == "witness"
    assert {"weed line", "outline", "opening"} < set(kinds)
    # Weed lines come after the last piece, and the head returns to its marks at the very end.
    assert kinds.index("weed line") > max(i for i, kind in enumerate(kinds) if kind == "outline")
    # Every stroke belongs to one cut, and what each cut is called lies where it says.
    assert [cut.first for cut in section.cuts[1:]] == [cut.last for cut in section.cuts[:-1]]
    downs = [s.points_mm for s in read_hpgl(section.hpgl) if s.down]
    assert len(downs) == section.cuts[-1].last == section.strokes
    film = shapely.union_all([to_polygon(pattern) for pattern in plate().patterns])
    for cut in section.cuts:
        for points in downs[cut.first : cut.last]:
            if cut.kind in ("weed line", "witness", "heading"):
                assert film.distance(shapely.LineString(points)) > 0.5
    assert section.bridges == tabbed.sections[0].bridges
    # The blade's heading is known after marks, too: the drift's small crosses lie on the large.
    for mark in section.witnesses:
        at = np.array([mark.x_mm, mark.y_mm])
        tips = simulate(read_hpgl(section.hpgl), knife_offset_mm=0.25, heading_rad=2.0).cuts
        small = np.vstack(tips[mark.stroke : mark.stroke + 2])
        assert np.abs(small - at).max() < 1.2 + 0.6


def test_a_blade_of_another_offset_strays_no_farther_for_tabs(tabbed: CutProgram) -> None:
    plain = tolerance_of(program(plate(), machine()), plate(), machine())
    told = tolerance_of(tabbed, plate(), machine())
    assert told.curve_mm == pytest.approx(plain.curve_mm, abs=0.003)
    assert told.corner_mm == pytest.approx(plain.corner_mm, abs=0.003)


def altered(made: CutProgram, **changes: object) -> CutProgram:
    first, *rest = made.sections[0].bridges
    section = dataclasses.replace(
        made.sections[0],
        bridges=(dataclasses.replace(first, **changes), *rest),  # type: ignore[arg-type]
    )
    return dataclasses.replace(made, sections=(section,))


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"length_mm": 0.5}, "more stays uncut than the tab"),
        ({"length_mm": 1.5}, "is cut, where film was to stay"),
        ({"x_mm": 95.0}, "stays uncut|is cut, where film was to stay"),
        ({"y_mm": 31.0}, "lies on no outline"),
        ({"x_mm": 90.0, "y_mm": 70.0}, "lies on no outline"),
        ({"length_mm": 300.0}, "more than half"),
        ({"length_mm": -1.0}, "lies on no outline"),
    ],
)
def test_a_bridge_that_is_not_what_it_says_is_refused(
    tabbed: CutProgram, changes: dict[str, float], words: str
) -> None:
    with pytest.raises(CheckError, match=words):
        check_program(altered(tabbed, **changes), plate(), machine())


def test_a_gap_that_nobody_wished_is_refused(tabbed: CutProgram) -> None:
    section = dataclasses.replace(tabbed.sections[0], bridges=tabbed.sections[0].bridges[1:])
    with pytest.raises(CheckError, match="a part stays uncut"):
        check_program(dataclasses.replace(tabbed, sections=(section,)), plate(), machine())


def test_a_tab_that_is_cut_through_is_refused(tabbed: CutProgram) -> None:
    """The lift after the first part of an outline is left out: the blade goes straight on."""
    where = [match.start() for match in re.finditer("PU", tabbed.hpgl)][4]

    def no_lift(text: str) -> str:
        return text[:where] + "PD" + text[where + 2 :]

    with pytest.raises(CheckError, match=r"is cut, where film was to stay|beside its line"):
        check_program(with_texts(tabbed, no_lift), plate(), machine())


def test_a_part_between_two_tabs_that_is_not_cut_is_refused(tabbed: CutProgram) -> None:
    where = [match.start() for match in re.finditer("PD", tabbed.hpgl)][4]

    def up(text: str) -> str:
        return text[:where] + "PU" + text[where + 2 :]

    with pytest.raises(CheckError, match=r"stays uncut|enters the piece"):
        check_program(with_texts(tabbed, up), plate(), machine())


@pytest.mark.parametrize(
    ("wishes", "words"),
    [
        ({"tabs": -1}, "-1 tabs"),
        ({"tabs": 99}, "0 to 24"),
        ({"tabs": 4, "tab_mm": 0.0}, "0.2 to 10"),
        ({"tabs": 4, "tab_mm": float("nan")}, "0.2 to 10"),
        ({"hinge_mm": 1.0}, "5 to 300"),
        ({"hinge_mm": 20.0, "tabs": 2}, "one of them"),
    ],
)
def test_wishes_that_hold_nothing_or_too_much_are_refused(
    wishes: dict[str, float], words: str
) -> None:
    with pytest.raises(SettingError, match=words):
        Wishes(**wishes)  # type: ignore[arg-type]


def test_the_report_says_every_bridge(tabbed: CutProgram) -> None:
    rows = cut_report(tabbed)["sections"][0]["bridges"]
    assert len(rows) == 8
    assert {row["piece"] for row in rows} == {"plate", "fin"}
    assert {(row["kind"], row["length_mm"]) for row in rows} == {("tab", 1.0)}


def test_a_cut_out_has_no_tabs() -> None:
    drawing = on_stock(
        Pattern("frame", rectangle(20, 30, 170, 130), (circle(90, 80, 30, clockwise=True),))
    )
    made = program(drawing, machine(), wishes=Wishes(tabs=4))
    assert all(np.hypot(b.x_mm - 90, b.y_mm - 80) > 31 for b in made.sections[0].bridges)
