"""Drawings come back as they went out, through DXF and through SVG."""

import re
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from flat_shapes import circle_edge, panel, polygon_edges
from layflat.base import DrawingError
from layflat.pattern import (
    Curve,
    Drawing,
    EdgeFinish,
    Finish,
    KeepOutShape,
    Mark,
    MarkKind,
    Pattern,
    dxf_text,
    from_flat,
    pattern_area_mm2,
    read_drawing,
    svg_text,
)

WRITERS: dict[str, Callable[[Drawing], str]] = {".dxf": dxf_text, ".svg": svg_text}


@pytest.fixture(scope="module")
def drawing() -> Drawing:
    """A piece with wraps, a keep-out and an opening."""
    corners = [(0.0, 0.0), (300.0, 0.0), (280.0, 220.0), (20.0, 240.0)]
    ring = circle_edge("grille", (100.0, 100.0), 30.0, step=4.0, clockwise=True)
    flat, region = panel(polygon_edges(corners), [ring])
    rim = np.array([(180.0, 90.0), (220.0, 90.0), (220.0, 120.0), (180.0, 120.0)])
    made = from_flat(
        flat,
        region,
        name="bonnet & co <1>",
        finishes=lambda _: EdgeFinish(Finish.WRAP, 8.0),
        keep_outs=[KeepOutShape("emblem", rim, 2.0)],
    )
    return Drawing(patterns=(made.pattern,))


@pytest.mark.parametrize("suffix", WRITERS)
def test_a_drawing_comes_back_to_a_millionth(suffix: str, drawing: Drawing, tmp_path: Path) -> None:
    path = tmp_path / f"a{suffix}"
    path.write_text(WRITERS[suffix](drawing), encoding="utf-8")
    (before,) = drawing.patterns
    (after,) = read_drawing(path).patterns
    assert after.name == before.name
    assert len(after.cut_outs) == len(before.cut_outs) == 2
    assert pattern_area_mm2(after) == pytest.approx(pattern_area_mm2(before), abs=1e-3)
    joints = after.outline.points_mm
    for point in before.outline.points_mm:
        assert np.hypot(*(joints - point).T).min() < 1e-6


@pytest.mark.parametrize("suffix", WRITERS)
def test_the_same_drawing_gives_the_same_bytes(suffix: str, drawing: Drawing) -> None:
    assert WRITERS[suffix](drawing) == WRITERS[suffix](drawing)


@pytest.mark.parametrize(
    "body",
    [
        '<path d="M 0 0 L 50 0 L 50 50"/>',
        '<path d="M 0 0 L 50 0 L 0 50 L 50 50 Z"/>',
        '<path d="M 0 0 L 50 0 L 100 0 Z"/>',
        '<use href="#a"/>',
        "",
    ],
    ids=["open", "crossing", "no-area", "use", "empty"],
)
def test_an_svg_that_is_no_sound_drawing_is_refused(body: str, tmp_path: Path) -> None:
    path = tmp_path / "a.svg"
    path.write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="100mm" height="100mm" '
        f'viewBox="0 0 100 100"><g id="OUTLINE">{body}</g></svg>'
    )
    with pytest.raises(DrawingError):
        read_drawing(path)


def test_entities_in_an_svg_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "a.svg"
    path.write_text(
        '<!DOCTYPE svg [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;">]>'
        '<svg xmlns="http://www.w3.org/2000/svg"><text>&b;</text></svg>'
    )
    with pytest.raises(DrawingError):
        read_drawing(path)


def test_a_name_is_not_written_over_a_mark() -> None:
    square = Curve(np.array([(0.0, 0.0), (200.0, 0.0), (200.0, 200.0), (0.0, 200.0)]), np.zeros(4))

    def label(*marks: Mark) -> tuple[float, float, float]:
        svg = svg_text(Drawing(patterns=(Pattern("bonnet", square, marks=marks),)))
        x, y, height = re.search(r'<text x="(.+?)" y="(.+?)" font-size="(.+?)">', svg).groups()
        return float(x), -float(y), float(height)

    assert label()[:2] == pytest.approx((100.0, 100.0), abs=1.0)
    x, y, height = label(Mark(MarkKind.ALIGN, np.array([(90.0, 100.0), (110.0, 100.0)])))
    # As wide as its letters are high, far more than any typeface takes.
    across, up = 0.5 * height * len("bonnet"), 0.5 * height
    assert abs(x - 100.0) > 10.0 + across or abs(y - 100.0) > up
    assert 0.0 < x - across < x + across < 200.0
