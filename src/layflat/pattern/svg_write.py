"""Drawings out to SVG: one user unit is one millimetre, one group per layer."""

import math
from xml.sax.saxutils import escape, quoteattr

import numpy as np

from layflat.pattern.curve import bounds
from layflat.pattern.drawing import Drawing, Layer, Text, name_label
from layflat.pattern.piece import Curve, Mark, MarkKind

_BORDER_MM = 10.0
_STYLE = {
    Layer.STOCK: 'fill="none" stroke="#8a8478" stroke-width="0.6" stroke-dasharray="6 3"',
    Layer.OUTLINE: 'fill="none" stroke="#1f1d1a" stroke-width="0.5"',
    Layer.CUTOUT: 'fill="none" stroke="#1f1d1a" stroke-width="0.35"',
    Layer.MARK: 'fill="none" stroke="#0072B2" stroke-width="0.35"',
    Layer.TEXT: 'fill="#1f1d1a" font-family="sans-serif" text-anchor="middle"',
}


def svg_text(drawing: Drawing) -> str:
    """The drawing as SVG text, in millimetres, y upwards as on the roll.

    Layers are groups with the layer's name as their id; within OUTLINE and CUTOUT each path
    carries its piece's name. Arcs are arcs. The same drawing gives the same text.

    Raises:
        InputError: the drawing is empty.
    """
    curves = [pattern.outline for pattern in drawing.patterns] + list(drawing.stock)
    x0, y0, x1, y1 = bounds(curves)
    x0, y0, x1, y1 = x0 - _BORDER_MM, y0 - _BORDER_MM, x1 + _BORDER_MM, y1 + _BORDER_MM
    width, height = _number(x1 - x0), _number(y1 - y0)
    groups = {
        Layer.STOCK: [_path(curve) for curve in drawing.stock],
        Layer.OUTLINE: [_path(item.outline, item.name) for item in drawing.patterns],
        Layer.CUTOUT: [
            _path(curve, item.name) for item in drawing.patterns for curve in item.cut_outs
        ],
        Layer.MARK: [
            _mark(mark)
            for marks in (*(item.marks for item in drawing.patterns), drawing.marks)
            for mark in marks
            if mark.kind is not MarkKind.NUMBER
        ],
        Layer.TEXT: [
            _text(text)
            for text in (*(name_label(item) for item in drawing.patterns), *drawing.texts)
        ],
    }
    body = "\n".join(
        f'<g id="{layer.value}" {_STYLE[layer]}>\n' + "\n".join(lines) + "\n</g>"
        for layer, lines in groups.items()
        if lines
    )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}mm" height="{height}mm" '
        f'viewBox="{_number(x0)} {_number(-y1)} {width} {height}">\n{body}\n</svg>\n'
    )


def _number(value: float) -> str:
    text = f"{value:.7f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def _point(x: float, y: float) -> str:
    return f"{_number(x)} {_number(-y)}"


def _path(curve: Curve, name: str = "") -> str:
    """A closed path; SVG's y runs down, so that a counter-clockwise arc has sweep flag 0."""
    points = curve.points_mm
    words = ["M " + _point(*points[0])]
    for point, following, bulge in zip(
        points, np.roll(points, -1, axis=0), curve.bulges, strict=True
    ):
        if abs(bulge) < 1e-12:
            words.append("L " + _point(*following))
            continue
        chord = math.dist(point, following)
        radius = _number(chord * (1 + bulge * bulge) / (4 * abs(bulge)))
        large, sweep = int(abs(bulge) > 1), int(bulge < 0)
        words.append(f"A {radius} {radius} 0 {large} {sweep} {_point(*following)}")
    title = f" data-piece={quoteattr(name)}" if name else ""
    return f'<path{title} d="{" ".join(words)} Z"/>'


def _mark(mark: Mark) -> str:
    places = " ".join(_point(x, y).replace(" ", ",") for x, y in mark.points_mm)
    return f'<polyline points="{places}"/>'


def _text(text: Text) -> str:
    x, y = text.point_mm
    height = _number(text.height_mm)
    return (
        f'<text x="{_number(x)}" y="{_number(-y)}" font-size="{height}">{escape(text.text)}</text>'
    )
