"""A small SVG writer: shapes and words in millimetres of paper, x to the right, y down.

Numbers are rounded to hundredths, so that equal pictures are equal text.
"""

from collections.abc import Iterable, Sequence
from xml.sax.saxutils import escape

import numpy as np
from numpy.typing import ArrayLike

GROUND = "#F6F3EC"
PAPER = "#FFFFFF"
INK = "#211F1C"
PENCIL = "#5A554E"
LINE = "#BDB7AB"
CHALK = "#0072B2"
VERMILLION = "#D55E00"
"""The colours of `docs/look.md`."""

_FONTS = "'Source Sans Pro', 'Source Sans 3', 'Helvetica Neue', Arial, sans-serif"


class Picture:
    """A picture of a fixed size, built up from below to above."""

    def __init__(self, width: float, height: float, *, ground: str = PAPER) -> None:
        self.width, self.height = width, height
        self._parts = [f'<rect width="{_n(width)}" height="{_n(height)}" fill="{ground}"/>']
        self._defs: list[str] = []

    def shape(
        self,
        loops: Iterable[ArrayLike],
        *,
        fill: str = "none",
        opacity: float = 1.0,
        pen: str = "",
        width: float = 0.3,
        dashes: Sequence[float] = (),
    ) -> None:
        """Closed loops of (k, 2) points as one shape; loops within loops are holes."""
        path = "".join(_moves(loop) + "Z" for loop in loops)
        if path:
            see = f' fill-opacity="{opacity:g}"' if opacity < 1 else ""
            self._parts.append(
                f'<path d="{path}" fill="{fill}" fill-rule="evenodd"{see}'
                f"{_stroke(pen, width, dashes)}/>"
            )

    def lines(
        self, lines: Iterable[ArrayLike], *, pen: str, width: float, dashes: Sequence[float] = ()
    ) -> None:
        """Open polylines of (k, 2) points."""
        path = "".join(_moves(line) for line in lines)
        if path:
            self._parts.append(f'<path d="{path}" fill="none"{_stroke(pen, width, dashes)}/>')

    def dot(self, x: float, y: float, radius: float, *, fill: str, pen: str = "") -> None:
        """A disc."""
        self._parts.append(
            f'<circle cx="{_n(x)}" cy="{_n(y)}" r="{_n(radius)}" fill="{fill}"'
            f"{_stroke(pen, 0.3, ())}/>"
        )

    def words(
        self,
        x: float,
        y: float,
        text: str,
        *,
        size: float = 4.2,
        colour: str = INK,
        anchor: str = "start",
        bold: bool = False,
    ) -> None:
        """One line of words on its baseline; *size* in mm, *anchor* is start, middle or end."""
        weight = ' font-weight="bold"' if bold else ""
        self._parts.append(
            f'<text x="{_n(x)}" y="{_n(y)}" font-family="{_FONTS}" font-size="{_n(size)}"'
            f'{weight} fill="{colour}" text-anchor="{anchor}">{escape(text)}</text>'
        )

    def hatching(self, name: str, *, leaning_right: bool, colour: str) -> str:
        """A fill of slanted strokes under the name *name*, to be given as ``fill``."""
        slant = 45 if leaning_right else -45
        self._defs.append(
            f'<pattern id="{name}" width="1.8" height="1.8" patternUnits="userSpaceOnUse" '
            f'patternTransform="rotate({slant})"><rect width="0.3" height="1.8" '
            f'fill="{colour}"/></pattern>'
        )
        return f"url(#{name})"

    def svg(self) -> str:
        """The picture as SVG text."""
        size = f'width="{_n(self.width)}mm" height="{_n(self.height)}mm"'
        box = f'viewBox="0 0 {_n(self.width)} {_n(self.height)}"'
        defs = f"<defs>{''.join(self._defs)}</defs>\n" if self._defs else ""
        body = "\n".join(self._parts)
        return f'<svg xmlns="http://www.w3.org/2000/svg" {size} {box}>\n{defs}{body}\n</svg>\n'


def _moves(points: ArrayLike) -> str:
    """A path in relative steps of hundredths, without the steps that are nothing."""
    rows = np.rint(np.asarray(points, dtype=np.float64).reshape(-1, 2) * 100).astype(np.int64)
    steps = np.diff(rows, axis=0)
    steps = steps[(steps != 0).any(axis=1)]
    text = " ".join(f"{_n(x / 100)} {_n(y / 100)}" for x, y in steps.tolist())
    start = f"M{_n(rows[0, 0] / 100)} {_n(rows[0, 1] / 100)}"
    return f"{start}l{text}" if text else start


def _stroke(pen: str, width: float, dashes: Sequence[float]) -> str:
    if not pen:
        return ""
    dash = f' stroke-dasharray="{" ".join(map(_n, dashes))}"' if dashes else ""
    return f' stroke="{pen}" stroke-width="{_n(width)}" stroke-linejoin="round"{dash}'


def _n(value: float) -> str:
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text in {"-0", ""} else text
