"""Statements of the guide that are numbers or mechanics, against the code."""

from pathlib import Path

import numpy as np
import pytest
import shapely

import pages
from layflat.cut import generic_machine, program, read_hpgl, simulate
from layflat.job.single import _FILL_MM
from layflat.nest import Request, Stock, layout_drawing, place
from layflat.papers.strain import _CARE_SHARE, _FAR_BEYOND
from layflat.pattern import bounds, read_drawing
from layflat.surface.cut import REACH_MM
from layflat.surface.mend import FILL_MM, STRAY_SHARE
from layflat.surface.polygons import MAX_TRIANGLES
from layflat.surface.read import LEAST_MM, MOST_MM

TEXT = " ".join(pages.GUIDE.read_text(encoding="utf-8").split())


@pytest.mark.parametrize(
    "statement",
    [
        f"less than {LEAST_MM:g} mm or more than {MOST_MM / 1000:g} m across",
        f"rims of up to {FILL_MM:g} mm round ({_FILL_MM:g} mm for `layflat flatten`)",
        f"each below {100 * STRAY_SHARE:g} % of the area",
        f"more than {MAX_TRIANGLES / 1e6:g} million triangles",
        f"may lie up to {REACH_MM:g} mm off the surface",
        f"over {100 * _CARE_SHARE:g} % of the surface is beyond the finger limit",
    ],
)
def test_the_guide_states_the_code_s_own_bounds(statement: str) -> None:
    assert statement in TEXT


def test_hard_begins_at_twice_the_stretch_limit() -> None:
    assert _FAR_BEYOND == 2.0
    assert "beyond twice the stretch limit" in TEXT


def test_words_of_the_fit_report_that_the_guide_explains_stand_on_it() -> None:
    papers = pages.ROOT / "src" / "layflat" / "papers"
    sheet = "".join((papers / name).read_text("utf-8") for name in ("templates/fit.typ", "fit.py"))
    for words in (
        "Goes on without visible stretch",
        "Needs care",
        "Hard to lay in one piece",
        "on 99 % of the surface, at most",
        "Car less flat",
    ):
        assert words in sheet
        assert words in TEXT


def test_a_test_cut_shows_a_wrong_offset_as_the_guide_says(tmp_path: Path) -> None:
    """Ears where the blade trails less than the file says, corners cut off where it trails more."""
    path = tmp_path / "test-cut.svg"
    path.write_text(pages.files(pages.GUIDE)["test-cut.svg"], encoding="utf-8")
    square, circle = read_drawing(path).patterns
    assert [np.ptp(np.reshape(bounds(p.outline), (2, 2)), axis=0).tolist()
            for p in (square, circle)] == [[20, 20], pytest.approx([10, 10])]  # fmt: skip
    stock = Stock(width_mm=610, edge_margin_mm=20)
    layout = place([Request(pattern=square)], stock, gap_mm=10, seconds=0.5, seed=1)
    drawing = layout_drawing(layout)
    machine = generic_machine()
    strokes = read_hpgl(program(drawing, machine).hpgl)
    x0, y0, x1, y1 = bounds(drawing.patterns[0].outline)
    corners = np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])

    def cut_with(blade_mm: float) -> np.ndarray:
        cuts = simulate(strokes, knife_offset_mm=blade_mm, step_mm=0.01).cuts
        return max(cuts, key=len)

    def stands_out_mm(tip: np.ndarray) -> float:
        # Lead-ins begin in the waste, too, but far from corners.
        away = np.hypot(*(tip[:, None, :] - corners).transpose(2, 0, 1)).min(axis=1)
        return float(
            shapely.distance(shapely.points(tip[away < 1.0]), shapely.box(x0, y0, x1, y1)).max()
        )

    def falls_short_mm(tip: np.ndarray) -> float:
        return min(float(np.hypot(*(tip - corner).T).min()) for corner in corners)

    offset = machine.knife_offset_mm
    right, less, more = (cut_with(offset + by) for by in (0.0, -0.1, 0.1))
    assert stands_out_mm(right) < 0.03
    assert falls_short_mm(right) < 0.03
    assert stands_out_mm(less) > 0.1
    assert falls_short_mm(more) == pytest.approx(0.1, abs=0.02)
    assert stands_out_mm(more) < 0.08
