"""Pictures as SVG, drawn in millimetres of paper.

x runs to the right and y down, as on a sheet. Numbers are written to a micrometre, so that the
same picture is the same text.
"""

import base64
import io
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape, quoteattr

import numpy as np
import shapely
from numpy.typing import ArrayLike
from PIL import Image
from shapely.geometry.base import BaseGeometry

from layflat.base import FloatArray
from layflat.papers.lettering import written
from layflat.papers.look import INK, SANS

PNG_LEVEL = 1
"""How hard pictures are packed: little, since the typesetter packs them again."""

_MM_PER_PT = 25.4 / 72.0


@dataclass(frozen=True)
class Pen:
    """How a line is drawn: colour, width in mm, dash and space lengths in mm (none: full)."""

    colour: str = INK
    width_mm: float = 0.25
    dashes: Sequence[float] = ()


class Canvas:
    """A picture of a fixed size on paper, built up from below to above."""

    def __init__(self, width_mm: float, height_mm: float) -> None:
        self.width_mm = width_mm
        self.height_mm = height_mm
        self._parts: list[str] = []

    def loops(
        self, loops: Iterable[ArrayLike], *, fill: str = "none", pen: Pen | None = None
    ) -> None:
        """Closed loops of (k, 2) points as one shape; loops within loops are holes."""
        path = " ".join(f"{_moves(loop)}Z" for loop in loops)
        self._path(path, fill=fill, pen=pen)

    def lines(self, lines: Iterable[ArrayLike], *, pen: Pen) -> None:
        """Open polylines of (k, 2) points."""
        path = " ".join(_moves(line) for line in lines)
        if path:
            self._path(path, fill="none", pen=pen)

    def circle(
        self, x: float, y: float, radius: float, *, fill: str = "none", pen: Pen | None = None
    ) -> None:
        """A circle."""
        self._parts.append(
            f'<circle cx="{_n(x)}" cy="{_n(y)}" r="{_n(radius)}" fill="{fill}"{_stroke(pen)}/>'
        )

    def text(
        self,
        x: float,
        y: float,
        text: str,
        *,
        size_pt: float,
        colour: str = INK,
        family: str = SANS,
        bold: bool = False,
        anchor: str = "start",
    ) -> None:
        """One line of text on its baseline; *anchor* is start, middle or end."""
        weight = ' font-weight="600"' if bold else ""
        self._parts.append(
            f'<text x="{_n(x)}" y="{_n(y)}" font-family={quoteattr(family)} '
            f'font-size="{_n(size_pt * _MM_PER_PT)}" fill="{colour}"{weight} '
            f'text-anchor="{anchor}">{escape(written(text))}</text>'
        )

    def picture(self, png: bytes, x: float, y: float, width: float, height: float) -> None:
        """A PNG picture in a box."""
        data = base64.b64encode(png).decode()
        self._parts.append(
            f'<image x="{_n(x)}" y="{_n(y)}" width="{_n(width)}" height="{_n(height)}" '
            f'preserveAspectRatio="none" href="data:image/png;base64,{data}"/>'
        )

    def svg(self) -> str:
        """The picture as SVG text, with its size in millimetres."""
        width, height = _n(self.width_mm), _n(self.height_mm)
        body = "\n".join(self._parts)
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}mm" height="{height}mm" '
            f'viewBox="0 0 {width} {height}">\n{body}\n</svg>\n'
        )

    def _path(self, path: str, *, fill: str, pen: Pen | None) -> None:
        self._parts.append(f'<path d="{path}" fill="{fill}" fill-rule="evenodd"{_stroke(pen)}/>')


@dataclass(frozen=True)
class Frame:
    """How a flat shape (mm, y up) comes to lie on paper (mm, y down).

    Attributes:
        scale: paper mm per mm.
        quarter_turn: whether it is turned a quarter to the right first.
        x_mm, y_mm: where the shape's origin comes to lie.
    """

    scale: float
    quarter_turn: bool
    x_mm: float
    y_mm: float

    @staticmethod
    def fit(
        box: tuple[float, float, float, float],
        *,
        width_mm: float,
        height_mm: float,
        x_mm: float = 0.0,
        y_mm: float = 0.0,
        may_turn: bool = False,
    ) -> "Frame":
        """The frame that puts *box* (x least, y least, x most, y most) in the middle of a place.

        Args:
            box: of the shape, in its own mm; not empty.
            width_mm: of the place on paper.
            height_mm: of the place on paper.
            x_mm: the place's left side.
            y_mm: the place's upper side.
            may_turn: turn the shape a quarter if it then shows at least a quarter larger.
        """
        x0, y0, x1, y1 = box
        wide, high = max(x1 - x0, 1e-6), max(y1 - y0, 1e-6)
        straight = min(width_mm / wide, height_mm / high)
        turned = min(width_mm / high, height_mm / wide)
        turn = may_turn and turned > 1.25 * straight
        scale = turned if turn else straight
        middle = np.array([[(x0 + x1) / 2, (y0 + y1) / 2]])
        own = Frame(scale, turn, 0.0, 0.0).on_paper(middle)[0]
        return Frame(scale, turn, x_mm + width_mm / 2 - own[0], y_mm + height_mm / 2 - own[1])

    def on_paper(self, points: ArrayLike) -> FloatArray:
        """(k, 2) points of the shape on paper."""
        x, y = np.asarray(points, dtype=np.float64).reshape(-1, 2).T
        if self.quarter_turn:
            x, y = y, -x
        return np.column_stack((self.x_mm + self.scale * x, self.y_mm - self.scale * y))


def photo(picture: Image.Image) -> bytes:
    """A picture of pixels as SVG bytes, as wide in mm as it has pixels; the same for the same.

    The typesetter takes files from memory as text only, and SVG can carry pixels as text.
    """
    stream = io.BytesIO()
    picture.convert("RGB").save(stream, format="PNG", compress_level=PNG_LEVEL)
    canvas = Canvas(*picture.size)
    canvas.picture(stream.getvalue(), 0, 0, *picture.size)
    return canvas.svg().encode()


def hatch(shape: BaseGeometry, *, spacing_mm: float, angle_deg: float) -> list[FloatArray]:
    """Parallel strokes that fill *shape* (in paper mm), for a pencil-hatched area."""
    if shape.is_empty:
        return []
    x0, y0, x1, y1 = shape.bounds
    middle = np.array([(x0 + x1) / 2, (y0 + y1) / 2])
    reach = 0.5 * float(np.hypot(x1 - x0, y1 - y0)) + spacing_mm
    along = np.array([np.cos(np.radians(angle_deg)), -np.sin(np.radians(angle_deg))])
    across = np.array([-along[1], along[0]])
    # Strokes start from the paper's own origin, so that neighbouring areas run on.
    offset = float(middle @ across)
    first = np.ceil((offset - reach) / spacing_mm)
    steps = np.arange(first, (offset + reach) / spacing_mm) * spacing_mm
    ends = np.array([-reach, reach])[:, None] * along + middle - offset * across
    strokes = [ends + step * across for step in steps]
    shapely.prepare(shape)
    cut = shapely.intersection(shapely.linestrings(strokes), shape)
    parts = shapely.get_parts(cut)
    wanted = parts[(shapely.get_type_id(parts) == 1) & ~shapely.is_empty(parts)]
    return [shapely.get_coordinates(part) for part in wanted]


def _moves(points: ArrayLike) -> str:
    rows = np.asarray(points, dtype=np.float64).reshape(-1, 2)
    return "M" + "L".join(f"{_n(x)} {_n(y)}" for x, y in rows)


def _stroke(pen: Pen | None) -> str:
    if pen is None:
        return ""
    dash = f' stroke-dasharray="{" ".join(_n(d) for d in pen.dashes)}"' if pen.dashes else ""
    return (
        f' stroke="{pen.colour}" stroke-width="{_n(pen.width_mm)}" '
        f'stroke-linejoin="round" stroke-linecap="butt"{dash}'
    )


def _n(value: float) -> str:
    text = f"{value:.3f}".rstrip("0").rstrip(".")
    return "0" if text in {"-0", ""} else text
