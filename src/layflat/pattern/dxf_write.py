"""Drawings out as DXF R2010: millimetres, closed LWPOLYLINEs with bulges, one layer per meaning."""

import io
from collections.abc import Iterator
from contextlib import contextmanager

from ezdxf import units
from ezdxf._options import options
from ezdxf.enums import TextEntityAlignment
from ezdxf.filemanagement import new
from ezdxf.layouts.layout import Modelspace

from layflat.pattern.drawing import Drawing, Layer, Text, name_label
from layflat.pattern.piece import Curve, Mark, MarkKind

APP_NAME = "LAYFLAT"
"""Name of the extended data that keep a piece's name with its outline, and a mark's kind."""

_MOST_EXTENDED_BYTES = 255
"""Of one string of extended data (group code 1000, DXF reference)."""

_ACI_BLACK = 7
_ACI_GREY = 8
_COLOURS = {
    Layer.OUTLINE: _ACI_BLACK,
    Layer.CUTOUT: _ACI_BLACK,
    Layer.MARK: _ACI_GREY,
    Layer.STOCK: _ACI_GREY,
    Layer.TEXT: _ACI_GREY,
}


def dxf_text(drawing: Drawing) -> str:
    """The drawing as a DXF R2010 file, the same text every time.

    Time stamps and identifiers in the header, which the format asks for, are constants.
    """
    with _fixed_header():
        document = new("R2010", units=units.MM)
        document.appids.add(APP_NAME)
        for layer, colour in _COLOURS.items():
            document.layers.add(layer.value, color=colour)
        space = document.modelspace()
        for curve in drawing.stock:
            _add_curve(space, curve, Layer.STOCK)
        for pattern in drawing.patterns:
            _add_curve(space, pattern.outline, Layer.OUTLINE, label=pattern.name)
            for hole in pattern.cut_outs:
                _add_curve(space, hole, Layer.CUTOUT)
            for mark in pattern.marks:
                _add_mark(space, mark)
            _add_text(space, name_label(pattern))
        for mark in drawing.marks:
            _add_mark(space, mark)
        for text in drawing.texts:
            _add_text(space, text)
        stream = io.StringIO()
        document.write(stream)
    return stream.getvalue()


@contextmanager
def _fixed_header() -> Iterator[None]:
    """Let the library write constants where it would write the time and random identifiers."""
    before = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True
    try:
        yield
    finally:
        options.write_fixed_meta_data_for_testing = before


def _add_curve(space: Modelspace, curve: Curve, layer: Layer, *, label: str = "") -> None:
    rows = [
        (float(x), float(y), float(bulge))
        for (x, y), bulge in zip(curve.points_mm, curve.bulges, strict=True)
    ]
    line = space.add_lwpolyline(rows, format="xyb", close=True, dxfattribs={"layer": layer.value})
    words = _printable(label)
    if words and len(words.encode()) <= _MOST_EXTENDED_BYTES:
        line.set_xdata(APP_NAME, [(1000, words)])


def _add_mark(space: Modelspace, mark: Mark) -> None:
    attributes = {"layer": Layer.MARK.value}
    if mark.kind is MarkKind.NUMBER:
        space.add_point(mark.points_mm[0].tolist(), dxfattribs=attributes)
    else:
        line = space.add_lwpolyline(mark.points_mm.tolist(), dxfattribs=attributes)
        line.set_xdata(APP_NAME, [(1000, mark.kind.value)])
    if mark.text:
        _add_text(space, Text(mark.points_mm[0], mark.text))


def _add_text(space: Modelspace, text: Text) -> None:
    """One line of text; the signs that DXF reads as codes (^ and %%) are written as codes."""
    words = _printable(text.text).replace("^", "^ ").replace("%%", "%%%%%%")
    entity = space.add_text(words, height=text.height_mm, dxfattribs={"layer": Layer.TEXT.value})
    entity.set_placement(text.point_mm.tolist(), align=TextEntityAlignment.MIDDLE_CENTER)


def _printable(words: str) -> str:
    """The words on one line, since a line's end would end the value in the file."""
    return "".join(c if c.isprintable() else " " for c in words)
