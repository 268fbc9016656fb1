"""Speeds by curvature: the law, what is told of it, and what the check refuses."""

import dataclasses
import math
import re
from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from cut.shapes import circle, machine, on_stock, plate, rounded, with_texts
from layflat.base import CheckError
from layflat.cut import (
    CutProgram,
    check_program,
    program,
    read_hpgl,
    run_seconds,
    stroke_seconds,
    witnessed,
)
from layflat.cut.hpgl import told_cut
from layflat.cut.reader import Stroke
from layflat.cut.speed import radii_mm, speed_steps, told_speeds
from layflat.cut.speed_check import check_speeds
from layflat.pattern import Drawing, Pattern
from layflat.send import spool_of
from layflat.send.resume import prelude
from send.stand_in import Plotter

OURS = machine(speed_by_curve=True)
"""200 mm/s and 2000 mm/s²: 20 mm radius at full speed."""


def polygon(radius: float, count: int) -> np.ndarray:
    angle = np.linspace(0, 2 * np.pi, count + 1)
    return radius * np.column_stack((np.cos(angle), np.sin(angle)))


@pytest.fixture(scope="module")
def tray() -> Drawing:
    """Round corners of 8 mm, a circle of 3 mm: sqrt(2000 r) is 126 and 77 mm/s."""
    return on_stock(
        Pattern("tray", rounded(20, 30, 220, 130, 8.0)), Pattern("dot", circle(300, 100, 3.0))
    )


@pytest.fixture(scope="module")
def made(tray: Drawing) -> CutProgram:
    return program(tray, OURS)


@pytest.mark.parametrize("radius", [0.3, 2.0, 50.0])
def test_a_fine_polygon_stands_for_its_circle(radius: float) -> None:
    inner = radius * math.cos(math.pi / 60)
    np.testing.assert_allclose(radii_mm(polygon(radius, 60))[1:-1], inner, rtol=1e-9)


def test_speed_is_the_root_of_acceleration_times_radius_in_steps() -> None:
    assert speed_steps(OURS) == [20, 10, 5, 2]
    for radius, speed in (
        (0.3, 2),
        (1.2, 2),
        (1.3, 5),
        (4.9, 5),
        (5.2, 10),
        (19.5, 10),
        (20.5, 20),
    ):
        told = told_speeds(polygon(radius, 400), polygon(radius, 400), OURS)
        assert told is not None
        assert set(told.tolist()) == {speed}, radius
        # At that speed v²/r is within the acceleration, but for the least speed.
        assert speed == 2 or (speed * 10) ** 2 / radius <= 2000 * 1.001


def test_a_straight_line_runs_at_full_speed_and_short_ones_between_bends_do_not() -> None:
    # Up from 20 to 200 mm/s and down again takes (200² - 20²)/2000 = 19.8 mm.
    for length, fastest in ((25.0, 20), (15.0, 10), (3.0, 5), (1.0, 2)):
        bend = 0.3 * np.column_stack(
            (np.sin(np.linspace(0, 3, 12)), 1 - np.cos(np.linspace(0, 3, 12)))
        )
        way = np.vstack((bend[::-1] * [-1, 1] - [length, 0], bend))
        told = told_speeds(way, way, OURS)
        assert told is not None
        assert told.max() == fastest, length
        assert told[0] == told[-1] == 2


def test_speeds_stand_in_the_text_and_full_speed_is_brought_back(made: CutProgram) -> None:
    text = made.hpgl
    assert text.startswith("IN;PA;SP1;VS20;\n")
    speed = None
    for command in re.findall(r"[A-Z]{2}[^;]*", text):
        if command.startswith("VS"):
            assert command[2:] in ("20", "10", "5", "2")
            assert command[2:] != speed, "told twice"
            speed = command[2:]
        elif command.startswith("PU"):
            assert speed == "20"
    by_name = dict(zip(made.sections[0].cut_names, _downs(made), strict=True))
    assert set(by_name["outline of dot"].speeds) <= {5.0, 2.0}
    tray = by_name["outline of tray"]
    lengths = np.hypot(*np.diff(tray.points_mm, axis=0).T)
    assert {20.0, 10.0} <= set(tray.speeds)
    # The four long sides at full speed: all but corners, the start and the lead.
    assert lengths[np.array(tray.speeds) == 20].sum() > 2 * (200 + 100) - 8 * 8 - 30


def _downs(made: CutProgram) -> list:  # type: ignore[type-arg]
    return [stroke for stroke in read_hpgl(made.hpgl) if stroke.down]


def test_the_cut_is_the_same_and_the_estimate_knows_the_speeds(
    made: CutProgram, tray: Drawing
) -> None:
    plain = program(tray, machine())
    for ours, theirs in zip(_downs(made), _downs(plain), strict=True):
        np.testing.assert_array_equal(ours.points_mm, theirs.points_mm)
    assert made.seconds > plain.seconds
    strokes = read_hpgl(made.sections[0].hpgl)
    by_stroke = sum(stroke_seconds(stroke, OURS) for stroke in strokes)
    assert made.seconds == pytest.approx(by_stroke, abs=0.2)


def test_time_with_a_speed_for_each_stretch_is_that_of_the_parts() -> None:
    limits = {"acceleration_mm_s2": 2000.0, "deviation_mm": 0.02}
    # 100 mm at 200, then 100 mm at 50 on the same line: up, along, down to 50, along, down.
    found = run_seconds([[0, 0], [100, 0], [200, 0]], speed_mm_s=[200.0, 50.0], **limits)
    down = (200**2 - 50**2) / 4000
    by_hand = 0.1 + (100 - 10 - down) / 200 + 150 / 2000 + (100 - 50**2 / 4000) / 50 + 50 / 2000
    assert found == pytest.approx(by_hand)


def test_witness_marks_are_cut_by_the_same_law(made: CutProgram, tray: Drawing) -> None:
    again = witnessed(made, tray, OURS, every_mm=150.0)
    assert again.tip_error.max_away_mm < 0.027
    assert again.seconds > made.seconds


def test_a_machine_in_mm_per_second_is_told_those() -> None:
    ours = machine(speed_by_curve=True, speed_unit_mm_s=1.0)
    assert speed_steps(ours) == [200, 100, 50, 25, 20]
    assert program(plate(), ours).hpgl.startswith("IN;PA;SP1;VS200;\n")


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("VS5;", "VS20;", "200 mm/s is too fast for the bend"),
        ("VS10;", "VS20;", "200 mm/s is too fast for the bend"),
        ("VS2;", "VS20;", "too fast for the bend"),
        ("VS10;", "VS90;", "beyond its most"),
    ],
)
def test_a_speed_that_does_not_fit_the_bend_is_refused(
    made: CutProgram, tray: Drawing, old: str, new: str, words: str
) -> None:
    assert old in made.hpgl
    with pytest.raises(CheckError, match=words):
        check_program(with_texts(made, lambda text: text.replace(old, new)), tray, OURS)


def test_a_program_that_tells_no_speed_is_refused(made: CutProgram, tray: Drawing) -> None:
    with pytest.raises(CheckError, match="told no speed"):
        check_program(with_texts(made, lambda text: re.sub(r"VS\d+;", "", text)), tray, OURS)


def test_a_machine_that_takes_no_speed_while_cutting_is_told_none(
    made: CutProgram, tray: Drawing
) -> None:
    assert "VS" not in program(tray, machine()).hpgl
    assert program(tray, machine(send_speed=True)).hpgl.count("VS") == 1
    with pytest.raises(CheckError, match="does not take"):
        check_program(made, tray, machine(send_speed=True))


def test_a_program_goes_on_at_the_speed_that_held_at_its_safe_point(made: CutProgram) -> None:
    data = made.hpgl.encode()
    spool = spool_of(data, name="tray.plt")
    told = re.compile(rb"VS(\d+);|PD[^;]*;|PU[^;]*;")

    def speeds(text: bytes) -> list[tuple[bytes, bytes]]:
        now, found = b"", []
        for match in told.finditer(text):
            if match[1]:
                now = match[1]
            else:
                found.append((now, match[0]))
        return found

    for i, cut in enumerate(spool.cuts):
        text = prelude(spool, cut=i, machine=OURS) + data[cut.start :]
        # From the safe point on every command runs at the speed that the whole program gives it.
        rest = speeds(data[cut.start :])
        assert speeds(text)[-len(rest) :] == speeds(data)[-len(rest) :], i
        # The head's way and the short cut in the waste as well.
        assert set(speeds(text)[: -len(rest)]) <= set(speeds(data)) | {
            (b"2", match) for _, match in speeds(text)
        }
        plotter = Plotter(size=len(text) + 1)
        plotter.receive(text)
        plotter.work(1e12)
        assert plotter.cuts[-1] == _drawn(data)[-1]


def _drawn(data: bytes) -> list:  # type: ignore[type-arg]
    plotter = Plotter(size=len(data) + 1)
    plotter.receive(data)
    plotter.work(1e12)
    return plotter.cuts


def test_the_estimate_of_a_slower_least_speed_is_longer(tray: Drawing) -> None:
    slow = dataclasses.replace(OURS, least_speed_mm_s=100.0)
    assert speed_steps(slow) == [20, 10]
    assert program(tray, slow).seconds < program(tray, OURS).seconds


@pytest.mark.parametrize("offset", [0.05, 0.25, 0.4, 0.75, 1.2, 2.0])
@pytest.mark.parametrize("speed", [50.0, 800.0])
def test_kinks_are_told_slow_enough_whatever_the_knife_offset(offset: float, speed: float) -> None:
    ours = machine(speed_by_curve=True, knife_offset_mm=offset, cut_speed_mm_s=speed)
    assert program(plate(), ours).tip_error.max_away_mm < 0.05


@pytest.mark.parametrize("offset", [0.25, 2.0])
def test_the_sides_of_a_sharp_corner_keep_full_speed(offset: float) -> None:
    made = program(plate(), machine(speed_by_curve=True, knife_offset_mm=offset))
    outline = dict(zip(made.sections[0].cut_names, _downs(made), strict=True))["outline of plate"]
    lengths = np.hypot(*np.diff(outline.points_mm, axis=0).T)
    assert set(np.array(outline.speeds)[lengths > 90.0]) == {20.0}


def test_a_kink_of_two_long_stretches_is_told_slow() -> None:
    way = np.array([[0.0, 0.0], [0.0, 14.0], [14.0, 14.0]])
    told = told_speeds(way, way, OURS)
    assert told is not None
    assert min(told.tolist()) == 2
    check_speeds([_stroke(way, told)], OURS, number=1)


def test_a_kink_where_the_speed_changes_is_looked_at_with_the_slower_one() -> None:
    way = np.array([[0.0, 0.0], [0.0, 50.0], [50.0, 50.0]])
    for speeds in ([20, 10], [10, 20]):
        with pytest.raises(CheckError, match="100 mm/s is too fast"):
            check_speeds([_stroke(way, speeds)], OURS, number=1)
    check_speeds([_stroke(way, [20, 2])], OURS, number=1)


def test_the_slowest_step_is_the_least_speed() -> None:
    assert speed_steps(machine(cut_speed_mm_s=140.0, least_speed_mm_s=40.0)) == [14, 7, 4]
    assert speed_steps(machine(cut_speed_mm_s=140.0, least_speed_mm_s=45.0)) == [14, 7, 5]
    assert speed_steps(machine(cut_speed_mm_s=140.0, least_speed_mm_s=500.0)) == [14]


def _stroke(points_mm: np.ndarray, speeds: Sequence[int]) -> Stroke:
    return Stroke(down=True, points_mm=points_mm, speeds=tuple(float(one) for one in speeds))


_STEP = st.tuples(st.sampled_from([0.03, 0.1, 0.3, 1.0, 6.0, 40.0]), st.floats(-3.1, 3.1))


@given(
    steps=st.lists(_STEP, min_size=1, max_size=30),
    gentle=st.sampled_from([1.0, 0.1, 0.01]),
    acceleration=st.floats(100.0, 50_000.0),
    speed=st.floats(5.0, 1000.0),
    least=st.floats(1.0, 100.0),
    unit=st.sampled_from([0.1, 1.0, 10.0]),
    units_per_mm=st.sampled_from([20.0, 40.0, 1000.0]),
)
@example(
    # Rounded, the end of the line turns there and back again, and its last stretch is slowed.
    steps=[(6.0, 1.875), (0.03, 0.0), (0.1, 0.0), (0.03, 0.0)],
    gentle=1.0,
    acceleration=100.0,
    speed=19.0,
    least=1.0,
    unit=0.1,
    units_per_mm=20.0,
)
@settings(max_examples=300, deadline=None, derandomize=True)
def test_what_is_told_on_any_way_passes_the_check(
    steps: list[tuple[float, float]],
    gentle: float,
    acceleration: float,
    speed: float,
    least: float,
    unit: float,
    units_per_mm: float,
) -> None:
    ours = machine(
        speed_by_curve=True,
        acceleration_mm_s2=acceleration,
        cut_speed_mm_s=speed,
        least_speed_mm_s=least,
        speed_unit_mm_s=unit,
        units_per_mm=units_per_mm,
    )
    headings = np.cumsum([gentle * turn for _, turn in steps])
    lengths = np.array([length for length, _ in steps])
    ways = np.column_stack((lengths * np.cos(headings), lengths * np.sin(headings)))
    units, told = told_cut(np.vstack((np.zeros((1, 2)), np.cumsum(ways, axis=0))), ours)
    if told is not None:
        check_speeds([_stroke(units / units_per_mm, told.tolist())], ours, number=1)
