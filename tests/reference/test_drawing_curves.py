"""Free curves, blocks and clones of drawings against facts and libraries that are not ours.

A circle as a NURBS of degree 2 has the weights 1 and √2/2 (L. Piegl, W. Tiller, The NURBS Book,
chapter 7; from memory). The perimeter of an ellipse is 4 a E(m), m = 1 - b²/a² (NIST Digital
Library of Mathematical Functions, 19.9; the integral is scipy's). A B-spline is a curve between
its knots number p and n + 1 only, by the recursion of Cox and de Boor, which is written out here.
`ezdxf` unfolds blocks and flattens, `svgelements` draws path data, shapely finds the polygons.
"""

import math
import re
from pathlib import Path

import ezdxf
import numpy as np
import pytest
from ezdxf.disassemble import recursive_decompose
from ezdxf.path import make_path
from scipy.special import ellipe
from shapely import LineString, Polygon, unary_union
from shapely.ops import polygonize
from svgelements import Path as SvgPath

from layflat.base import FloatArray
from layflat.pattern import (
    Drawing,
    Mark,
    MarkKind,
    Pattern,
    Text,
    curve_length_mm,
    dxf_text,
    pattern_area_mm2,
    place,
    read_drawing,
    svg_text,
    to_polygon,
)
from layflat.pattern.free_curves import spline_chords
from pattern.truth import Loop, good_drawing

pytestmark = pytest.mark.on_sqlite
OUT = {"layer": "OUTLINE"}
HALF = math.sqrt(0.5)


@pytest.mark.parametrize("deviation", [0.1, 0.01, 0.002])
def test_a_circle_of_weights_is_round_within_the_deviation(deviation: float) -> None:
    ring = [(1, 0), (1, 1), (0, 1), (-1, 1), (-1, 0), (-1, -1), (0, -1), (1, -1), (1, 0)]
    controls = 300.0 * np.column_stack((ring, np.zeros(9)))
    knots = np.array([0, 0, 0, 1, 1, 2, 2, 3, 3, 4, 4, 4.0])
    weights = np.array([1.0, HALF] * 4 + [1.0])
    points = spline_chords(controls, knots, weights, degree=2, deviation=deviation, source="SPLINE")
    radii = np.hypot(*points[:, :2].T)
    np.testing.assert_allclose(radii, 300.0, rtol=1e-12)
    middles = np.hypot(*(0.5 * (points[1:] + points[:-1]))[:, :2].T)
    assert 300.0 - middles.min() <= deviation
    assert len(points) < 4.5 * math.pi / math.sqrt(8 * deviation / 300.0)


@pytest.mark.parametrize(("a", "b"), [(60.0, 30.0), (400.0, 12.0), (50.0, 50.0)])
def test_the_length_of_an_ellipse_is_that_of_the_integral(
    a: float, b: float, tmp_path: Path
) -> None:
    document = ezdxf.new("R2010", units=4)
    document.modelspace().add_ellipse((5, 7), (0, a), ratio=b / a, dxfattribs=OUT)
    document.saveas(tmp_path / "a.dxf")
    (piece,) = read_drawing(tmp_path / "a.dxf", deviation_mm=0.001).patterns
    exact = 4 * a * float(ellipe(1 - (b / a) ** 2))
    assert curve_length_mm(piece.outline) == pytest.approx(exact, rel=1e-5)
    assert pattern_area_mm2(piece) == pytest.approx(math.pi * a * b, rel=1e-4)


def cox_de_boor(i: int, degree: int, t: float, knots: list[float]) -> float:
    if degree == 0:
        return float(knots[i] <= t < knots[i + 1])
    found = 0.0
    if knots[i + degree] > knots[i]:
        share = (t - knots[i]) / (knots[i + degree] - knots[i])
        found += share * cox_de_boor(i, degree - 1, t, knots)
    if knots[i + degree + 1] > knots[i + 1]:
        share = (knots[i + degree + 1] - t) / (knots[i + degree + 1] - knots[i + 1])
        found += share * cox_de_boor(i + 1, degree - 1, t, knots)
    return found


def test_a_spline_that_is_not_clamped_is_read_between_its_inner_knots(tmp_path: Path) -> None:
    """A closed cubic with uniform knots; outside of them its basis sums to less than 1."""
    corners = [(0, 0), (90, 0), (120, 70), (60, 120), (-20, 80)]
    controls = [*corners, *corners[:3]]
    knots = [float(k) for k in range(len(controls) + 4)]
    document = ezdxf.new("R2010", units=4)
    spline = document.modelspace().add_spline(degree=3, dxfattribs=OUT)
    spline.control_points, spline.knots = controls, knots
    document.saveas(tmp_path / "a.dxf")
    (piece,) = read_drawing(tmp_path / "a.dxf", deviation_mm=0.001).patterns
    exact = np.array(
        [
            sum(
                cox_de_boor(i, 3, t, knots) * np.array(point, dtype=float)
                for i, point in enumerate(controls)
            )
            for t in np.linspace(3, len(controls), 120, endpoint=False)
        ]
    )
    away = Polygon(exact).boundary.hausdorff_distance(to_polygon(piece).boundary)
    assert away < 0.15
    assert pattern_area_mm2(piece) == pytest.approx(Polygon(exact).area, rel=2e-3)


def test_blocks_come_in_as_ezdxf_unfolds_and_flattens_them(tmp_path: Path) -> None:
    document = ezdxf.new("R2010", units=4)
    inner = document.blocks.new("INNER")
    inner.add_lwpolyline([(0, 0, 0.4), (40, 0, 0), (40, 25, -0.3), (0, 25, 0)], "xyb", close=True)
    ring = [
        (90, 0),
        (90, 20),
        (70, 20),
        (50, 20),
        (50, 0),
        (50, -20),
        (70, -20),
        (90, -20),
        (90, 0),
    ]
    knots = [0, 0, 0, 1, 1, 2, 2, 3, 3, 4, 4, 4]
    inner.add_rational_spline(ring, [1, HALF] * 4 + [1], degree=2, knots=knots)
    outer = document.blocks.new("OUTER")
    outer.add_blockref("INNER", (10, 5), dxfattribs={"rotation": 25, "xscale": 2, "yscale": 0.7})
    outer.add_circle((-60, 0), 15)
    space = document.modelspace()
    for at, attributes in (
        ((0, 0), {"xscale": -1, "yscale": 1.5, "rotation": 40}),
        ((600, 100), {"extrusion": (0, 0, -1)}),
        ((0, 900), {"row_count": 2, "column_count": 2, "row_spacing": 300, "column_spacing": 300}),
    ):
        space.add_blockref("OUTER", at, dxfattribs={**OUT, **attributes})
    document.saveas(tmp_path / "a.dxf")
    ours = [to_polygon(piece) for piece in read_drawing(tmp_path / "a.dxf").patterns]
    lines = []
    for entity in recursive_decompose(space):
        if entity.dxftype() != "INSERT":
            points = np.array([(v.x, v.y) for v in make_path(entity).flattening(0.001)])
            lines.append(LineString(points.round(6)))
    # What is stretched unequally comes out of the library in loose lines and arcs.
    theirs = list(polygonize(unary_union(lines)))
    assert len(ours) == len(theirs) == 6 * 3
    for polygon in ours:
        away = [polygon.boundary.hausdorff_distance(other.boundary) for other in theirs]
        assert min(away) < 0.05


def test_clones_and_transformations_come_in_as_svgelements_has_them(tmp_path: Path) -> None:
    body = """
      <defs><path id="p" d="M0 0 C 30 -20 60 20 80 0 L 80 50 A 40 25 10 0 1 0 50 Z"/>
      <g id="g" transform="skewX(12)"><use href="#p" x="5" y="3"/></g></defs>
      <g id="OUTLINE"><use href="#g" transform="matrix(0.8 0.3 -0.2 1.1 100 50)"/>
      <g transform="translate(300 20) scale(1.5 -0.8)"><use href="#g"/>
      <rect x="130" y="-60" width="70" height="40" rx="9" transform="rotate(20 150 -40)"/></g></g>
    """
    path = tmp_path / "a.svg"
    size = 'width="1000mm" height="1000mm" viewBox="0 0 1000 1000"'
    path.write_text(f'<svg xmlns="http://www.w3.org/2000/svg" {size}>{body}</svg>')
    ours = sorted(to_polygon(piece).area for piece in read_drawing(path).patterns)
    shape = SvgPath(re.search(r' d="([^"]*)"', body)[1])  # type: ignore[index]
    plain = [shape.point(t) for t in np.linspace(0, 1, 6_001)]
    area = Polygon([(point.x, point.y) for point in plain]).area
    rounded = 70 * 40 - (4 - math.pi) * 9**2
    # An affine map multiplies areas by its determinant; a skew's is 1.
    exact = sorted([area * (0.8 * 1.1 + 0.3 * 0.2), area * 1.5 * 0.8, rounded * 1.5 * 0.8])
    assert ours == pytest.approx(exact, rel=1e-3)


def dressed(loops: list[Loop], rng: np.random.Generator) -> Drawing:
    """A good drawing as our own, with marks, a stock and names that are hard to write."""
    names = ["Häube é “A”", "50 %%d ^ 7", "x" * 80]
    outlines = [loop for loop in loops if not loop.hole]
    patterns = []
    for i, outline in enumerate(outlines):
        holes = tuple(loop.curve for loop in loops if loop.hole and loop.name == outline.name)
        at = outline.curve.points_mm[0]
        marks = (
            Mark(MarkKind.NOTCH, at + np.array([[0.0, 0.0], [1.0, 2.0]])),
            Mark(MarkKind.ALIGN, at + rng.uniform(-3, 3, (3, 2)), "line up"),
        )
        patterns.append(Pattern(names[i], outline.curve, holes, marks))
    moved = [place(pattern, x_mm=12.345678, y_mm=-7.0, turn_deg=33.0) for pattern in patterns]
    return Drawing(tuple(moved), texts=(Text(np.array([-500.0, 900.0]), "Rest é"),))


@pytest.mark.parametrize("seed", range(2))
def test_written_drawings_pass_the_audit_and_come_back(seed: int, tmp_path: Path) -> None:
    rng = np.random.default_rng(seed)
    drawing = dressed(good_drawing(rng), rng)
    for suffix, text in ((".dxf", dxf_text(drawing)), (".svg", svg_text(drawing))):
        path = tmp_path / f"a{suffix}"
        path.write_text(text, encoding="utf-8")
        if suffix == ".dxf":
            auditor = ezdxf.readfile(path).audit()
            assert (auditor.errors, auditor.fixes) == ([], [])
        back = read_drawing(path)
        assert [p.name for p in back.patterns] == [p.name for p in drawing.patterns]
        for before, after in zip(drawing.patterns, back.patterns, strict=True):
            for one, two in zip(
                (before.outline, *before.cut_outs), (after.outline, *after.cut_outs), strict=True
            ):
                assert farthest(one.points_mm, two.points_mm) < 1e-6
            assert pattern_area_mm2(after) == pytest.approx(pattern_area_mm2(before), abs=1e-2)
            assert sorted((m.kind, m.text) for m in after.marks) == sorted(
                (m.kind, m.text) for m in before.marks
            )
        assert [text.text for text in back.texts] == ["Rest é"]
        assert back.notes == ()


def farthest(one: FloatArray, two: FloatArray) -> float:
    """From each of *one* to its nearest of *two*; the file may hold more joints."""
    return float(np.hypot(*(one[:, None] - two[None]).transpose(2, 0, 1)).min(axis=1).max())


def test_an_empty_drawing_passes_the_audit_too(tmp_path: Path) -> None:
    (tmp_path / "a.dxf").write_text(dxf_text(Drawing(patterns=())), encoding="utf-8")
    auditor = ezdxf.readfile(tmp_path / "a.dxf").audit()
    assert (auditor.errors, auditor.fixes) == ([], [])
