"""Drawings out to SVG: one user unit is one millimetre, one group per layer."""

import math
from xml.sax.saxutils import escape, quoteattr

import numpy as np

from layflat.base import FloatArray
from layflat.pattern.curve import bounds
from layflat.pattern.drawing import Drawing, Layer, Text, name_label
from layflat.pattern.piece import Curve, Mark

_BORDER_MM = 10.0
_DECIMALS = 7
_STYLE = {
    Layer.STOCK: 'fill="none" stroke="#8a8478" stroke-width="0.6" stroke-dasharray="6 3"',
    Layer.OUTLINE: 'fill="none" stroke="#1f1d1a" stroke-width="0.5"',
    Layer.CUTOUT: 'fill="none" stroke="#1f1d1a" stroke-width="0.35"',
    Layer.MARK: 'fill="none" stroke="#0072B2" stroke-width="0.35"',
    Layer.TEXT: (
        'fill="#1f1d1a" font-family="sans-serif" text-anchor="middle" dominant-baseline="central"'
    ),
}
_STRAIGHT = 1e-12
_MOST_BULGE = 0.9
"""Near a half circle (bulge 1) the end points hardly fix the arc; such arcs go out in halves."""


def svg_text(drawing: Drawing) -> str:
    """The drawing as SVG text, in millimetres, y upwards as on the roll.

    Layers are groups with the layer's name as their id; within OUTLINE and CUTOUT each path
    carries its piece's name (`data-piece`), each mark its kind and words (`data-kind`,
    `data-text`). Arcs are arcs; those near a half circle or beyond come in two halves. The same
    drawing gives the same text.

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
    text = f"{value:.{_DECIMALS}f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def _point(x: float, y: float) -> str:
    return f"{_number(x)} {_number(-y)}"


def _path(curve: Curve, name: str = "") -> str:
    """A closed path; SVG's y runs down, so that a counter-clockwise arc has sweep flag 0."""
    points, bulges = _halved(curve)
    points = np.round(points, _DECIMALS)
    words = ["M " + _point(*points[0])]
    for point, following, bulge in zip(points, np.roll(points, -1, axis=0), bulges, strict=True):
        if abs(bulge) < _STRAIGHT:
            words.append("L " + _point(*following))
            continue
        # All digits: of a long arc on a short chord the radius alone says which it is.
        radius = math.dist(point, following) * (1 + bulge * bulge) / (4 * abs(bulge))
        words.append(f"A {radius!r} {radius!r} 0 0 {int(bulge < 0)} {_point(*following)}")
    title = f" data-piece={quoteattr(name)}" if name else ""
    return f'<path{title} d="{" ".join(words)} Z"/>'


def _halved(curve: Curve) -> tuple[FloatArray, list[float]]:
    """Joints and bulges, with the arcs near a half circle or beyond in two halves."""
    points, bulges = [], []
    for i, bulge in enumerate(curve.bulges.tolist()):
        points.append(curve.points_mm[i])
        if abs(bulge) <= _MOST_BULGE:
            bulges.append(bulge)
            continue
        chord = curve.points_mm[(i + 1) % len(curve.points_mm)] - curve.points_mm[i]
        belly = 0.5 * bulge * np.array([chord[1], -chord[0]])
        points.append(curve.points_mm[i] + 0.5 * chord + belly)
        bulges += 2 * [math.tan(0.5 * math.atan(bulge))]
    return np.array(points), bulges


def _mark(mark: Mark) -> str:
    """A mark; the place of a number is a line of one point, which shows nothing."""
    places = " ".join(_point(x, y).replace(" ", ",") for x, y in mark.points_mm)
    words = f" data-text={quoteattr(mark.text)}" if mark.text else ""
    return f'<polyline data-kind="{mark.kind.value}"{words} points="{places}"/>'


def _text(text: Text) -> str:
    x, y = text.point_mm
    height = _number(text.height_mm)
    return (
        f'<text x="{_number(x)}" y="{_number(-y)}" font-size="{height}">{escape(text.text)}</text>'
    )
