"""A layout as a drawing, out to DXF and back in."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from shapely import Point

from layflat.nest import layout_drawing, placed_pattern
from layflat.pattern import bounds, dxf_text, read_drawing, to_polygon
from nest.pieces import two_hooks


def test_every_section_is_a_stock_rectangle_over_the_whole_width() -> None:
    drawing = layout_drawing(two_hooks())
    (rectangle,) = drawing.stock
    assert bounds(rectangle) == (0.0, 0.0, 110.0, 135.0)


def test_pieces_lie_where_their_placements_say() -> None:
    """The second hook is turned by 180° about its origin, which lies at (100, 115)."""
    second = placed_pattern(two_hooks().placements[1])
    assert second.name == "2 hook"
    assert bounds(second.outline) == pytest.approx((10, 55, 100, 115))
    polygon = to_polygon(second)
    assert polygon.covers(Point(15, 110))
    assert not polygon.covers(Point(15, 60))


def test_a_mirrored_piece_is_mirrored_before_it_is_turned() -> None:
    placement = replace(two_hooks().placements[0], mirrored=True, turn_deg=90.0, x_mm=0, y_mm=0)
    moved = placed_pattern(placement)
    # (90, 0) is mirrored to (-90, 0) and turned to (0, -90); (0, 60) goes to (-60, 0).
    assert bounds(moved.outline) == pytest.approx((-60, -90, 0, 0))


def test_names_with_numbers_are_unique() -> None:
    names = [pattern.name for pattern in layout_drawing(two_hooks()).patterns]
    assert names == ["1 hook", "2 hook"]


def test_a_layout_comes_back_from_dxf_as_it_went_out(tmp_path: Path) -> None:
    drawing = layout_drawing(two_hooks())
    path = tmp_path / "layout.dxf"
    path.write_text(dxf_text(drawing), encoding="utf-8")
    back = read_drawing(path)
    assert [pattern.name for pattern in back.patterns] == ["1 hook", "2 hook"]
    assert bounds(back.stock[0]) == (0.0, 0.0, 110.0, 135.0)
    for went, came in zip(drawing.patterns, back.patterns, strict=True):
        np.testing.assert_allclose(bounds(came.outline), bounds(went.outline), atol=1e-6)
        assert to_polygon(came).symmetric_difference(to_polygon(went)).area < 1e-3


def test_the_same_layout_gives_the_same_drawing_byte_for_byte() -> None:
    assert dxf_text(layout_drawing(two_hooks())) == dxf_text(layout_drawing(two_hooks()))
