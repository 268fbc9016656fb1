"""The drill: power lost in the middle of the demo's front bumper, and nothing is cut twice.

The stand-in plotter tells what lies on the film: the tip is trailed behind what its own reader made
of the bytes, and measured with shapely, not with what sent or recovered it.
"""

import dataclasses

import numpy as np
import pytest
import shapely

from layflat.cut import (
    CutProgram,
    Laying,
    Machine,
    Recovery,
    Stroke,
    Wishes,
    generic_machine,
    program,
    recover,
    simulate,
)
from layflat.nest import layout_drawing
from layflat.pattern import Curve, Drawing, Pattern, to_polygon
from layflat.send import Account, State, spool_of_section
from send.bumper import WIDTH_MM, bumper, sheet
from send.programs import Wire, rest, run
from send.stand_in import Plotter

ROLL_MM = 9000.0
BUFFER = 120


def a_box(name: str, x: float, y: float, width: float, height: float) -> Pattern:
    corners = [[x, y], [x + width, y], [x + width, y + height], [x, y + height]]
    return Pattern(name, Curve(points_mm=corners, bulges=[0.0] * 4))


def a_section() -> Drawing:
    """The bumper; a patch in the waste of its first opening; a patch behind it."""
    opening = to_polygon(Pattern("opening", bumper().cut_outs[0])).representative_point()
    inside = a_box("2 patch", opening.x - 40, opening.y - 25, 80, 50)
    behind = a_box("3 patch", 2720, 100, 200, 300)
    corners = [[0, 0], [2980, 0], [2980, WIDTH_MM], [0, WIDTH_MM]]
    stock = Curve(points_mm=corners, bulges=[0.0] * 4)
    return dataclasses.replace(sheet(), patterns=(bumper(), inside, behind), stock=(stock,))


def on_film(plotter: Plotter, machine: Machine, *, from_mm: float = 0.0) -> list[np.ndarray]:
    """Where the blade's tip has been, in mm from where the first section began."""
    strokes = [Stroke(down=True, points_mm=np.array(cut) / 40) for cut in plotter.cuts]
    offset = machine.knife_offset_mm
    shift = np.array([from_mm, 0.0])
    return [tip + shift for tip in simulate(strokes, knife_offset_mm=offset).cuts]


def parted(tips: list[np.ndarray]) -> list[shapely.Polygon]:
    """What the cuts, a tenth of a millimetre wide, leave of the film, part by part."""
    lines = shapely.MultiLineString([tip for tip in tips if len(tip) > 1])
    roll = shapely.box(0, 0, ROLL_MM, WIDTH_MM)
    return list(shapely.get_parts(roll.difference(lines.buffer(0.05))))


def is_cut_out(pattern: Pattern, faces: list[shapely.Polygon]) -> bool:
    """Whether the piece lies free: a part is as large as it, and lies where it does."""
    piece = to_polygon(pattern)
    return any(face.symmetric_difference(piece).area < 0.01 * piece.area for face in faces)


@dataclasses.dataclass(frozen=True, eq=False)
class Drilled:
    drawing: Drawing
    made: CutProgram
    account: Account
    tips: list[np.ndarray]
    found: Recovery


@pytest.fixture(scope="module")
def machine() -> Machine:
    return dataclasses.replace(generic_machine(), max_section_mm=3000.0, buffer_bytes=BUFFER)


@pytest.fixture(scope="module")
def drilled(machine: Machine) -> Drilled:
    drawing = a_section()
    wishes = Wishes(first=("1 bumper-front",))
    made = program(drawing, machine, wishes=wishes)
    section = made.sections[0]
    spool = spool_of_section(section, name="bumper.plt")
    outline = next(i for i, cut in enumerate(section.cuts) if cut.kind == "outline" and cut.piece)
    # How far the head has gone when two fifths of the bumper's outline are cut.
    whole = Plotter(size=len(spool.data) + 1)
    ways = []
    for end in (spool.cuts[outline].start, spool.cuts[outline].stop):
        whole.receive(spool.data[len(whole.received) : end])
        rest(whole)
        ways.append(whole.way)
    plotter = Plotter(size=BUFFER)
    plotter.power_lost_at = 0.6 * ways[0] + 0.4 * ways[1]
    outcome = run(spool, Wire(plotter), buffer=BUFFER)
    assert outcome.state is State.BROKEN
    account = outcome.account
    found = recover(
        made,
        drawing,
        machine,
        number=1,
        whole=account.whole_strokes,
        begun=account.begun_strokes,
        laying=Laying(roll_mm=ROLL_MM, max_section_mm=3000.0, seconds=0.1),
        looked={"1 bumper-front": "lost"},
    )
    return Drilled(drawing, made, account, on_film(plotter, machine), found)


def test_the_account_holds_what_lies_on_the_film(drilled: Drilled) -> None:
    section = drilled.made.sections[0]
    assert section.pieces == ("2 patch", "1 bumper-front", "3 patch")
    outline = next(cut for cut in section.cuts if cut.kind == "outline" and cut.piece == 1)
    # The power went in the middle of the bumper's own outline.
    assert len(drilled.tips) == outline.last
    cut = shapely.LineString(drilled.tips[-1]).length
    assert 0.3 < cut / shapely.LineString(bumper().outline.points_mm).length < 0.7
    account = drilled.account
    assert account.whole_strokes <= outline.first < account.begun_strokes
    faces = parted(drilled.tips)
    free = {p.name for p in drilled.drawing.patterns if is_cut_out(p, faces)}
    assert free == {"2 patch"}


def test_every_piece_is_whole_or_lost_or_to_cut_and_the_film_adds_up(drilled: Drilled) -> None:
    found = drilled.found
    assert found.names("whole") == ("2 patch",)
    assert found.names("lost") == ("1 bumper-front",)
    assert found.names("to cut") == ("3 patch",)
    assert sorted(found.was) == ["1 bumper-front", "3 patch"]
    film = found.booked
    assert film.length_in_mm == ROLL_MM
    parts = (film.whole_mm, film.spoiled_mm, film.waste_mm, film.left_mm)
    assert sum(parts) == pytest.approx(ROLL_MM, abs=1e-6)
    assert film.whole_mm == pytest.approx(80 * 50 / WIDTH_MM)
    assert film.spoiled_mm == pytest.approx(to_polygon(bumper()).area / WIDTH_MM, rel=1e-3)


def test_what_is_cut_again_is_whole_on_film_that_nothing_has_cut(
    drilled: Drilled, machine: Machine
) -> None:
    again = drilled.found.again
    assert again is not None
    anew = layout_drawing(again)
    begins = float(min(curve.points_mm[:, 0].min() for curve in anew.stock))
    made = program(anew, machine)
    plotter = Plotter(size=BUFFER)
    outcome = run(spool_of_section(made.sections[0], name="rest"), Wire(plotter), buffer=BUFFER)
    rest(plotter)
    assert outcome.state is State.DONE
    tips = on_film(plotter, machine, from_mm=begins)
    faces = parted(tips)
    assert all(is_cut_out(pattern, faces) for pattern in anew.patterns)
    # No cut of the new program comes near one of the old: nothing is cut twice, nothing crosses.
    old = shapely.MultiLineString([tip for tip in drilled.tips if len(tip) > 1])
    new = shapely.MultiLineString([tip for tip in tips if len(tip) > 1])
    assert old.distance(new) > 2.0
    # What the first half holds and what is cut now is every piece once.
    names = [drilled.found.was[int(p.name.split()[0]) - 1] for p in anew.patterns]
    assert sorted([*names, *drilled.found.names("whole")]) == sorted(
        drilled.made.sections[0].pieces
    )
