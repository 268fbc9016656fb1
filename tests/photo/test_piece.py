"""A traced template as a piece: what drawings, layouts and cut programs make of it."""

from pathlib import Path

import numpy as np
import pytest
import shapely

from layflat.cut import generic_machine, program
from layflat.nest import Request, Stock, layout_drawing, place
from layflat.pattern import curve_area_mm2, dxf_text, read_drawing, svg_text
from layflat.photo import STRAIN_UNKNOWN, Traced, drawing_of, pattern_of, trace
from photo.bad import seen, small


@pytest.fixture(scope="module")
def traced() -> Traced:
    hole = shapely.Point(-30.0, 0.0).buffer(15.0, quad_segs=64)
    return trace(seen(small(holes=(hole,), crosses=((40.0, 10.0),))))


def test_the_piece_says_that_its_strain_is_unknown(traced: Traced) -> None:
    drawing = drawing_of(traced, name="cap")
    assert drawing.notes[-1] == STRAIN_UNKNOWN
    assert drawing.notes[:-1] == traced.notes
    (piece,) = drawing.patterns
    assert piece.edges == ()
    assert curve_area_mm2(piece.outline) > 0.0 > curve_area_mm2(piece.cut_outs[0])
    assert [mark.text for mark in piece.marks] == ["cross", "cross"]
    middle = np.mean([mark.points_mm.mean(axis=0) for mark in piece.marks], axis=0)
    np.testing.assert_allclose(middle, (40.0, 10.0), atol=0.1)


def test_its_drawing_comes_back_from_a_file(traced: Traced, tmp_path: Path) -> None:
    drawing = drawing_of(traced, name="cap")
    for name, text in (("cap.dxf", dxf_text(drawing)), ("cap.svg", svg_text(drawing))):
        (tmp_path / name).write_text(text)
        (back,) = read_drawing(tmp_path / name, unit="mm").patterns
        assert back.name == "cap"
        assert curve_area_mm2(back.outline) == pytest.approx(
            curve_area_mm2(drawing.patterns[0].outline), rel=1e-6
        )
        assert len(back.cut_outs) == 1


def test_it_is_laid_out_and_cut_like_any_other(traced: Traced) -> None:
    pattern = pattern_of(traced, name="cap")
    layout = place(
        [Request(pattern=pattern)], Stock(width_mm=400.0, edge_margin_mm=20.0, end_margin_mm=5.0),
        gap_mm=4.0, seconds=0.2, seed=1,
    )  # fmt: skip
    cut = program(layout_drawing(layout), generic_machine())
    assert cut.tip_error.max_away_mm < 0.1
    assert len(cut.sections) == 1
