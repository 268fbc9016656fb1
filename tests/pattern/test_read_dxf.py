"""DXF files of strangers: read with what was assumed said, or refused with the place."""

import math
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path

import ezdxf
import numpy as np
import pytest
from ezdxf.layouts import Modelspace

from layflat.base import DrawingError, InputError, SettingError
from layflat.pattern import (
    Curve,
    Drawing,
    Mark,
    MarkKind,
    OpenQuestionsError,
    Pattern,
    Text,
    bounds,
    dxf_text,
    pattern_area_mm2,
    place,
    read_drawing,
)

SQUARE = [(0, 0), (50, 0), (50, 50), (0, 50)]
OUTLINE = {"layer": "OUTLINE"}
CUTOUT = {"layer": "CUTOUT"}
Draw = Callable[[Modelspace], object]


def written(path: Path, *draw: Draw, units: int = 4) -> Path:
    document = ezdxf.new("R2010", units=units)
    for one in draw:
        one(document.modelspace())
    document.saveas(path / "drawing.dxf")
    return path / "drawing.dxf"


def square(space: Modelspace) -> object:
    return space.add_lwpolyline(SQUARE, close=True, dxfattribs=OUTLINE)


def lines(*points: tuple[float, float], layer: str = "OUTLINE") -> Draw:
    def draw(space: Modelspace) -> None:
        for a, b in pairwise(points):
            space.add_line(a, b, dxfattribs={"layer": layer})

    return draw


def test_loose_lines_and_arcs_become_one_loop(tmp_path: Path) -> None:
    path = written(
        tmp_path,
        lines((0, 0), (40, 0)),
        lines((40, 20), (0, 20)),
        lambda s: s.add_arc((40, 10), 10, 270, 90, dxfattribs=OUTLINE),
        lambda s: s.add_arc((0, 10), 10, 90, 270, dxfattribs=OUTLINE),
    )
    drawing = read_drawing(path)
    (piece,) = drawing.patterns
    assert pattern_area_mm2(piece) == pytest.approx(800.0 + 100.0 * math.pi, rel=1e-9)
    assert bounds(piece.outline) == pytest.approx((-10.0, 0.0, 50.0, 20.0), abs=1e-9)
    assert not any("gaps" in note for note in drawing.notes)


def test_small_gaps_are_closed_and_said(tmp_path: Path) -> None:
    path = written(tmp_path, lines((0, 0), (50, 0), (50, 50)), lines((50, 50.03), (0, 50), (0, 0)))
    drawing = read_drawing(path)
    assert len(drawing.patterns) == 1
    assert any("widest was 0.03 mm" in note for note in drawing.notes)


@pytest.mark.parametrize(
    ("units", "factor"), [(1, 25.4), (4, 1.0), (5, 10.0), (6, 1000.0), (2, 304.8)]
)
def test_the_unit_of_the_file_counts(units: int, factor: float, tmp_path: Path) -> None:
    def small(space: Modelspace) -> None:
        corners = [(x / 5, y / 5) for x, y in SQUARE] if factor > 100 else SQUARE
        corners = [(x / 5, y / 5) for x, y in corners] if factor > 900 else corners
        space.add_lwpolyline(corners, close=True, dxfattribs=OUTLINE)

    drawing = read_drawing(written(tmp_path, small, units=units))
    side = {304.8: 10.0, 1000.0: 2.0}.get(factor, 50.0)
    assert bounds(drawing.patterns[0].outline)[2] == pytest.approx(side * factor)


def test_the_unit_of_a_file_without_one_is_asked(tmp_path: Path) -> None:
    path = written(tmp_path, square, units=0)
    with pytest.raises(OpenQuestionsError, match="names no unit"):
        read_drawing(path)
    drawing = read_drawing(path, answers={"unit": "mm"})
    assert bounds(drawing.patterns[0].outline)[2] == 50.0
    assert any("1 unit is 1 mm" in note for note in drawing.notes)
    inches = read_drawing(path, unit="in")
    assert bounds(inches.patterns[0].outline)[2] == pytest.approx(1270.0)


def test_pieces_are_told_apart_by_nesting_without_our_layers(tmp_path: Path) -> None:
    def draw(space: Modelspace) -> None:
        space.add_lwpolyline(SQUARE, close=True)
        space.add_circle((25, 25), 10)
        space.add_circle((25, 25), 4)
        space.add_text("flap", height=3).set_placement((10, 10))

    drawing = read_drawing(written(tmp_path, draw))
    assert [len(piece.cut_outs) for piece in drawing.patterns] == [1, 0]
    assert drawing.patterns[0].name == "flap"
    assert any("no layer OUTLINE" in note for note in drawing.notes)


def test_blocks_unfold_and_take_the_layer_they_are_put_on(tmp_path: Path) -> None:
    document = ezdxf.new("R2010", units=4)
    block = document.blocks.new("PIECE")
    block.add_lwpolyline([(0, 0, 0), (10, 0, 1), (10, 10, 0), (0, 10, 0)], "xyb", close=True)
    space = document.modelspace()
    space.add_blockref("PIECE", (0, 0), dxfattribs=OUTLINE)
    space.add_blockref("PIECE", (100, 0), dxfattribs={**OUTLINE, "rotation": 90, "xscale": -1})
    document.saveas(tmp_path / "drawing.dxf")
    one, two = read_drawing(tmp_path / "drawing.dxf").patterns
    assert pattern_area_mm2(one) == pytest.approx(100.0 + 12.5 * math.pi)
    assert pattern_area_mm2(two) == pytest.approx(100.0 + 12.5 * math.pi)


def test_a_plane_seen_from_below_is_mirrored(tmp_path: Path) -> None:
    below = {**OUTLINE, "extrusion": (0, 0, -1)}
    path = written(
        tmp_path,
        lambda s: s.add_lwpolyline(
            [(0, 0, 0.5), (50, 0, 0), (50, 50, 0), (0, 50, 0)], "xyb", close=True, dxfattribs=below
        ),
    )
    (piece,) = read_drawing(path).patterns
    assert bounds(piece.outline) == pytest.approx((-50.0, -12.5, 0.0, 50.0))
    assert pattern_area_mm2(piece) > 2500.0


def test_free_curves_become_chords_within_the_deviation(tmp_path: Path) -> None:
    path = written(
        tmp_path, lambda s: s.add_ellipse((0, 0), (60, 0), ratio=0.5, dxfattribs=OUTLINE)
    )
    drawing = read_drawing(path, deviation_mm=0.01)
    area = pattern_area_mm2(drawing.patterns[0])
    assert area == pytest.approx(math.pi * 60 * 30, abs=0.01 * 300)
    assert any("1 ELLIPSE became chords within 0.01 mm" in note for note in drawing.notes)


def test_what_is_no_line_is_left_out_and_said(tmp_path: Path) -> None:
    drawing = read_drawing(
        written(tmp_path, square, lambda s: s.add_solid([(0, 0), (1, 0), (0, 1)]))
    )
    assert any("1 SOLID" in note for note in drawing.notes)


BAD: dict[str, tuple[str, list[Draw]]] = {
    "open": (r"open at \(50.00, 50.00\)", [lines((0, 0), (50, 0), (50, 50), (0, 50), (0, 1))]),
    "three ends": ("3 line ends meet", [lines((0, 0), (50, 0), (50, 50), (0, 0), (-9, 9))]),
    "crossing": (
        r"touches itself at \(25.00, 25.00\)",
        [
            lambda s: s.add_lwpolyline(
                [(0, 0), (50, 50), (50, 0), (0, 50)], close=True, dxfattribs=OUTLINE
            )
        ],
    ),
    "no area": (
        "encloses no area",
        [lambda s: s.add_lwpolyline([(0, 0), (50, 0)], close=True, dxfattribs=OUTLINE)],
    ),
    "twice": (
        "drawn twice",
        [square, lambda s: s.add_lwpolyline(SQUARE, close=True, dxfattribs=CUTOUT)],
    ),
    "overlap": (
        "overlap at",
        [square, lambda s: s.add_circle((50, 25), 10, dxfattribs=OUTLINE)],
    ),
    "hole outside": (
        "does not lie inside a piece",
        [square, lambda s: s.add_circle((90, 25), 10, dxfattribs=CUTOUT)],
    ),
    "holes touch": (
        "touch or overlap",
        [
            square,
            lambda s: s.add_circle((20, 25), 8, dxfattribs=CUTOUT),
            lambda s: s.add_circle((30, 25), 8, dxfattribs=CUTOUT),
        ],
    ),
    "empty": ("no closed line", []),
    "far out": (
        "is the drawing's unit right",
        [lambda s: s.add_circle((0, 0), 3e6, dxfattribs=OUTLINE)],
    ),
    "tilted": (
        "does not lie in the plane",
        [lambda s: s.add_circle((0, 0), 9, dxfattribs={**OUTLINE, "extrusion": (0, 1, 1)})],
    ),
    "long text": ("letters", [square, lambda s: s.add_text("a" * 2000)]),
}


@pytest.mark.parametrize("case", BAD)
def test_a_drawing_that_makes_no_sense_is_refused_with_its_place(case: str, tmp_path: Path) -> None:
    words, draw = BAD[case]
    if case == "open":
        words = "the line is open at"
    with pytest.raises(DrawingError, match=words):
        read_drawing(written(tmp_path, *draw))


@pytest.mark.parametrize("share", [0.05, 0.3, 0.6, 0.95])
def test_a_truncated_file_is_refused(share: float, tmp_path: Path) -> None:
    text = written(tmp_path, square).read_text()
    path = tmp_path / "cut.dxf"
    path.write_text(text[: int(share * len(text))])
    with pytest.raises(InputError):
        read_drawing(path)


@pytest.mark.parametrize("data", [b"", b"hello\nworld\n", bytes(range(256)) * 9])
def test_what_is_no_dxf_is_refused(data: bytes, tmp_path: Path) -> None:
    path = tmp_path / "no.dxf"
    path.write_bytes(data)
    with pytest.raises(InputError):
        read_drawing(path)


def test_missing_files_other_kinds_and_options_are_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="does not exist"):
        read_drawing(tmp_path / "none.dxf")
    (tmp_path / "a.txt").write_text("a")
    with pytest.raises(DrawingError, match="neither"):
        read_drawing(tmp_path / "a.txt")
    path = written(tmp_path, square)
    for options in ({"unit": "ell"}, {"join_mm": -1.0}, {"deviation_mm": 0.0}):
        with pytest.raises(SettingError):
            read_drawing(path, **options)  # type: ignore[arg-type]


@pytest.mark.parametrize("name", ["hood", "50 %%d ^ 7", "Spiegel äöü <&>", "a" * 80])
def test_names_marks_stock_and_texts_come_back(name: str, tmp_path: Path) -> None:
    tongue = Curve(np.array(SQUARE, float), np.array([0.0, 0.3, 0.0, -0.2]))
    marks = (
        Mark(MarkKind.NOTCH, np.array([[24.0, -1.0], [25.0, -2.5], [26.0, -1.0]])),
        Mark(MarkKind.ALIGN, np.array([[-1.0, 25.0], [-3.0, 25.0]]), "centre"),
        Mark(MarkKind.NUMBER, np.array([[25.0, -8.0]]), "7"),
    )
    first = Pattern(name, tongue, marks=marks)
    stock = Curve(np.array([[-50, -50], [400, -50], [400, 90], [-50, 90]], float), np.zeros(4))
    drawing = Drawing(
        patterns=(first, place(Pattern("other", tongue), x_mm=200.0, turn_deg=33.0)),
        stock=(stock,),
        texts=(Text(np.array([390.0, 80.0]), "section 1"),),
    )
    path = tmp_path / "a.dxf"
    path.write_text(dxf_text(drawing), encoding="utf-8")
    back = read_drawing(path)
    assert [piece.name for piece in back.patterns] == [name, "other"]
    for before, after in zip(drawing.patterns, back.patterns, strict=True):
        np.testing.assert_array_equal(after.outline.points_mm, before.outline.points_mm)
        np.testing.assert_array_equal(after.outline.bulges, before.outline.bulges)
    kept = sorted((mark.kind, mark.text) for mark in back.patterns[0].marks)
    assert kept == sorted((mark.kind, mark.text) for mark in marks)
    np.testing.assert_array_equal(back.stock[0].points_mm, stock.points_mm)
    assert [text.text for text in back.texts] == ["section 1"]
    assert back.notes == ()
