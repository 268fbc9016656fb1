"""Lengths, view boxes and elliptical arcs of SVG against the standards and svgelements.

Absolute lengths: W3C, CSS Values and Units Module Level 3, section 6.2 (1 in = 2.54 cm = 96 px,
1 pt = 1/72 in, 1 pc = 12 pt, 1 Q = 1/4 mm). View boxes: W3C, SVG 1.1, section 7.7, and SVG 2,
section 8.6; the lesser scale goes where proportions are kept (7.8). Arcs: SVG 1.1, appendix F.6.
The section numbers are from memory.
"""

import math
from pathlib import Path

import numpy as np
import pytest
from svgelements import Length
from svgelements import Path as SvgPath

from layflat.base import FloatArray
from layflat.pattern import Pattern, bounds, inspect_drawing, pattern_area_mm2, to_polygon
from layflat.pattern.arcs import distances_to_curve

UNITS = [
    ("in", 25.4),
    ("cm", 10.0),
    ("mm", 1.0),
    ("Q", 0.25),
    ("pt", 25.4 / 72),
    ("pc", 12 * 25.4 / 72),
    ("px", 25.4 / 96),
]


def only_piece(path: Path, body: str, attributes: str = "") -> Pattern:
    path.write_text(f'<svg xmlns="http://www.w3.org/2000/svg" {attributes}>{body}</svg>')
    drawing = inspect_drawing(path).drawing
    assert drawing is not None
    (piece,) = drawing.patterns
    return piece


@pytest.mark.parametrize(("unit", "mm"), UNITS)
def test_a_length_is_as_css_has_it(unit: str, mm: float, tmp_path: Path) -> None:
    body = f'<rect id="OUTLINE" width="50{unit}" height="40{unit}"/>'
    piece = only_piece(tmp_path / "unit.svg", body)
    x0, y0, x1, y1 = bounds(piece.outline)
    assert (x1 - x0, y1 - y0) == pytest.approx((50 * mm, 40 * mm), rel=1e-9)
    if unit != "Q":
        pixels = float(Length(f"50{unit}").value(ppi=96.0))
        assert pixels / 96 * 25.4 == pytest.approx(50 * mm, rel=1e-5)


@pytest.mark.parametrize(("unit", "mm"), UNITS)
def test_a_view_box_scales_to_the_size_of_the_drawing(unit: str, mm: float, tmp_path: Path) -> None:
    size = f'width="300{unit}" height="200{unit}" viewBox="-10 -10 150 100"'
    piece = only_piece(tmp_path / "box.svg", '<rect id="OUTLINE" width="60" height="30"/>', size)
    assert pattern_area_mm2(piece) == pytest.approx(60 * 30 * (2 * mm) ** 2, rel=1e-9)


@pytest.mark.parametrize(("width", "height", "scale"), [(200, 100, 1.0), (100, 400, 1.0)])
def test_a_box_of_other_proportions_takes_the_lesser_scale(
    width: int, height: int, scale: float, tmp_path: Path
) -> None:
    size = f'width="{width}mm" height="{height}mm" viewBox="0 0 100 100"'
    piece = only_piece(tmp_path / "box.svg", '<rect id="OUTLINE" width="60" height="30"/>', size)
    assert pattern_area_mm2(piece) == pytest.approx(60 * 30 * scale**2, rel=1e-9)


MM = 'width="200mm" height="200mm" viewBox="0 0 200 200"'


def ellipse_of_the_appendix(
    start: complex, rx: float, ry: float, turn_deg: float, large: int, sweep: int, end: complex
) -> FloatArray:
    """(n, 2) points of an arc by SVG 1.1, F.6.5 and F.6.6, written out step by step."""
    phi = math.radians(turn_deg)
    half = 0.5 * (start - end) * complex(math.cos(phi), -math.sin(phi))
    x, y = half.real, half.imag
    over = x * x / rx**2 + y * y / ry**2
    if over > 1:
        rx, ry = math.sqrt(over) * rx, math.sqrt(over) * ry
    rest = max(0.0, (rx * ry) ** 2 / ((rx * y) ** 2 + (ry * x) ** 2) - 1.0)
    sign = -1.0 if large == sweep else 1.0
    cx, cy = (sign * math.sqrt(rest) * value for value in (rx * y / ry, -ry * x / rx))
    one = math.atan2((y - cy) / ry, (x - cx) / rx)
    two = math.atan2((-y - cy) / ry, (-x - cx) / rx)
    delta = (two - one) % (2 * math.pi) - (0 if sweep else 2 * math.pi)
    t = one + delta * np.linspace(0, 1, 201)
    local = cx + rx * np.cos(t) + 1j * (cy + ry * np.sin(t))
    points = local * complex(math.cos(phi), math.sin(phi)) + 0.5 * (start + end)
    return np.column_stack((points.real, points.imag))


@pytest.mark.parametrize("large", [0, 1])
@pytest.mark.parametrize("sweep", [0, 1])
@pytest.mark.parametrize(
    ("rx", "ry", "turn_deg"), [(40, 40, 0), (60, 30, 0), (60, 35, 30), (45, 70, -50), (5, 3, 20)]
)
def test_an_elliptical_arc_is_that_of_the_appendix(
    rx: float, ry: float, turn_deg: float, sweep: int, large: int, tmp_path: Path
) -> None:
    """The last radii are too small for their ends: F.6.6 makes them as large as they need be."""
    start, end = 70 + 90j, 120 + 80j
    words = f"M70 90 A{rx} {ry} {turn_deg} {large} {sweep} 120 80 Z"
    piece = only_piece(tmp_path / "arc.svg", f'<path id="OUTLINE" d="{words}"/>', MM)
    wanted = ellipse_of_the_appendix(start, rx, ry, turn_deg, large, sweep, end)
    assert distances_to_curve(wanted * [1, -1], piece.outline).max() < 0.021
    x, y = wanted.T
    area = abs(0.5 * float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y)))
    assert to_polygon(piece).area == pytest.approx(area, abs=0.02 * to_polygon(piece).length)
    arc = SvgPath(words)[1]
    second = np.array([arc.point(t) for t in np.linspace(0, 1, 50)])
    assert distances_to_curve(second * [1, -1], piece.outline).max() < 0.021
