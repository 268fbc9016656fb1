"""After a stop: every piece has one fate, nothing is cut twice, film is booked to the last mm."""

import dataclasses

import numpy as np
import pytest
import shapely

from cut.shapes import circle, machine, rectangle, rounded
from layflat.base import FitError, SettingError
from layflat.cut import (
    CutProgram,
    Laying,
    Recovery,
    SlipReading,
    judge_drift,
    program,
    recover,
    witnessed,
)
from layflat.cut.owners import owned_strokes
from layflat.cut.sheet import sheets_of
from layflat.nest import layout_drawing
from layflat.pattern import Drawing, Pattern, to_polygon

LAYING = Laying(gap_mm=4, edge_margin_mm=20, seconds=0.1)
MACHINE = machine()


@pytest.fixture(scope="module")
def drawing() -> Drawing:
    shapes = [(10, 22, 140, 150, 8.0), (10, 160, 140, 270, 5.0), (160, 22, 300, 270, 9.0)]
    patterns = [Pattern(f"{i + 1} plate", rounded(*box)) for i, box in enumerate(shapes)]
    patterns[2] = dataclasses.replace(
        patterns[2], cut_outs=(circle(230, 100, 30, clockwise=True), circle(230, 190, 12))
    )
    patterns.append(Pattern("4 dot", circle(230, 100, 15)))
    patterns.append(Pattern("5 tail", rounded(320, 22, 380, 270, 9.0)))
    patterns.append(Pattern("6 fin", rounded(420, 30, 560, 260, 9.0)))
    return Drawing(
        patterns=tuple(patterns), stock=(rectangle(0, 0, 400, 300), rectangle(405, 0, 600, 300))
    )


@pytest.fixture(scope="module")
def made(drawing: Drawing) -> CutProgram:
    return program(drawing, MACHINE)


def stopped(made: CutProgram, drawing: Drawing, whole: int, begun: int, **options) -> Recovery:  # type: ignore[no-untyped-def]
    given = {"number": 1, "laying": LAYING, **options}
    return recover(made, drawing, MACHINE, whole=whole, begun=begun, **given)


def sound(found: Recovery, made: CutProgram, drawing: Drawing, begun: int) -> None:
    """What must hold after any stop, by geometry of its own."""
    states = {piece.name: piece.state for piece in found.pieces}
    assert sorted(states) == sorted(pattern.name for pattern in drawing.patterns)
    assert len(found.pieces) == len(drawing.patterns)
    # Once and only once: what is cut again is what is lost or was never begun.
    assert sorted(found.was) == sorted(
        name for name, state in states.items() if state in ("lost", "to cut")
    )
    booked = found.booked
    parts = (booked.whole_mm, booked.spoiled_mm, booked.waste_mm, booked.left_mm)
    assert min(parts) >= -1e-9
    assert sum(parts) == pytest.approx(booked.length_in_mm, abs=1e-9)
    sheet = sheets_of(drawing, MACHINE)[0]
    strokes = owned_strokes(made.sections[0], sheet, MACHINE)[:begun]
    gone = [shapely.LineString(stroke.tip_mm) for stroke in strokes]
    gone += [to_polygon(p) for p in sheet.patterns if states[p.name] in ("whole", "doubtful")]
    if found.again is not None:
        fresh = [to_polygon(pattern) for pattern in layout_drawing(found.again).patterns]
        near = shapely.distance(shapely.union_all(gone), shapely.union_all(fresh)) if gone else 9
        assert near >= LAYING.gap_mm - 0.02


def test_every_stop_leaves_every_piece_one_fate(made: CutProgram, drawing: Drawing) -> None:
    count = made.sections[0].strokes
    chance = np.random.default_rng(2)
    stops = [(0, 0), (count, count)]
    stops += [tuple(sorted(chance.integers(0, count + 1, 2).tolist())) for _ in range(3)]
    for whole, begun in stops:
        sound(stopped(made, drawing, whole, begun), made, drawing, begun)


def test_a_stop_in_mid_cut_by_hand(made: CutProgram, drawing: Drawing) -> None:
    """The fates at each stroke follow from which piece each stroke belongs to."""
    sheet = sheets_of(drawing, MACHINE)[0]
    strokes = owned_strokes(made.sections[0], sheet, MACHINE)
    owners = [None if s.piece is None else sheet.patterns[s.piece].name for s in strokes]
    assert owners.count("3 plate") == 3
    first = owners.index("3 plate")
    found = stopped(made, drawing, first, first + 1)
    before, after = set(owners[1:first]), {*owners[first + 1 :], "6 fin"} - {"3 plate"}
    assert set(found.names("whole")) == before
    assert found.names("lost") == ("3 plate",)
    assert set(found.names("to cut")) == after
    between = stopped(made, drawing, first, first)
    assert "3 plate" in between.names("to cut")
    assert not between.names("lost")
    last = len(owners) - 1 - owners[::-1].index("3 plate")
    doubt = stopped(made, drawing, last, last + 1)
    assert doubt.names("doubtful") == ("3 plate",)
    assert "Look at 3 plate" in doubt.notes[0]
    assert "3 plate" not in doubt.was
    assert found.again is not None
    assert program(layout_drawing(found.again), MACHINE).tip_error.max_away_mm < 0.05


def test_a_person_who_looked_settles_a_doubt(made: CutProgram, drawing: Drawing) -> None:
    count = made.sections[0].strokes
    (name,) = stopped(made, drawing, count - 1, count).names("doubtful")
    whole = stopped(made, drawing, count - 1, count, looked={name: "whole"})
    lost = stopped(made, drawing, count - 1, count, looked={name: "lost"})
    assert name in whole.names("whole")
    assert name not in whole.was
    assert name in lost.was
    assert lost.booked.spoiled_mm > whole.booked.spoiled_mm
    assert whole.booked.whole_mm - lost.booked.whole_mm == pytest.approx(lost.booked.spoiled_mm)


def test_in_place_the_old_program_goes_on_and_only_what_is_lost_is_laid(
    made: CutProgram, drawing: Drawing
) -> None:
    sheet = sheets_of(drawing, MACHINE)[0]
    owners = [s.piece for s in owned_strokes(made.sections[0], sheet, MACHINE)]
    first = next(k for k in range(1, len(owners)) if owners[k] == 2)
    found = stopped(made, drawing, first, first + 1, in_place=True)
    assert found.was == ("3 plate",)
    assert found.again is not None
    assert found.again.sections[0].start_mm >= 600
    assert "begins 600 mm further along the roll" in found.notes[-1]
    assert found.resume_at is not None
    assert owners[found.resume_at] != 2
    assert all(owner != 2 for owner in owners[found.resume_at :])


def test_film_of_a_drifting_section_is_lost_and_cut_again(
    made: CutProgram, drawing: Drawing
) -> None:
    marked = witnessed(made, drawing, MACHINE, every_mm=150)
    readings = [
        SlipReading(mark=mark.name, dx_mm=0.0, dy_mm=round(0.015 * mark.fed_mm, 1))
        for mark in marked.sections[0].witnesses
    ]
    drift = judge_drift(marked, readings, drawing, MACHINE, number=1)
    count = marked.sections[0].strokes
    found = stopped(marked, drawing, count, count, drift=drift)
    assert set(found.names("lost")) == set(drift.lost) != set()
    assert set(found.was) == {*drift.lost, "6 fin"}
    # Room for what drifted is kept beyond what was cut.
    plain = stopped(marked, drawing, count, count)
    assert found.harmed[-1].end_mm > plain.harmed[-1].end_mm + 2.0


def test_the_length_of_the_roll_counts(made: CutProgram, drawing: Drawing) -> None:
    roll = dataclasses.replace(LAYING, roll_mm=5000.0)
    found = stopped(made, drawing, 2, 2, laying=roll)
    assert found.booked.length_in_mm == 5000.0
    with pytest.raises(FitError, match="has no room"):
        stopped(made, drawing, 2, 2, laying=dataclasses.replace(LAYING, roll_mm=300.0))
    count = made.sections[0].strokes
    with pytest.raises(SettingError, match="measure the roll again"):
        stopped(made, drawing, count, count, laying=dataclasses.replace(LAYING, roll_mm=100.0))


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"number": 7}, "no section 7"),
        ({"whole": 3, "begun": 2}, "cannot be"),
        ({"begun": 99}, "cannot be"),
        ({"whole": -1}, "cannot be"),
        ({"looked": {"9 door": "whole"}}, "no piece of the section"),
        ({"looked": {"5 tail": "whole"}, "whole": 0, "begun": 1}, "cannot be whole"),
        ({"looked": {"5 tail": "to cut"}}, "must be seen to be whole or lost"),
    ],
)
def test_what_cannot_be_is_refused(
    options: dict[str, object], words: str, made: CutProgram, drawing: Drawing
) -> None:
    given = {"number": 1, "whole": 1, "begun": 1, "laying": LAYING, **options}
    with pytest.raises(SettingError, match=words):
        recover(made, drawing, MACHINE, **given)  # type: ignore[arg-type]
