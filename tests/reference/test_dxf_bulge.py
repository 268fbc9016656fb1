"""Bulges and units of DXF against the reference, closed forms and the helpers of ezdxf.

Group 42 of a polyline vertex is the tangent of a quarter of the included angle, negative if the
arc goes clockwise from the start to the end (Autodesk, ActiveX reference, GetBulge). Radius
c (1 + b²) / (4 |b|) and sagitta |b| c / 2 for a chord c follow from it.
"""

import math
from pathlib import Path

import ezdxf
import numpy as np
import pytest
from ezdxf.math import arc_to_bulge, bulge_center, bulge_radius, bulge_to_arc
from ezdxf.units import conversion_factor

from layflat.pattern import (
    Curve,
    Drawing,
    Pattern,
    bounds,
    curve_area_mm2,
    curve_length_mm,
    dxf_text,
    pattern_area_mm2,
    read_drawing,
    sample,
)
from layflat.pattern.dxf_open import MM_PER_INSUNITS

TABLE = [
    (45.0, 0.198912367),
    (90.0, 0.414213562),
    (-90.0, -0.414213562),
    (120.0, 0.577350269),
    (180.0, 1.0),
    (270.0, 2.414213562),
]
"""Included angles in degrees and their bulges: tan(θ/4), to nine digits."""


def lens(bulge: float, chord: float = 1.0) -> Curve:
    """One arc over a chord along the x axis, closed by that chord."""
    return Curve(np.array([[0.0, 0.0], [chord, 0.0]]), np.array([bulge, 0.0]))


@pytest.mark.parametrize(("angle_deg", "bulge"), TABLE)
def test_an_arc_has_the_radius_and_sagitta_of_its_bulge(angle_deg: float, bulge: float) -> None:
    chord, theta = 80.0, abs(math.radians(angle_deg))
    radius = chord * (1 + bulge**2) / (4 * abs(bulge))
    assert radius == pytest.approx(chord / (2 * math.sin(theta / 2)), rel=1e-8)
    curve = lens(bulge, chord)
    assert curve_length_mm(curve) == pytest.approx(radius * theta + chord, rel=1e-8)
    segment = radius**2 * (theta - math.sin(theta)) / 2
    assert curve_area_mm2(curve) == pytest.approx(math.copysign(segment, bulge), rel=1e-8)
    # Counter-clockwise the arc bellies out to the right of its chord: here downwards.
    _, low, _, high = bounds(curve)
    assert (low if bulge > 0 else high) == pytest.approx(-bulge * chord / 2, rel=1e-8)


@pytest.mark.parametrize(("angle_deg", "bulge"), TABLE)
def test_ezdxf_draws_the_same_arc(angle_deg: float, bulge: float) -> None:
    chord = 80.0
    centre = bulge_center((0, 0), (chord, 0), bulge)
    radius = bulge_radius((0, 0), (chord, 0), bulge)
    points = sample(lens(bulge, chord), deviation_mm=0.01)
    away = np.hypot(points[:, 0] - centre.x, points[:, 1] - centre.y)
    np.testing.assert_allclose(away, radius, rtol=1e-8)
    _, start, end, _ = bulge_to_arc((0, 0), (chord, 0), bulge)
    assert math.degrees(end - start) % 360 == pytest.approx(abs(angle_deg) % 360, abs=1e-6)
    if bulge > 0:
        back = arc_to_bulge(centre, start, end, radius)[2]
        assert back == pytest.approx(bulge, rel=1e-8)


@pytest.mark.parametrize(("angle_deg", "bulge"), [row for row in TABLE if 0 < row[0] < 270])
def test_bulges_come_out_of_a_file_as_they_went_in(
    angle_deg: float, bulge: float, tmp_path: Path
) -> None:
    outline = Curve(
        np.array([[0.0, 0.0], [80.0, 0.0], [80.0, 60.0], [0.0, 60.0]]),
        np.array([bulge, 0.0, 0.0, 0.0]),
    )
    path = tmp_path / "arc.dxf"
    path.write_text(dxf_text(Drawing((Pattern("arc", outline),))))
    (line,) = ezdxf.readfile(path).modelspace().query("LWPOLYLINE[layer=='OUTLINE']")
    assert [row[0] for row in line.get_points("b")] == pytest.approx([bulge, 0, 0, 0])
    (back,) = read_drawing(path).patterns
    radius, theta = bulge_radius((0, 0), (80, 0), bulge), math.radians(angle_deg)
    area = 80.0 * 60.0 + radius**2 * (theta - math.sin(theta)) / 2
    assert pattern_area_mm2(back) == pytest.approx(area, rel=1e-9)


def test_units_of_the_header_are_those_of_ezdxf() -> None:
    """$INSUNITS (Autodesk, DXF reference, header variables), enumerated by ezdxf."""
    inches = {8: 1e-6, 9: 1e-3}
    for number, size in MM_PER_INSUNITS.items():
        # The library has the metre as 39.3700787 in, and no factors for microinches and mils.
        wanted = inches[number] * 25.4 if number in inches else conversion_factor(number, 4)
        assert size == pytest.approx(wanted, rel=1e-8), number


@pytest.mark.parametrize(("number", "size"), [(1, 25.4), (2, 304.8), (4, 1.0), (5, 10.0), (6, 1e3)])
def test_a_square_in_any_unit_comes_in_as_millimetres(
    number: int, size: float, tmp_path: Path
) -> None:
    document = ezdxf.new("R2010", units=number)
    side = 2 if size > 100 else 20
    corners = [(0, 0), (side, 0), (side, side), (0, side)]
    document.modelspace().add_lwpolyline(corners, close=True, dxfattribs={"layer": "OUTLINE"})
    document.saveas(tmp_path / "square.dxf")
    (square,) = read_drawing(tmp_path / "square.dxf").patterns
    assert pattern_area_mm2(square) == pytest.approx((side * size) ** 2)
