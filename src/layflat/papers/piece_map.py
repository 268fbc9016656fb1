"""A piece's strain for a screen: its map with the way from the flat to the map, and its colours.

The map is the one of the fit report without words, which a screen sets over it in its own size.
It has no ground of its own, so that it lies on light and dark alike.
"""

import dataclasses
import io
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from PIL import Image
from shapely import Polygon

from layflat.base import FloatArray
from layflat.film import Flat
from layflat.papers.canvas import Canvas, Pen
from layflat.papers.look import DASHES, INK, PAPER, strain_colours
from layflat.papers.strain import at_vertices
from layflat.papers.strain_map import LIMIT_AT, strain_picture
from layflat.pattern import MarkKind, Pattern, coarse_polygon
from layflat.surface import EdgeKind

_WIDTH_MM = 180.0
_MARGIN_MM = 3.0
_WIDTH_PX = 1400
_COLOURS = 250
_PLAIN = "#e4dfd4"
"""Film whose strain is unknown: no colour of the strain's scale, and seen on light and dark."""
_FINE = Pen(INK, 0.25)
_CASING = Pen(PAPER, 1.7)
"""Under the lines of edges, which must be told apart on dark ground too."""


@dataclass(frozen=True)
class PieceMap:
    """The strain map of one piece.

    Attributes:
        svg: the map.
        width_mm, height_mm: its size on paper; its viewBox is as large.
        to_map: (a, b, c, d, e, f): the flat point (x, y) lies at (ax + cy + e, bx + dy + f).
    """

    svg: str
    width_mm: float
    height_mm: float
    to_map: tuple[float, float, float, float, float, float]


def piece_map(
    flat: Flat,
    *,
    pattern: Pattern,
    edges: Sequence[tuple[EdgeKind, FloatArray]] = (),
    free: Sequence[FloatArray] = (),
    quarter_turns: int = 0,
) -> PieceMap:
    """The strain map of a piece.

    Args:
        flat: the flattened region.
        pattern: its pattern, in the same coordinates.
        edges: lines (k, 2) in the same coordinates, each drawn by its kind.
        free: rims (k, 2) of places left free; a cut-out round one is white, for film is there.
        quarter_turns: the map is turned counter-clockwise by so many right angles.
    """
    turn = _QUARTERS[quarter_turns % 4]
    turned = dataclasses.replace(flat, points_mm=np.einsum("ij,kj->ki", turn, flat.points_mm))
    shape = coarse_polygon(pattern, deviation_mm=0.2)
    sheet = _sheet(np.vstack([flat.points_mm, shapely.get_coordinates(shape)]), turn)
    canvas, on_map = sheet.canvas, sheet.on_map
    _draw_strain(canvas, turned, on_map(flat.points_mm))
    _draw_piece(canvas, shapely.transform(shape, on_map), [on_map(rim) for rim in free])
    for kind, line in edges:
        canvas.lines([on_map(line)], pen=_CASING)
        canvas.lines([on_map(line)], pen=Pen(INK, 0.8, DASHES[kind]))
    return sheet.map()


def pattern_map(pattern: Pattern) -> PieceMap:
    """The map of a piece without a surface: its film, its cut-outs and its marks, no strain."""
    shape = coarse_polygon(pattern, deviation_mm=0.2)
    sheet = _sheet(shapely.get_coordinates(shape), _QUARTERS[0])
    canvas, on_map = sheet.canvas, sheet.on_map
    drawn = shapely.transform(shape, on_map)
    rings = [drawn.exterior, *drawn.interiors]
    canvas.loops([shapely.get_coordinates(ring) for ring in rings], fill=_PLAIN)
    _draw_piece(canvas, drawn, [])
    lines = [on_map(mark.points_mm) for mark in pattern.marks if mark.kind is MarkKind.ALIGN]
    canvas.lines(lines, pen=_FINE)
    return sheet.map()


@dataclass(frozen=True, eq=False)
class _Sheet:
    """A canvas and how the flat lies on it."""

    canvas: Canvas
    height_mm: float
    linear: FloatArray
    shift: FloatArray

    def on_map(self, points: FloatArray) -> FloatArray:
        return np.asarray(np.einsum("ij,kj->ki", self.linear, points) + self.shift)

    def map(self) -> PieceMap:
        (a, c), (b, d) = self.linear.tolist()
        e, f = self.shift.tolist()
        return PieceMap(self.canvas.svg(), _WIDTH_MM, self.height_mm, (a, b, c, d, e, f))


def _sheet(around: FloatArray, turn: FloatArray) -> _Sheet:
    """A canvas that holds the flat points *around*, turned."""
    turned = np.einsum("ij,kj->ki", turn, around)
    low, high = turned.min(axis=0), turned.max(axis=0)
    scale = (_WIDTH_MM - 2 * _MARGIN_MM) / float(high[0] - low[0])
    height_mm = float(np.ceil(scale * (high[1] - low[1]) + 2 * _MARGIN_MM))
    return _Sheet(
        Canvas(_WIDTH_MM, height_mm),
        height_mm,
        scale * np.diag([1.0, -1.0]) @ turn,
        np.array([_MARGIN_MM - scale * low[0], height_mm - _MARGIN_MM + scale * low[1]]),
    )


def strain_vertex_colours(flat: Flat) -> NDArray[np.uint8]:
    """(n, 3) uint8 sRGB: the colour of the strain map at every vertex of *flat*."""
    ratios = at_vertices(flat) / [flat.film.stretch_limit, flat.film.finger_limit]
    stretch, compression = ratios.T
    return strain_colours(LIMIT_AT * np.where(stretch >= compression, stretch, -compression))


_QUARTERS = tuple(
    np.array([[cosine, -sine], [sine, cosine]], dtype=np.float64)
    for cosine, sine in ((1, 0), (0, 1), (-1, 0), (0, -1))
)


def _draw_strain(canvas: Canvas, turned: Flat, points: FloatArray) -> None:
    """The picture of the strain where its film lies; the picture puts it in its middle."""
    picture = strain_picture(turned, width_px=_WIDTH_PX)
    low, high = points.min(axis=0), points.max(axis=0)
    wide = float(high[0] - low[0])
    tall = wide * picture.height / picture.width
    top = 0.5 * float(low[1] + high[1] - tall)
    canvas.picture(_packed(picture), float(low[0]), top, wide, tall)


def _packed(picture: Image.Image) -> bytes:
    """A picture, clear or not in each place, as PNG of few colours: a third of the size."""
    drawn = picture.convert("RGB").quantize(
        _COLOURS, method=Image.Quantize.MEDIANCUT, dither=Image.Dither.NONE
    )
    # The colour after the last is the clear one.
    numbers = np.where(np.asarray(picture)[..., 3] > 0, np.asarray(drawn), _COLOURS)
    packed = Image.fromarray(numbers.astype(np.uint8))
    packed.putpalette([*(drawn.getpalette() or [])[: 3 * _COLOURS], 255, 255, 255])
    stream = io.BytesIO()
    packed.save(stream, format="PNG", compress_level=9, transparency=_COLOURS)
    return stream.getvalue()


def _draw_piece(canvas: Canvas, piece: Polygon, free: Sequence[FloatArray]) -> None:
    rim = shapely.get_coordinates(piece.exterior)
    canvas.loops([rim], pen=_CASING)
    canvas.loops([rim], pen=_FINE)
    middles = shapely.points([kept.mean(axis=0) for kept in free] or np.zeros((0, 2)))
    for ring in piece.interiors:
        is_free = bool(shapely.contains(Polygon(ring), middles).any())
        fill = PAPER if is_free else "none"
        canvas.loops([shapely.get_coordinates(ring)], fill=fill, pen=Pen(INK, 0.4))
