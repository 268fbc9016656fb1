"""The calibration sheet: known faults of a simulated machine come back, contradictions are told.

The truth is a plotter of its own (`cut.plotter`): the sheet's text is read back, sent through a
matrix, and the blade's tip is trailed with another knife offset than the file says.
"""

import datetime
import itertools
import math
from pathlib import Path

import numpy as np
import pytest

from cut.plotter import Plotter, crossing, measured
from cut.shapes import machine, on_stock, rectangle
from layflat.base import FitError, SettingError
from layflat.cut import (
    CalibrationSheet,
    Diagonals,
    Readings,
    Step,
    calibrated,
    calibration_sheet,
    machine_toml,
    nominal_mm,
    program,
    read_hpgl,
    read_machine,
    read_readings,
    readings_form,
    witnessed,
)
from layflat.pattern import Pattern

DAY = datetime.date(2026, 5, 31)
FEED = np.array([[1.0031, -0.0017], [0.0, 0.9985]])
TRUE = {"scale_x": 1.0031, "scale_y": 0.9985, "skew": -0.0017, "knife_offset_mm": 0.42}


@pytest.fixture(scope="module")
def sheet() -> CalibrationSheet:
    return calibration_sheet(machine(send_force=True), width_mm=610)


@pytest.fixture(scope="module")
def exact(sheet: CalibrationSheet) -> dict[str, dict]:
    return measured(sheet, Plotter(feed=FEED, offset_mm=0.42, plunge_mm=0.47))


def readings(exact: dict[str, dict], sheet: CalibrationSheet, **changes: object) -> Readings:
    given = {
        "day": DAY,
        "side_mm": sheet.side_mm,
        "circle_mm": sheet.circle_mm,
        "lengths": exact["lengths"],
        "gaps": tuple(Step(at=at, read=read) for at, read in exact["gaps"].items()),
        "bridges": tuple(Step(at=at, read=read) for at, read in exact["bridges"].items()),
    }
    return Readings(**{**given, **changes})


def values(found) -> dict[str, float]:  # type: ignore[no-untyped-def]
    return {item.name: item.value for item in found.measured}


def test_known_faults_come_back(exact: dict[str, dict], sheet: CalibrationSheet) -> None:
    found = calibrated(machine(), readings(exact, sheet), where="r.toml")
    got = values(found)
    assert got["scale_x"] == pytest.approx(TRUE["scale_x"], abs=1e-4)
    assert got["scale_y"] == pytest.approx(TRUE["scale_y"], abs=1e-4)
    assert got["skew"] == pytest.approx(TRUE["skew"], abs=1e-4)
    assert got["knife_offset_mm"] == pytest.approx(0.42, abs=0.013)  # half a plotter unit
    assert 0.47 <= got["overcut_mm"] <= 0.6
    assert found.machine.knife_offset_mm == pytest.approx(0.42, abs=0.013)
    assert "r.toml" in found.machine.sources["skew"]
    assert any("force 90" in note for note in found.notes)


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"scores": {5: 3, 20: 4}}, "force -10; a machine has 1 to 2000"),
        ({"bridges": {4: 3, 5: 2}}, "overcut 7.05; a machine has 0.1 to 5"),
        (
            {"lengths": {"ab_mm": 400.0, "ad_mm": 400.7, "ac_mm": 582.9, "bd_mm": 549.0}},
            r"skew 0\.0[56]\d*; a machine has -0\.05 to 0\.05",
        ),
    ],
)
def test_a_value_that_no_machine_can_have_is_refused(given: dict[str, dict], words: str) -> None:
    rows = {
        name: row
        if name == "lengths"
        else tuple(Step(at=float(at), read=float(read)) for at, read in row.items())
        for name, row in given.items()
    }
    got = Readings(**{"day": DAY, "side_mm": 400.0, "circle_mm": 100.0, "lengths": {}, **rows})
    with pytest.raises(SettingError, match=words):
        calibrated(machine(), got, where="r.toml")


def test_a_true_machine_is_found_true(sheet: CalibrationSheet) -> None:
    got = values(calibrated(machine(), readings(measured(sheet, Plotter()), sheet), where="r.toml"))
    assert got["scale_x"] == pytest.approx(1.0, abs=5e-5)
    assert got["scale_y"] == pytest.approx(1.0, abs=5e-5)
    assert got["skew"] == pytest.approx(0.0, abs=5e-5)
    assert got["knife_offset_mm"] == pytest.approx(0.25, abs=0.01)


def test_ends_stand_apart_by_twice_the_offsets_fault(
    exact: dict[str, dict], sheet: CalibrationSheet
) -> None:
    """Closed form: a tip that trails at L ends L short of its pivot, which stops L_i further on."""
    for made, gap in exact["gaps"].items():
        assert gap == pytest.approx(2 * (0.42 - made), abs=0.06)  # whole plotter units, scale_x
    del sheet


def test_uncertainty_by_hand() -> None:
    """One side read twice: the half-width is 1.96 a / sqrt(3) / sqrt(2) over the side's length."""
    read = Readings(
        day=DAY, side_mm=400, circle_mm=100, lengths={"ab_mm": 400.4, "dc_mm": 400.2}, ruler_mm=0.3
    )
    found = calibrated(machine(), read, where="r.toml")
    (scale,) = found.measured
    assert (scale.name, scale.value) == ("scale_x", pytest.approx(1.00075))
    assert scale.error == pytest.approx(1.959964 * 0.3 / math.sqrt(6) / 400, rel=1e-4)
    assert found.machine.scale_y == 1.0


def test_the_diagonals_of_witness_marks_tell_skew() -> None:
    """Crosses cut by a skewed machine, measured where their arms cross; the truth comes back.

    What the head's matrix does, it does again when it returns: its small crosses lie in the middle.
    """
    true = {"scale_x": 1.003, "scale_y": 0.998, "skew": -0.0024}
    drawing = on_stock(Pattern("long", rectangle(40, 40, 550, 260)), length=600, width=300)
    ours = machine(scale_x=1.003, scale_y=0.998, skew=0.0006)
    made = witnessed(program(drawing, ours), drawing, ours, every_mm=600)
    section = made.sections[0]
    (box,) = section.rectangles
    feed = np.array([[true["scale_x"], true["skew"]], [0.0, true["scale_y"]]])
    cuts = Plotter(feed=feed).cuts(section.hpgl)
    at = [crossing(one, other) for one, other in itertools.pairwise(cuts)]

    def found(x: float, y: float) -> np.ndarray:
        meant = feed @ ours.told(np.array([[x, y]]))[0]
        return min(at, key=lambda place: float(np.hypot(*(place - meant))))

    near, far = (next(w for w in section.witnesses if w.side == side) for side in ("near", "far"))
    first = {"near": found(near.x_mm, near.y_mm), "far": found(far.x_mm, far.y_mm)}
    last = {
        "near": found(near.station_mm, near.y_mm), "far": found(far.station_mm, far.y_mm)
    }  # fmt: skip
    read = Readings(
        day=DAY, side_mm=0, circle_mm=0, lengths={},
        rectangles=(
            Diagonals(
                along_mm=box.along_mm,
                across_mm=box.across_mm,
                rising_mm=float(np.hypot(*(last["far"] - first["near"]))),
                falling_mm=float(np.hypot(*(last["near"] - first["far"]))),
            ),
        ),
    )  # fmt: skip
    got = calibrated(ours, read, where="r.toml")
    (skew,) = got.measured
    assert (skew.name, skew.taken) == ("skew", True)
    # By hand: (r² - f²)/(4 X Y) is scale_x times the skew that is left.
    (one,) = read.rectangles
    by_hand = (one.rising_mm**2 - one.falling_mm**2) / (4 * one.along_mm * one.across_mm)
    left = (true["skew"] - ours.skew * true["scale_x"] / ours.scale_x) / ours.scale_y
    # Crosses lie on whole plotter units: 0.0125 mm over 280 mm or so.
    assert by_hand == pytest.approx(left, abs=5e-5)
    assert skew.value == pytest.approx(true["skew"], abs=6e-5)
    assert skew.error == pytest.approx(
        1.96 * 0.25 / math.sqrt(3) * math.hypot(box.along_mm, box.across_mm)
        / (math.sqrt(2) * box.along_mm * box.across_mm), rel=0.01,
    )  # fmt: skip
    assert "Measured on witness marks" in got.machine.sources["skew"]
    assert (got.machine.scale_x, got.machine.scale_y) == (ours.scale_x, ours.scale_y)


def test_diagonals_that_are_none_of_the_rectangle_are_refused(tmp_path: Path) -> None:
    text = (
        "day = 2026-05-31\n[[rectangle]]\nalong_mm = 1180\nacross_mm = 480\n"
        "rising_mm = 1274.2\nfalling_mm = 1273.6\n"
    )
    path = tmp_path / "r.toml"
    path.write_text(text, encoding="utf-8")
    assert read_readings(path).rectangles[0].falling_mm == 1273.6
    path.write_text(text.replace("1274.2", "1474.2"), encoding="utf-8")
    with pytest.raises(SettingError, match=r"has 1273\.9 mm"):
        read_readings(path)
    path.write_text(text + "[ruler]\nab_mm = 400\n", encoding="utf-8")
    with pytest.raises(SettingError, match="sheet"):
        read_readings(path)


def test_without_a_diagonal_skew_is_not_told() -> None:
    lengths = {"ab_mm": 400.4, "ad_mm": 400.2}
    read = Readings(day=DAY, side_mm=400, circle_mm=100, lengths=lengths)
    found = calibrated(machine(), read, where="r.toml")
    # Across the roll, skew lengthens a side by its square only: the readings do not tell it.
    assert {item.name for item in found.measured} == {"scale_x", "scale_y"}
    assert "skew 0" in found.notes[-1]


@pytest.mark.parametrize("wrong", ["ab_mm", "ad_mm", "ac_mm", "bd_mm"])
def test_a_reading_that_contradicts_is_named(
    wrong: str, exact: dict[str, dict], sheet: CalibrationSheet
) -> None:
    lengths = {**exact["lengths"], wrong: exact["lengths"][wrong] + 2.0}
    found = calibrated(machine(), readings(exact, sheet, lengths=lengths), where="r.toml")
    assert "contradict" in found.notes[0]
    assert f"“{wrong}”" in found.notes[0]
    assert (found.machine.scale_x, found.machine.skew) == (1.0, 0.0)
    assert found.machine.knife_offset_mm != 0.25  # the knife's readings still count


def test_diagonals_against_sides_without_more_name_all_that_may_be_wrong() -> None:
    lengths = {"ab_mm": 400.0, "ad_mm": 400.0, "ac_mm": 567.7, "bd_mm": 567.7}
    read = Readings(day=DAY, side_mm=400, circle_mm=100, lengths=lengths)
    (note, *_) = calibrated(machine(), read, where="r.toml").notes
    assert "one of these is wrong" in note
    assert all(f"“{name}”" in note for name in lengths)


def test_a_loupe_reading_with_the_wrong_sign_is_named(
    exact: dict[str, dict], sheet: CalibrationSheet
) -> None:
    gaps = tuple(
        Step(at=at, read=-read if at == 0.7 else read) for at, read in exact["gaps"].items()
    )
    found = calibrated(machine(), readings(exact, sheet, gaps=gaps), where="r.toml")
    assert "the gap at offset 0.7" in found.notes[0]
    assert found.machine.knife_offset_mm == 0.25


def test_the_stated_intervals_cover_the_truth(
    exact: dict[str, dict], sheet: CalibrationSheet
) -> None:
    """Readings rounded and wrong within what they may be: 95 % intervals hold in 95 % (±4 s)."""
    chance = np.random.default_rng(5)
    rounds = 120
    held = dict.fromkeys(TRUE, 0)
    for _ in range(rounds):
        lengths = {k: v + chance.uniform(-0.25, 0.25) for k, v in exact["lengths"].items()}
        gaps = tuple(
            Step(at=at, read=read + chance.uniform(-0.05, 0.05))
            for at, read in exact["gaps"].items()
        )
        found = calibrated(
            machine(), readings(exact, sheet, lengths=lengths, gaps=gaps), where="r.toml"
        )
        for item in found.measured:
            if item.name in held:
                held[item.name] += abs(item.value - TRUE[item.name]) <= item.error
    least = 0.95 * rounds - 4 * math.sqrt(rounds * 0.95 * 0.05)
    assert all(least <= count for count in held.values()), held
    assert min(held.values()) < rounds, "intervals that always hold are too wide"


def test_the_force_that_scores_the_liner_lies_where_the_line_crosses() -> None:
    """Depth rises by one score in 20 g from 50 g on, read in whole scores: 90 g is wanted."""
    forces = (50, 60, 70, 80, 90, 100, 110, 120, 130, 140)
    scores = tuple(
        Step(at=f, read=float(min(4, max(0, math.floor((f - 50) / 20 + 0.5))))) for f in forces
    )
    read = Readings(day=DAY, side_mm=400, circle_mm=100, lengths={}, scores=scores)
    (force,) = calibrated(machine(), read, where="r.toml").measured
    assert force.name == "force_g"
    assert abs(force.value - 90) < force.error
    assert force.error < 12
    falling = tuple(Step(at=s.at, read=4 - s.read) for s in scores)
    with pytest.raises(SettingError, match="More force cut less deep"):
        calibrated(
            machine(),
            Readings(day=DAY, side_mm=400, circle_mm=100, lengths={}, scores=falling),
            where="r.toml",
        )


def test_the_sheet_sets_forces_only_where_the_machine_takes_them(sheet: CalibrationSheet) -> None:
    sent = [part for part in sheet.hpgl.replace("\n", "").split(";") if part.startswith("FS")]
    assert sent == [f"FS{force:g}" for force in (90, *sheet.forces_g, 90)]
    assert len([s for s in read_hpgl(sheet.hpgl) if s.down]) == len(sheet.cuts)
    assert "FS" not in calibration_sheet(machine(), width_mm=610).hpgl


def test_a_sheet_is_told_raw_millimetres() -> None:
    strayed = machine(scale_x=1.01, skew=0.01)
    assert calibration_sheet(strayed, width_mm=610).hpgl == (
        calibration_sheet(machine(), width_mm=610).hpgl
    )


def test_a_roll_without_room_is_refused() -> None:
    with pytest.raises(FitError, match="260 mm"):
        calibration_sheet(machine(), width_mm=200)


def test_the_form_is_filled_in_read_and_becomes_a_machine_file(
    tmp_path: Path, exact: dict[str, dict], sheet: CalibrationSheet
) -> None:
    form = readings_form(sheet, day=DAY)
    path = tmp_path / "readings.toml"
    path.write_text(form, encoding="utf-8")
    with pytest.raises(SettingError, match="There is no reading"):
        read_readings(path)
    for name, value in exact["lengths"].items():
        form = form.replace(f"# {name} = ", f"{name} = {value:.2f}")
    for offset, gap in exact["gaps"].items():
        form = form.replace(
            f"# [[offset]]\n# offset_mm = {offset:g}\n# gap_mm = ",
            f"[[offset]]\noffset_mm = {offset:g}\ngap_mm = {gap:.2f}",
        )
    path.write_text(form, encoding="utf-8")
    found = calibrated(machine(), read_readings(path), where=path.name)
    file = tmp_path / "machine.toml"
    file.write_text(machine_toml(found.machine), encoding="utf-8")
    assert read_machine(file) == found.machine


@pytest.mark.parametrize(
    ("lengths", "words"),
    [
        ({"ab_mm": 40.01}, "No machine strays that far"),
        ({"ab_mm": math.nan}, "No machine strays that far"),
        ({}, "There is no reading"),
    ],
)
def test_impossible_readings_are_refused(lengths: dict[str, float], words: str) -> None:
    with pytest.raises(SettingError, match=words):
        Readings(day=DAY, side_mm=400, circle_mm=100, lengths=lengths)


def test_an_offset_that_no_blade_has_is_refused() -> None:
    gaps = (Step(at=0.1, read=-0.6), Step(at=0.2, read=-0.8))
    read = Readings(day=DAY, side_mm=400, circle_mm=100, lengths={}, gaps=gaps)
    with pytest.raises(SettingError, match=r"knife offset of -0\.20 mm"):
        calibrated(machine(), read, where="r.toml")


def test_nominal_lengths() -> None:
    assert nominal_mm("ac_mm", side_mm=400, circle_mm=100) == pytest.approx(400 * math.sqrt(2))
    assert nominal_mm("falling_mm", side_mm=400, circle_mm=100) == pytest.approx(100)
