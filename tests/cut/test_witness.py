"""Witness marks: a drift is found, judged and corrected; what cannot be is refused.

The truth is a plotter of its own (`cut.plotter.Slipping`) under which the film slips step by step;
the person reads the crosses to a tenth of a millimetre.
"""

import dataclasses
import itertools
import math

import numpy as np
import pytest
import shapely
from scipy.spatial import cKDTree

from cut.plotter import Plotter, Slipping, crossing
from cut.shapes import circle, machine, on_stock, rectangle, rounded
from layflat.base import FitError, SettingError
from layflat.cut import (
    NO_SLIP,
    CutProgram,
    Drift,
    Slip,
    SlipReading,
    Wishes,
    bent_section,
    beyond_reach_mm,
    judge_drift,
    landed,
    program,
    program_from_text,
    read_hpgl,
    simulate,
    slip_of,
    straightened,
    told_text,
    told_whole,
    witnessed,
)
from layflat.cut.sheet import sheets_of
from layflat.cut.straighten import drifted
from layflat.cut.texts import joined
from layflat.pattern import Curve, Drawing, Pattern, to_polygon
from layflat.send.spool import sections_of

LENGTH, EVERY = 800.0, 250.0


def of_three(sections: int) -> Drawing:
    patterns, stock = [], []
    for section in range(sections):
        start = section * LENGTH
        stock.append(rectangle(start, 0, start + LENGTH, 300))
        for i in range(3):
            x, name = start + 20 + 255 * i, f"{3 * section + i + 1} wing"
            hole = (circle(x + 60, 150, 12, clockwise=True),)
            patterns.append(Pattern(name, rounded(x, 25, x + 240, 270, 9.0), hole))
    return Drawing(patterns=tuple(patterns), stock=tuple(stock))


@pytest.fixture(scope="module")
def drawing() -> Drawing:
    return of_three(2)


@pytest.fixture(scope="module")
def bare(drawing: Drawing) -> CutProgram:
    return program(drawing, machine())


@pytest.fixture(scope="module")
def marked(bare: CutProgram, drawing: Drawing) -> CutProgram:
    return witnessed(bare, drawing, machine(), every_mm=EVERY)


def read_marks(
    marked: CutProgram, plotter: Slipping, *, until: int = 99, section: int = 0
) -> list[SlipReading]:
    """What a person reads off the marks of a section, to a tenth of a millimetre."""
    part = marked.sections[section]
    cuts = plotter.cuts(part.hpgl)
    found = []
    for mark in part.witnesses:
        if mark.number > until:
            continue
        small = crossing(cuts[mark.stroke], cuts[mark.stroke + 1])
        firsts = [crossing(cuts[i], cuts[i + 1]) for i in range(1, 1 + 2 * len(part.witnesses), 2)]
        large = min(firsts, key=lambda place: float(np.hypot(*(place - (mark.x_mm, mark.y_mm)))))
        dx, dy = np.round(small - large, 1).tolist()
        found.append(SlipReading(mark=mark.name, dx_mm=dx, dy_mm=dy))
    return found


def judged(marked: CutProgram, drawing: Drawing, readings: list[SlipReading], **options) -> Drift:  # type: ignore[no-untyped-def]
    return judge_drift(marked, readings, drawing, machine(), number=1, **options)


def off_pattern(part, drawing: Drawing, plotter: Slipping, number: int) -> float:  # type: ignore[no-untyped-def]
    """How far pieces' outlines lie from the cuts of a section on a slipping film, at most."""
    tree = cKDTree(np.vstack(plotter.cuts(part.hpgl)))
    sheet = sheets_of(drawing, machine())[number - 1]
    lines = [shapely.boundary(to_polygon(pattern)) for pattern in sheet.patterns]
    return float(tree.query(np.vstack([shapely.get_coordinates(line) for line in lines]))[0].max())


def test_marks_leave_the_pieces_as_they_were(bare: CutProgram, marked: CutProgram) -> None:
    assert marked.tip_error.max_away_mm == pytest.approx(bare.tip_error.max_away_mm, abs=1e-3)
    assert [s.pieces for s in marked.sections] == [s.pieces for s in bare.sections]
    assert all(m.strokes > b.strokes for m, b in zip(marked.sections, bare.sections, strict=True))
    # Three pieces of 240 mm, marks after 250 mm: between pieces twice, and at the end.
    assert [mark.number for mark in marked.sections[0].witnesses] == [1, 1, 2, 2, 3, 3]


def test_the_blade_heads_after_marks_as_the_next_cut_expects(
    bare: CutProgram, marked: CutProgram
) -> None:
    """Headings by simulation: the strokes that both programs have begin and end alike."""
    for before, after in zip(bare.sections, marked.sections, strict=True):
        plain, extra = (
            simulate(read_hpgl(one.hpgl), knife_offset_mm=0.25).headings_rad
            for one in (before, after)
        )
        own = [k for cut in after.cuts if cut.kind != "witness" for k in range(cut.first, cut.last)]
        assert len(own) == len(plain)
        for k, (i, j) in enumerate(itertools.pairwise(own)):
            # What stands between two old strokes leaves the blade as it found it.
            turn = math.remainder(extra[j - 1] - plain[k], math.tau)
            assert abs(turn) < math.radians(5), (k, i, j)


def test_sections_joined_are_the_whole_program(bare: CutProgram, drawing: Drawing) -> None:
    starts = [machine().told_start(sheet.start_units) for sheet in sheets_of(drawing, machine())]
    assert joined([section.hpgl for section in bare.sections], starts) == bare.hpgl


def test_on_a_film_that_stays_the_small_cross_lies_in_the_middle(marked: CutProgram) -> None:
    cuts = Slipping((0.0, 0.0)).cuts(marked.sections[0].hpgl)
    for mark in marked.sections[0].witnesses:
        small = crossing(cuts[mark.stroke], cuts[mark.stroke + 1])
        assert np.hypot(*(small - (mark.x_mm, mark.y_mm))) < 0.03


def test_on_a_film_that_stays_one_goes_on(marked: CutProgram, drawing: Drawing) -> None:
    drift = judged(marked, drawing, read_marks(marked, Slipping((0.0, 0.0))))
    assert (drift.verdict, drift.lost, drift.would_lose) == ("go on", (), ())


def test_half_a_per_cent_of_skew_is_found_by_the_second_witness(
    marked: CutProgram, drawing: Drawing
) -> None:
    """And no more than one section is lost: the sections after it come out true."""
    skew = Slipping((0.0, 0.005))
    readings = read_marks(marked, skew, until=2)
    assert max(int(reading.mark.split()[0]) for reading in readings) == 2
    drift = judged(marked, drawing, readings)
    assert drift.verdict == "correct"
    assert drift.rate[1] == pytest.approx(0.005, abs=drift.rate_error)
    assert drift.rate[0] == pytest.approx(0.0, abs=drift.rate_error)
    first = {pattern.name for pattern in sheets_of(drawing, machine())[0].patterns}
    assert drift.lost
    assert {*drift.lost, *drift.doubtful} <= first
    assert set(drift.would_lose) >= {f"{i} wing" for i in range(4, 7)}
    mended = straightened(marked, drift, drawing, machine())
    assert mended.sections[0] == marked.sections[0]
    straight, bent = (off_pattern(one.sections[1], drawing, skew, 2) for one in (marked, mended))
    assert straight > 2.0
    assert bent < 0.35  # what a reading may be off by, carried on over the section


def test_what_is_read_where_the_program_was_bent_is_added_to_what_it_was_bent_against() -> None:
    """Both crosses of a mark were cut by the bent program: they show what it left of the slip."""
    drawing = of_three(3)
    marked = witnessed(program(drawing, machine()), drawing, machine(), every_mm=EVERY)
    first, then = Slipping((0.0, 0.003)), Slipping((-0.002, 0.005))
    told = slip_of(judged(marked, drawing, read_marks(marked, first)))
    second = bent_section(marked.sections[1], told, machine())
    cut = dataclasses.replace(marked, sections=(marked.sections[0], second, marked.sections[2]))
    readings = read_marks(cut, then, section=1)
    drift = judge_drift(cut, readings, drawing, machine(), number=2)
    assert drift.verdict == "correct"
    assert drift.rate == pytest.approx((-0.002, 0.002), abs=3e-4)
    third = marked.sections[2]

    def off(slip: Slip) -> float:
        return off_pattern(bent_section(third, slip, machine()), drawing, then, 3)

    assert off(told + slip_of(drift)) < 0.35
    assert off(slip_of(drift)) > 1.0
    assert off(told + told) > 1.0


def test_ways_to_and_fro_and_film_fed_are_bent_against_at_once(marked: CutProgram) -> None:
    """Bent against both, a program lies where it does when it is bent against one, then the other.

    Places are rounded to the plotter's units in between.
    """
    fed = Slip(fed=np.array([0.0, 0.003]), travelled=np.zeros(2))
    travelled = Slip(fed=np.zeros(2), travelled=np.array([0.0, -0.001]))
    at_once = bent_section(marked.sections[1], fed + travelled, machine())
    in_turn = bent_section(bent_section(marked.sections[1], fed, machine()), travelled, machine())
    for one, other in zip(read_hpgl(at_once.hpgl), read_hpgl(in_turn.hpgl), strict=True):
        assert np.abs(one.points_mm - other.points_mm).max() < 0.051


@pytest.mark.parametrize("by", ["fed", "travelled"])
@pytest.mark.parametrize("along", [-0.018, -0.006, 0.002])
def test_a_head_that_lags_behind_makes_less_progress(along: float, by: str) -> None:
    """What the film slips is told by where the head goes, not by where it is meant to cut."""
    patterns = tuple(
        Pattern(f"{i + 1} wing", rounded(30 + 560 * i, 25, 570 + 560 * i, 270, 9.0))
        for i in range(5)
    )
    drawing = Drawing(patterns=patterns, stock=(rectangle(0, 0, 2840, 300),))
    ours = machine(max_section_mm=3000.0)
    straight = program(drawing, ours).sections[0]
    rate = (along, 0.0) if by == "fed" else (along / 8, 0.0)
    slip = Slip(**{"fed": np.zeros(2), "travelled": np.zeros(2)} | {by: np.array(rate)})
    bent = bent_section(straight, slip, ours)
    on_film = Slipping(rate, by=by).cuts(bent.hpgl)
    for meant, got in zip(Slipping((0.0, 0.0)).cuts(straight.hpgl), on_film, strict=True):
        assert shapely.hausdorff_distance(shapely.LineString(meant), shapely.LineString(got)) < 0.06


@pytest.mark.parametrize("across", [-0.004, 0.004])
def test_bent_sections_are_still_told_from_each_other(across: float) -> None:
    """Each ends at the roll's edge: by that whoever sends them one by one finds where."""
    drawing = of_three(2)
    bare = program(drawing, machine())
    marked = witnessed(bare, drawing, machine(), every_mm=EVERY)
    drift = judged(marked, drawing, read_marks(marked, Slipping((0.0, across))))
    mended = straightened(bare, dataclasses.replace(drift, number=0), drawing, machine())
    assert len(sections_of(mended.hpgl.encode(), name="mended")) == 2


@pytest.mark.parametrize(
    ("offset", "units", "k"), [(0.9, 40.0, 27), (2.0, 40.0, 30), (2.0, 40.0, 40), (2.0, 20.0, 1)]
)
def test_a_blade_that_turns_a_little_otherwise_in_the_waste_is_no_fault(
    offset: float, units: float, k: int
) -> None:
    """By places rounded anew it may, where a weed line begins; pieces are cut as before."""
    angles = np.linspace(0, 2 * np.pi, 10)[:-1] + 0.11 * k
    star = np.column_stack((150 + 80 * np.cos(angles), 150 + 60 * np.sin(angles)))
    drawing = on_stock(
        Pattern("star", Curve(points_mm=star, bulges=[0.0] * 9)),
        Pattern("dot", circle(300, 120, 30 + 0.3 * k)),
    )
    ours = machine(
        knife_offset_mm=offset, units_per_mm=units, scale_x=1 + 0.0003 * k, skew=0.0002 * k
    )
    made = program(drawing, ours, wishes=Wishes(strip_mm=50.0)).sections[0]
    for fed in ((-0.009, 0.0014), (-0.0025, -0.008)):
        slip = Slip(fed=np.array(fed), travelled=np.array([-0.0009, -0.0008]))
        bent = bent_section(made, slip, ours)
        film = [
            drifted(landed(read_hpgl(text, units_per_mm=units), ours), by)
            for text, by in ((made.hpgl, NO_SLIP), (bent.hpgl, slip))
        ]
        meant, got = (simulate(one, knife_offset_mm=offset).cuts for one in film)
        for cut in made.cuts:
            if cut.kind in ("outline", "opening"):
                line = shapely.LineString(meant[cut.first])
                far = shapely.distance(line, shapely.points(got[cut.first])).max()
                assert far < (0.05 if units == 40.0 else 0.075)


@pytest.mark.parametrize("rate", [(-0.006, 0.0), (0.0, 0.005)])
def test_sections_in_one_go_are_bent_against_all_that_the_film_has_slipped(
    rate: tuple[float, float],
) -> None:
    """Nobody leads the film in anew between two of them."""
    drawing = of_three(3)
    bare = program(drawing, machine())
    marked = witnessed(bare, drawing, machine(), every_mm=EVERY)
    slipping = Slipping(rate)
    drift = judged(marked, drawing, read_marks(marked, slipping))
    for number, off in ((0, 0.0), (1, LENGTH)):
        mended = straightened(bare, dataclasses.replace(drift, number=number), drawing, machine())
        tree = cKDTree(np.vstack(slipping.cuts(mended.hpgl)))
        # What was cut before as it was has slipped; those behind lie where they do from it.
        shift = off * np.array(rate)
        behind = [p for sheet in sheets_of(drawing, machine())[number:] for p in sheet.patterns]
        names = {pattern.name for pattern in behind}
        lines = [to_polygon(p) for p in drawing.patterns if p.name in names]
        places = np.vstack([shapely.get_coordinates(line) for line in lines]) + shift
        assert tree.query(places)[0].max() < 0.35
        assert len(sections_of(mended.hpgl.encode(), name="mended")) == 3


@pytest.mark.parametrize("walk", [-0.02, -0.005, 0.004, 0.01])
def test_sections_with_marks_are_told_from_each_other_where_the_film_walks(walk: float) -> None:
    drawing, ours = of_three(3), machine(walk=walk)
    marked = witnessed(program(drawing, ours), drawing, ours, every_mm=EVERY)
    parts = sections_of(marked.hpgl.encode(), name="marked")
    strokes = [sum(one.down for one in read_hpgl(part.decode())) for part in parts]
    assert strokes == [section.strokes for section in marked.sections]
    whole = program_from_text(marked.hpgl, drawing, ours)
    assert [one.hpgl for one in whole.sections] == [one.hpgl for one in marked.sections]


@pytest.mark.parametrize("change", [{"walk": 0.02}, {"walk": -0.02, "max_width_mm": 300.0}])
def test_sections_in_one_go_that_would_leave_the_machine_are_not_handed_out(
    change: dict[str, float],
) -> None:
    drawing, ours = of_three(3), machine(**change)
    made = program(drawing, ours)
    for section in made.sections:
        assert told_text(section.hpgl, ours) == section.hpgl
    with pytest.raises(FitError, match="All 3 sections in one go would take the head"):
        told_whole(made, ours)
    alone = program(of_three(1), ours)
    assert told_whole(alone, ours) == alone.hpgl


def test_marks_that_would_be_cut_before_the_start_are_told_before(marked: CutProgram) -> None:
    """Along the roll a film that runs ahead wants a head that lags; the row has little room."""
    inside, beyond = (Slip(fed=np.array([x, 0.0]), travelled=np.zeros(2)) for x in (0.002, 0.015))
    assert beyond_reach_mm(marked.sections[1], inside, machine()) == 0.0
    assert beyond_reach_mm(marked.sections[1], beyond, machine()) > 1.0
    with pytest.raises(FitError, match="beyond its reach"):
        bent_section(marked.sections[1], beyond, machine())


def test_axes_that_are_not_square_show_in_the_diagonals_and_not_in_returns(
    marked: CutProgram,
) -> None:
    """Closed form: skew k changes the diagonals of a by b by 2 k a b / hypot(a, b) between them."""
    part = marked.sections[0]
    cuts = Plotter(feed=np.array([[1.0, 0.005], [0.0, 1.0]])).cuts(part.hpgl)
    marks = {
        mark.name: crossing(cuts[mark.stroke], cuts[mark.stroke + 1]) for mark in part.witnesses
    }
    crosses = [crossing(cuts[k], cuts[k + 1]) for k in range(1, 1 + 2 * len(marks), 2)]
    for small in marks.values():
        assert min(float(np.hypot(*(small - large))) for large in crosses) < 0.03
    last = min(mark.stroke for mark in part.witnesses[-2:])
    near, far = (crossing(cuts[k], cuts[k + 1]) for k in (last - 4, last - 2))
    row_near, row_far = marks["1 near"], marks["1 far"]
    across, along = far[1] - near[1], near[0] - row_near[0]
    apart = np.hypot(*(far - row_near)) - np.hypot(*(near - row_far))
    closed = 2 * 0.005 * along * across / np.hypot(along, across)
    assert apart == pytest.approx(closed, abs=0.03)
    assert apart > 2.0


def test_ways_to_and_fro_are_told_from_film_fed(marked: CutProgram, drawing: Drawing) -> None:
    readings = read_marks(marked, Slipping((0.0012, 0.0), by="travelled"))
    drift = judged(marked, drawing, readings)
    assert drift.by == "travelled"
    assert drift.rate[0] == pytest.approx(0.0012, abs=max(drift.rate_error, 2e-5))


def test_a_jerk_is_refused_until_somebody_is_sure(marked: CutProgram, drawing: Drawing) -> None:
    readings = read_marks(marked, Slipping((0.0, 0.0), jerk_at=600.0, jerk=(0.0, 3.0)))
    with pytest.raises(SettingError, match="contradict each other"):
        judged(marked, drawing, readings)
    drift = judged(marked, drawing, readings, sure=True)
    assert drift.verdict == "stop"
    assert "by jerks" in drift.sentence
    assert drift.doubtful


def test_a_film_that_is_not_held_is_stopped(marked: CutProgram, drawing: Drawing) -> None:
    readings = read_marks(marked, Slipping((-0.03, 0.0)), until=1)
    drift = judged(marked, drawing, readings)
    assert drift.verdict == "stop"
    assert "not held" in drift.sentence


def test_coarse_readings_do_not_pass_for_a_correction(marked: CutProgram, drawing: Drawing) -> None:
    drift = judged(marked, drawing, read_marks(marked, Slipping((0.0, 0.005))), reading_mm=3.0)
    assert drift.verdict == "stop"
    assert "too few to correct" in drift.sentence


@pytest.mark.parametrize(
    ("readings", "words"),
    [
        ([], "no reading"),
        ([("7 near", 0.0, 0.0)], "no witness mark “7 near”"),
        ([("1 near", 0.0, 0.0), ("1 near", 0.0, 0.1)], "read twice"),
        ([("1 near", 12.0, 0.0)], "nobody can tell which cross"),
        ([("1 near", float("nan"), 0.0)], "nobody can tell which cross"),
        ([("1 near", 4.0, 0.0), ("1 far", -4.0, 0.0), ("2 near", 0.0, 0.0)], "contradict"),
    ],
)
def test_impossible_readings_are_refused(
    readings: list[tuple[str, float, float]], words: str, marked: CutProgram, drawing: Drawing
) -> None:
    given = [SlipReading(mark=mark, dx_mm=dx, dy_mm=dy) for mark, dx, dy in readings]
    with pytest.raises(SettingError, match=words):
        judged(marked, drawing, given)


def test_a_wrong_mark_among_others_is_named(marked: CutProgram, drawing: Drawing) -> None:
    readings = read_marks(marked, Slipping((0.0, 0.002)))
    wrong = dataclasses.replace(readings[2], dy_mm=readings[2].dy_mm + 4.0)
    with pytest.raises(SettingError, match=f"without “{wrong.mark}” the others agree"):
        judged(marked, drawing, [*readings[:2], wrong, *readings[3:]])


def test_a_program_without_marks_or_section_is_refused(
    bare: CutProgram, marked: CutProgram, drawing: Drawing
) -> None:
    reading = [SlipReading(mark="1 near", dx_mm=0.0, dy_mm=0.0)]
    with pytest.raises(SettingError, match="no witness marks"):
        judged(bare, drawing, reading)
    with pytest.raises(SettingError, match="no section 9"):
        judge_drift(marked, reading, drawing, machine(), number=9)
    with pytest.raises(SettingError, match="marks already"):
        witnessed(marked, drawing, machine())
    with pytest.raises(SettingError, match="50 to 10000"):
        witnessed(bare, drawing, machine(), every_mm=1)


def test_margins_without_room_are_refused() -> None:
    tight = on_stock(Pattern("plate", rectangle(20, 5, 370, 296)))
    with pytest.raises(FitError, match="witness marks need 7 mm"):
        witnessed(program(tight, machine()), tight, machine())


def test_one_margin_is_enough() -> None:
    low = on_stock(Pattern("plate", rectangle(20, 20, 370, 296)))
    marked = witnessed(program(low, machine()), low, machine())
    assert {mark.side for mark in marked.sections[0].witnesses} == {"near"}
    reading = SlipReading(mark="1 near", dx_mm=0.1, dy_mm=0.0)
    assert judge_drift(marked, [reading], low, machine(), number=1).verdict == "go on"


@pytest.mark.parametrize(
    ("walk", "skew", "sides"),
    [
        (0.005, 0.0, {"near", "far"}),
        (0.01, 0.0, {"near", "far"}),
        (0.03, 0.0, {"far"}),
        (0.0, 0.02, {"near", "far"}),
        (-0.01, -0.02, {"near", "far"}),
    ],
)
def test_marks_lie_where_the_film_lets_the_knife_get(
    walk: float, skew: float, sides: set[str]
) -> None:
    ours = machine(walk=walk, skew=skew)
    bumper = on_stock(Pattern("bumper", rectangle(60, 48, 1380, 250)), length=1500.0)
    made = witnessed(program(bumper, ours), bumper, ours, every_mm=200.0)
    assert {mark.side for mark in made.sections[0].witnesses} == sides
    told = np.vstack([stroke.points_mm for stroke in read_hpgl(made.hpgl)])
    assert told.min() >= 0.0
