"""What is mended in drawings, what is asked, and how answers are taken."""

import math
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path

import ezdxf
import numpy as np
import pytest
from ezdxf.layouts import Modelspace
from ezdxf.xclip import XClip

from layflat.base import DrawingError, SettingError
from layflat.cli.main import main
from layflat.pattern import (
    OpenQuestionsError,
    Reading,
    bounds,
    inspect_drawing,
    pattern_area_mm2,
    read_drawing,
    read_drawings,
)

OUT = {"layer": "OUTLINE"}
CORNERS = [(0.0, 0.0), (100.0, 0.0), (100.0, 80.0), (0.0, 80.0)]
Draw = Callable[[Modelspace], object]
pytestmark = pytest.mark.on_sqlite


def dxf(folder: Path, *draw: Draw, units: int = 4, name: str = "a.dxf") -> Path:
    document = ezdxf.new("R2010", units=units)
    for one in draw:
        one(document.modelspace())
    document.saveas(folder / name)
    return folder / name


def run(*points: tuple[float, float], **attributes: object) -> Draw:
    return lambda space: [
        space.add_line(a, b, dxfattribs={**OUT, **attributes}) for a, b in pairwise(points)
    ]


def square(space: Modelspace) -> object:
    return space.add_lwpolyline(CORNERS, close=True, dxfattribs=OUT)


def kinds(reading: Reading) -> list[str]:
    return [question.kind for question in reading.questions]


def area(reading: Reading) -> float:
    assert reading.drawing is not None
    return sum(pattern_area_mm2(pattern) for pattern in reading.drawing.patterns)


@pytest.mark.parametrize("wide", [0.06, 0.2, 0.49])
def test_a_clear_gap_is_closed_where_its_lines_meet_and_said(wide: float, tmp_path: Path) -> None:
    reading = inspect_drawing(
        dxf(tmp_path, run((0, 0), (100, 0), (100, 80), (wide, 80)), run((0, 80), (0, 0)))
    )
    (mended,) = reading.mended
    assert reading.questions == ()
    assert (mended.kind, mended.measure_mm) == ("gap", pytest.approx(wide))
    assert mended.place_mm == pytest.approx((wide, 80), abs=0.5)
    assert f"{wide:.3g} mm" in mended.sentence
    assert area(reading) == pytest.approx(8000.0, abs=1e-9)


def test_lines_that_overshoot_are_cut_back_to_their_corner(tmp_path: Path) -> None:
    path = dxf(tmp_path, run((0, -0.3), (0, 80), (100, 80), (100, 0), (-0.2, 0)))
    assert area(inspect_drawing(path)) == pytest.approx(8000.0, abs=1e-9)


def test_ends_that_compete_are_asked_and_each_answer_is_taken(tmp_path: Path) -> None:
    path = dxf(
        tmp_path,
        run((0, 0), (100, 0), (100, 80), (0.3, 80)),
        run((0, 80), (0, 0)),
        run((0.3, 80.35), (0.3, 140)),
    )
    reading = inspect_drawing(path)
    question = next(q for q in reading.questions if q.kind == "gap")
    assert [choice.name for choice in question.choices] == ["join-1", "join-2", "apart"]
    assert question.place_mm == pytest.approx((0.3, 80), abs=0.5)
    stray = next(q for q in reading.questions if q.kind == "open")
    drawing = read_drawing(path, answers={question.id: "join-1", stray.id: "leave-out"})
    assert pattern_area_mm2(drawing.patterns[0]) == pytest.approx(8000.0, abs=20)
    apart = inspect_drawing(path, answers={question.id: "apart"})
    assert area(apart) == pytest.approx(8000.0, abs=20)
    assert next(q.answer for q in apart.questions) == "apart"


def test_a_wide_gap_is_asked_with_a_name_that_stays(tmp_path: Path) -> None:
    path = dxf(tmp_path, run((0, 0), (100, 0), (100, 80), (0, 80), (0, 3)))
    (question,) = inspect_drawing(path).questions
    assert question.id in ("gap@0,0", "gap@0,3")
    with pytest.raises(OpenQuestionsError, match=f"{question.id}=join or {question.id}=apart"):
        read_drawing(path)
    (piece,) = read_drawing(path, answers={question.id: "join"}).patterns
    assert pattern_area_mm2(piece) == pytest.approx(8000.0)
    again = inspect_drawing(path, answers={question.id: "join", "all": "default"})
    assert again.open_questions == ()


def test_answers_that_fit_nothing_are_refused(tmp_path: Path) -> None:
    path = dxf(tmp_path, run((0, 0), (100, 0), (100, 80), (0, 80), (0, 3)))
    (question,) = inspect_drawing(path).questions
    with pytest.raises(SettingError, match="is no answer to"):
        inspect_drawing(path, answers={question.id: "maybe"})
    with pytest.raises(SettingError, match="does not ask “unit”"):
        read_drawing(path, answers={question.id: "join", "unit": "mm"})
    other = dxf(tmp_path, square, units=0, name="b.dxf")
    answers = {question.id: "join", "unit": "mm"}
    assert len(read_drawings([path, other], answers=answers)) == 2
    with pytest.raises(SettingError, match="does not ask"):
        read_drawings([path, other], answers={**answers, "stray@1,1": "leave-out"})


def test_a_drawing_that_is_unsure_all_over_is_refused(tmp_path: Path) -> None:
    stubs = [run((100 * i, 0), (100 * i + 40, 30)) for i in range(60)]
    corner = [run((0, 300), (100 * i, 900)) for i in range(60)]
    with pytest.raises(DrawingError, match="more than 40 places"):
        read_drawing(dxf(tmp_path, square, *stubs, *corner))


DOUBLED: dict[str, list[Draw]] = {
    "whole": [square, square],
    "reversed": [
        square,
        lambda s: s.add_lwpolyline(CORNERS[::-1], close=True, dxfattribs=OUT),
    ],
    "lines on a closed line": [square, run(*CORNERS)],
    "one line": [run(*CORNERS, CORNERS[0]), run(CORNERS[1], CORNERS[0])],
    "a part": [run(*CORNERS, CORNERS[0]), run((20, 0), (60, 0))],
    "beyond a corner": [run(*CORNERS, CORNERS[0], (50, 0))],
    "overlapping halves": [run((0, 0), (60, 0)), run((40, 0), *CORNERS[1:], (0, 0))],
    "nearly": [run(*CORNERS, CORNERS[0]), run((0, 0.04), (100, 0.04))],
    "round twice": [run(*CORNERS, *CORNERS, CORNERS[0])],
}


@pytest.mark.parametrize("case", DOUBLED)
def test_doubled_lines_are_taken_once_and_said(case: str, tmp_path: Path) -> None:
    reading = inspect_drawing(dxf(tmp_path, *DOUBLED[case]))
    assert reading.questions == ()
    assert "doubled" in {item.kind for item in reading.mended}
    assert reading.drawing is not None
    assert len(reading.drawing.patterns) == 1
    assert area(reading) == pytest.approx(8000.0, abs=8)


def test_doubled_arcs_are_taken_once(tmp_path: Path) -> None:
    def arcs(space: Modelspace) -> None:
        for start, end in ((0, 200), (200, 360), (90, 150), (150, 260)):
            space.add_arc((0, 0), 50, start, end, dxfattribs=OUT)

    reading = inspect_drawing(dxf(tmp_path, arcs))
    assert reading.questions == ()
    assert area(reading) == pytest.approx(math.pi * 2500, rel=1e-9)


def test_two_pieces_that_share_an_edge_are_no_double(tmp_path: Path) -> None:
    right = [(x + 100, y) for x, y in CORNERS]
    path = dxf(tmp_path, square, lambda s: s.add_lwpolyline(right, close=True, dxfattribs=OUT))
    assert area(inspect_drawing(path)) == pytest.approx(16000.0)
    assert inspect_drawing(path).mended == ()


def test_closed_lines_side_by_side_are_asked_not_taken_for_a_thin_ring(tmp_path: Path) -> None:
    inner = [(0.4, 0.4), (99.6, 0.4), (99.6, 79.6), (0.4, 79.6)]
    path = dxf(
        tmp_path,
        lambda s: s.add_lwpolyline(CORNERS, close=True),
        lambda s: s.add_lwpolyline(inner, close=True),
    )
    reading = inspect_drawing(path)
    (question,) = reading.questions
    assert question.kind == "double"
    assert area(reading) == pytest.approx(8000.0)
    ring = inspect_drawing(path, answers={question.id: "both"})
    assert area(ring) == pytest.approx(8000 - 99.2 * 79.2)


UNITS = [
    (0, 100.0, "mm", True),
    (0, 100.0, "in", True),
    (4, 0.5, "m", True),
    (1, 20.0, "in", False),
    (6, 900.0, "mm", True),
]


@pytest.mark.parametrize(("number", "size", "true", "asked"), UNITS)
def test_a_unit_in_doubt_is_asked(
    number: int, size: float, true: str, asked: bool, tmp_path: Path
) -> None:
    ends = [(0, 0), (size, 0), (size, size), (0, size)]
    path = dxf(tmp_path, lambda s: s.add_lwpolyline(ends, close=True, dxfattribs=OUT), units=number)
    reading = inspect_drawing(path)
    assert kinds(reading) == ["unit"] * asked
    drawing = read_drawing(path, answers={"unit": true} if asked else {})
    factor = {"mm": 1.0, "in": 25.4, "m": 1000.0}[true]
    assert bounds(drawing.patterns[0].outline)[2] == pytest.approx(size * factor)


def test_insunits_against_measurement_is_asked(tmp_path: Path) -> None:
    path = dxf(tmp_path, square)
    document = ezdxf.readfile(path)
    document.header["$MEASUREMENT"] = 0
    document.saveas(path)
    (question,) = inspect_drawing(path).questions
    assert "contradicts itself" in question.sentence
    assert question.default == "mm"
    assert "in" in [choice.name for choice in question.choices]


def test_dust_and_lines_without_length_are_left_out_and_said(tmp_path: Path) -> None:
    path = dxf(
        tmp_path,
        square,
        run((10, 10), (10.2, 10.1)),
        run((20, 20), (20, 20)),
        lambda s: s.add_circle((50, 50), 0.1, dxfattribs=OUT),
    )
    reading = inspect_drawing(path)
    assert sorted((item.kind, item.sentence) for item in reading.mended) == [
        (
            "dust",
            "Layer OUTLINE: 1 closed line of at most 0.5 mm was left out, at (50.10, 50.00) mm.",
        ),
        (
            "dust",
            "Layer OUTLINE: 1 stray line of at most 0.5 mm was left out, at (10.00, 10.00) mm.",
        ),
        ("no-length", "Layer OUTLINE: 1 line without length was left out, at (20.00, 20.00) mm."),
    ]
    assert area(reading) == pytest.approx(8000.0)


def test_several_are_said_as_several(tmp_path: Path) -> None:
    specks = [run((at, 10), (at + 0.2, 10)) for at in (10, 20, 30)]
    (mended,) = inspect_drawing(dxf(tmp_path, square, *specks)).mended
    assert mended.sentence == (
        "Layer OUTLINE: 3 stray lines of at most 0.5 mm were left out, the first at "
        "(10.00, 10.00) mm."
    )
    small = [lambda s, x=x: s.add_circle((x, 50), 1, dxfattribs=OUT) for x in (149, 159)]
    (question,) = inspect_drawing(dxf(tmp_path, square, *small)).questions
    assert "2 closed lines would be pieces of film" in question.sentence
    assert "5 mm, the first at (150.00, 50.00) mm, 2 mm across" in question.sentence


def test_of_very_many_gaps_the_widest_are_told_one_by_one(tmp_path: Path) -> None:
    turn = np.linspace(0, 2 * np.pi, 61)
    rim = np.column_stack((200 * np.cos(turn), 200 * np.sin(turn)))
    gaps = np.linspace(0.1, 0.4, 60)
    chords = [
        run(tuple(a), tuple(b - gap * (b - a) / np.hypot(*(b - a))))
        for a, b, gap in zip(rim, rim[1:], gaps, strict=False)
    ]
    reading = inspect_drawing(dxf(tmp_path, *chords))
    assert len(reading.mended) == 41
    *told, rest = (item.measure_mm for item in reading.mended)
    assert min(told) == pytest.approx(gaps[20], abs=1e-6)
    assert rest == pytest.approx(gaps[19], abs=1e-6)
    assert reading.mended[-1].sentence == "20 more gaps were closed, none wider than 0.197 mm."
    assert reading.drawing is not None
    assert len(reading.drawing.notes) == 41 + len(["piece 1 bears no name"])


def test_a_piece_too_small_to_be_one_is_asked(tmp_path: Path) -> None:
    path = dxf(tmp_path, square, lambda s: s.add_circle((150, 50), 1, dxfattribs=OUT))
    (question,) = inspect_drawing(path).questions
    assert question.kind == "small"
    assert len(read_drawing(path, answers={question.id: "keep"}).patterns) == 2


@pytest.mark.parametrize("state", ["off", "freeze"])
@pytest.mark.parametrize(("layer", "asked"), [("OUTLINE", True), ("GRID", False)])
def test_what_is_not_shown_is_left_out_or_asked(
    state: str, layer: str, asked: bool, tmp_path: Path
) -> None:
    document = ezdxf.new("R2010", units=4)
    square(document.modelspace()).dxf.layer = layer  # type: ignore[attr-defined]
    getattr(document.layers.add(layer), state)()
    document.modelspace().add_circle((300, 0), 50, dxfattribs={"layer": "CUTOUT"})
    document.modelspace().add_circle((300, 0), 90, dxfattribs={"layer": "Outline"})
    if layer == "OUTLINE":
        document.modelspace().delete_all_entities()
        square(document.modelspace())
        document.modelspace().add_circle((300, 0), 90, dxfattribs={"layer": "GRID"})
    document.saveas(tmp_path / "a.dxf")
    reading = inspect_drawing(tmp_path / "a.dxf")
    assert kinds(reading) == ["hidden"] * asked
    assert any("left out" in item.sentence for item in reading.mended)
    if asked:
        taken = read_drawing(tmp_path / "a.dxf", answers={reading.questions[0].id: "take"})
        assert pattern_area_mm2(taken.patterns[0]) == pytest.approx(8000.0)


def test_lines_that_rise_are_asked_and_level_ones_said(tmp_path: Path) -> None:
    steep = [(0, 0, 0), (100, 0, 40), (100, 80, 40), (0, 80, 0)]
    path = dxf(tmp_path, lambda s: s.add_polyline3d(steep, close=True, dxfattribs=OUT))
    (question,) = inspect_drawing(path).questions
    assert question.kind == "height"
    assert "40 mm" in question.sentence
    level = dxf(tmp_path, run(*CORNERS, CORNERS[0]), name="b.dxf")
    document = ezdxf.readfile(level)
    for line in document.modelspace():
        line.translate(0, 0, 5)
    document.saveas(level)
    assert inspect_drawing(level).questions == ()


def test_a_clipped_block_is_asked(tmp_path: Path) -> None:
    document = ezdxf.new("R2010", units=4)
    document.blocks.new("B").add_lwpolyline(CORNERS, close=True)
    insert = document.modelspace().add_blockref("B", (0, 0), dxfattribs=OUT)
    XClip(insert).set_block_clipping_path([(0, 0), (50, 0), (50, 50)])
    document.saveas(tmp_path / "a.dxf")
    reading = inspect_drawing(tmp_path / "a.dxf")
    assert kinds(reading) == ["clip"]
    with pytest.raises(DrawingError, match="was refused by the answer"):
        read_drawing(tmp_path / "a.dxf", answers={reading.questions[0].id: "refuse"})


def test_a_missing_block_is_said(tmp_path: Path) -> None:
    reading = inspect_drawing(dxf(tmp_path, square, lambda s: s.add_blockref("GONE", (0, 0))))
    (mended,) = reading.mended
    assert (mended.kind, "INSERT" in mended.sentence) == ("file", True)


def test_meshes_are_left_out_and_paper_space_alone_is_refused(tmp_path: Path) -> None:
    def mesh(space: Modelspace) -> None:
        space.add_polyface().append_face([(0, 0, 0), (1, 0, 0), (1, 1, 0)])

    reading = inspect_drawing(dxf(tmp_path, square, mesh))
    assert reading.drawing is not None
    assert any("1 mesh" in note for note in reading.drawing.notes)
    document = ezdxf.new("R2010", units=4)
    document.layout("Layout1").add_circle((0, 0), 50)
    document.saveas(tmp_path / "b.dxf")
    with pytest.raises(DrawingError, match="paper space only"):
        read_drawing(tmp_path / "b.dxf")


def test_signs_in_halves_do_not_come_through(tmp_path: Path) -> None:
    """Bytes that are no letters of the file's encoding come as halves of signs from the library."""
    path = dxf(tmp_path, square, lambda s: s.add_text("Nase", height=3).set_placement((50, 40)))
    path.write_bytes(path.read_bytes().replace(b"Nase", b"N\xe4se\xff"))
    (piece,) = read_drawing(path).patterns
    piece.name.encode("utf-8")
    assert piece.name.startswith("N")


@pytest.mark.parametrize("kind", ["clip-path", "mask"])
def test_clipped_lines_of_an_svg_are_asked(kind: str, tmp_path: Path) -> None:
    path = tmp_path / "a.svg"
    path.write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="100mm" height="100mm" viewBox="0 0 100 '
        f'100"><g id="OUTLINE"><rect width="50" height="50" style="{kind}: url(#a)"/></g></svg>'
    )
    assert kinds(inspect_drawing(path)) == ["clip"]


def test_the_command_line_asks_and_takes_answers(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = str(dxf(tmp_path, run((0, 0), (100, 0), (100, 80), (0, 80), (0, 3)), units=0))
    assert main(["check", path]) == 0
    said = capsys.readouterr().out
    assert "100.0 × 80.0 mm" in said
    assert "--answer unit=mm (likely)" in said
    assert "2 questions are open" in said
    layout = ["nest", path, "--width", "610", "--seconds", "0.2", "-o", str(tmp_path / "o.dxf")]
    assert main(layout) == 2
    assert "The file names no unit. Answer unit=mm" in capsys.readouterr().err
    assert not (tmp_path / "o.dxf").exists()
    assert main(["check", path, "--answer", "unit"]) == 2
    assert main(["check", path, "--answer", "unit=mm", "--answer", "unit=in"]) == 2
    assert main([*layout, "--answer", "all=default"]) == 0
    assert "a gap of 3 mm" in capsys.readouterr().out


def test_coordinates_far_out_keep_their_bend(tmp_path: Path) -> None:
    """A bulge on a short chord may belly out to where no film is."""
    rows = [(0, 0, 1e7), (50, 0, 0), (50, 50, 0), (0, 50, 0)]
    path = dxf(tmp_path, lambda s: s.add_lwpolyline(rows, "xyb", close=True, dxfattribs=OUT))
    with pytest.raises(DrawingError, match="unit right"):
        read_drawing(path)
