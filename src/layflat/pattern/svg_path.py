"""SVG's shapes and path data as lines, arcs and chords in the drawing's millimetres.

`svgelements` reads path data leniently: it stops at what it does not know and keeps the rest
to itself. A drawing that is cut must not lose lines, so that the grammar is checked first.
"""

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from svgelements import (
    Arc,
    Circle,
    Close,
    CubicBezier,
    Ellipse,
    Line,
    Matrix,
    Move,
    Path,
    QuadraticBezier,
    Rect,
)

from layflat.base import DrawingError, FloatArray
from layflat.pattern.svg_units import plain_length

Affine = FloatArray
"""(2, 3) float64: a linear map and a shift."""

_PATH = re.compile(r"\s*[Mm][MmZzLlHhVvCcSsQqTtAa0-9eE+\-.,\s]*")
_POINTS = re.compile(r"[0-9eE+\-.,\s]*")
_NUMBER = re.compile(r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?")
_TRANSFORM = re.compile(
    r"(?:\s*,?\s*(?:matrix|translate|scale|rotate|skewX|skewY)\s*\([0-9eE+\-.,\s]+\))+\s*"
)
_ROUND = 1e-9
_MOST_POINTS = 2_000_000
_MOST_TRANSFORM = 1_000
"""Letters of a transformation: its grammar is searched in more than linear time."""


@dataclass(frozen=True, eq=False)
class PathLine:
    """One line of a path, in mm.

    Attributes:
        points_mm: (k, 2) float64; a line of one point goes nowhere.
        bulges: (k,) when closed, (k - 1,) when open.
        closed: whether its last point is joined to its first.
        free_curves: how many curves that are no arcs of circles became chords.
    """

    points_mm: FloatArray
    bulges: FloatArray
    closed: bool
    free_curves: int


def to_affine(words: str, *, where: str) -> Affine:
    """A transformation as SVG writes it.

    Raises:
        DrawingError: it is not one.
    """
    try:
        if len(words) > _MOST_TRANSFORM or not _TRANSFORM.fullmatch(words):
            raise ValueError(words)
        m = Matrix(words)
        found = np.array([[m.a, m.c, m.e], [m.b, m.d, m.f]], dtype=np.float64)
    except (ValueError, LookupError, TypeError) as error:
        raise DrawingError(f"{where} has a transformation that is none: “{words[:60]}”.") from error
    if not np.isfinite(found).all() or abs(np.linalg.det(found[:, :2])) < 1e-12:
        raise DrawingError(f"{where} has a transformation that leaves no area.")
    return found


def count_numbers(attributes: Mapping[str, str]) -> int:
    """How many numbers the path data or the points of a shape hold; cheap, before any is read."""
    return sum(1 for name in ("d", "points") for _ in _NUMBER.finditer(attributes.get(name, "")))


def shape_path(tag: str, attributes: Mapping[str, str], *, where: str) -> Path:
    """A shape of SVG as a path, not yet transformed.

    Raises:
        DrawingError: its numbers are missing, relative, or none.
    """
    if tag == "path":
        data = attributes.get("d", "")
        if data.strip() in ("", "none"):
            return Path()
        if not _PATH.fullmatch(data):
            raise DrawingError(f"{where} holds path data that are none.")
        return Path(data)
    if tag in ("polyline", "polygon"):
        words = attributes.get("points", "")
        numbers = _NUMBER.findall(words)
        if not _POINTS.fullmatch(words) or len(numbers) % 2:
            raise DrawingError(f"{where} holds points that are none.")
        if not numbers:
            return Path()
        return Path("M " + " ".join(numbers) + (" Z" if tag == "polygon" else ""))
    sizes = {
        name: _size(name, attributes[name], where)
        for name in (
            "x",
            "y",
            "width",
            "height",
            "rx",
            "ry",
            "cx",
            "cy",
            "r",
            "x1",
            "y1",
            "x2",
            "y2",
        )
        if name in attributes and attributes[name].strip() != "auto"
    }
    if tag == "line":
        ends = [sizes.get(name, 0.0) for name in ("x1", "y1", "x2", "y2")]
        return Path("M {!r} {!r} L {!r} {!r}".format(*ends))
    if any(sizes.get(name, 0.0) < 0 for name in ("width", "height", "r", "rx", "ry")):
        raise DrawingError(f"{where} has a size below 0.")
    shape = {"rect": Rect, "circle": Circle, "ellipse": Ellipse}[tag]
    return Path(shape({name: repr(size) for name, size in sizes.items()}))


def _size(name: str, words: str, where: str) -> float:
    size = plain_length(words)
    if size is None or not math.isfinite(size):
        raise DrawingError(f"{where} has {name} = “{words[:40]}”; only absolute lengths are read.")
    return size


def strokes_of_path(path: Path, to_mm: Affine, *, deviation_mm: float) -> list[PathLine]:
    """The lines of a path, each from a pen down to the next.

    Args:
        path: of `svgelements`, not transformed.
        to_mm: from the path's coordinates to the drawing's.
        deviation_mm: of the chords that stand for free curves.
    """
    lines: list[PathLine] = []
    pen = _Pen(to_mm, deviation_mm)
    for segment in path:
        if isinstance(segment, Move):
            lines += pen.lift(closed=False)
            pen.points = [pen.place(segment.end)]
        elif isinstance(segment, Close):
            lines += pen.lift(closed=True)
            if segment.end is not None:
                pen.points = [pen.place(segment.end)]
                pen.resting = True
        else:
            pen.draw(segment)
    return lines + pen.lift(closed=False)


class _Pen:
    """Gathers one line of a path at a time."""

    def __init__(self, to_mm: Affine, deviation_mm: float) -> None:
        self.to_mm = to_mm
        self.deviation_mm = deviation_mm
        self.points: list[FloatArray] = []
        self.bulges: list[float] = []
        self.free_curves = 0
        self.resting = False
        self.drawn = 0

    def place(self, point: Any) -> FloatArray:
        placed: FloatArray = self.to_mm @ np.array([point.x, point.y, 1.0])
        return placed

    def lift(self, *, closed: bool) -> list[PathLine]:
        """The line so far; a pen that rests after a closed line has drawn none."""
        points, bulges, free_curves = self.points, self.bulges, self.free_curves
        resting = self.resting
        self.points, self.bulges, self.free_curves, self.resting = [], [], 0, False
        if not points or (resting and len(points) == 1):
            return []
        if closed and len(points) > 2 and math.dist(points[0], points[-1]) < _ROUND:
            points = points[:-1]
        elif closed:
            bulges = [*bulges, 0.0]
        return [PathLine(np.array(points), np.array(bulges), closed, free_curves)]

    def draw(self, segment: Any) -> None:
        end = self.place(segment.end)
        if isinstance(segment, Line):
            self._to([end], [0.0])
        elif isinstance(segment, Arc):
            self._arc(segment, end)
        elif isinstance(segment, CubicBezier | QuadraticBezier):
            self._bezier(segment, end)
        else:
            raise TypeError(type(segment).__name__)

    def _chords(self, count: float) -> int:
        """The number of chords of a curve, if that leaves the path within bounds."""
        self.drawn += max(1, math.ceil(count))
        if self.drawn > _MOST_POINTS:
            raise DrawingError(
                f"A path unfolds to more than {_MOST_POINTS} points; is it too large?"
            )
        return max(1, math.ceil(count))

    def _to(self, points: Sequence[FloatArray], bulges: Sequence[float]) -> None:
        self.points += points
        self.bulges += bulges

    def _arc(self, arc: Any, end: FloatArray) -> None:
        """An arc of an ellipse: C + P cos t + Q sin t over the angle that it sweeps."""
        linear = self.to_mm[:, :2]
        centre = self.place(arc.center)
        p = linear @ np.array([arc.prx.x - arc.center.x, arc.prx.y - arc.center.y])
        q = linear @ np.array([arc.pry.x - arc.center.x, arc.pry.y - arc.center.y])
        reach = max(math.hypot(*p), math.hypot(*q))
        across = float(p[0] * q[1] - p[1] * q[0])
        if arc.sweep == 0 or abs(across) < _ROUND * reach * reach:
            self._to([end], [0.0])
            return
        cos, sin = np.linalg.solve(np.column_stack((p, q)), self.points[-1] - centre)
        start_t = math.atan2(sin, cos)
        # The library sweeps from x to y of the path's own coordinates, ours from P to Q.
        mirrored = across * float(np.linalg.det(linear)) < 0
        sweep = -float(arc.sweep) if mirrored else float(arc.sweep)
        is_round = abs(math.hypot(*p) - math.hypot(*q)) + abs(float(p @ q)) / reach < 1e-7 * reach
        if is_round:
            count = 2 if abs(sweep) > math.pi * (1 + 1e-9) else 1
            bulges = [math.copysign(math.tan(abs(sweep) / count / 4), sweep * across)] * count
        else:
            count = self._chords(abs(sweep) * math.sqrt(reach / (8.0 * self.deviation_mm)))
            bulges = [0.0] * count
            self.free_curves += 1
        t = start_t + sweep * np.arange(1, count) / count
        between = centre + np.outer(np.cos(t), p) + np.outer(np.sin(t), q)
        self._to([*between, end], bulges)

    def _bezier(self, curve: Any, end: FloatArray) -> None:
        """A Bézier curve as chords; a chord over 1/n of the parameter lies within |B''| / 8 n²."""
        controls = [self.points[-1], end]
        if isinstance(curve, CubicBezier):
            controls[1:1] = [self.place(curve.control1), self.place(curve.control2)]
        else:
            controls[1:1] = [self.place(curve.control)]
        b = np.array(controls)
        degree = len(b) - 1
        bend = degree * (degree - 1) * np.hypot(*np.diff(b, n=2, axis=0).T).max()
        count = self._chords(math.sqrt(bend / (8.0 * self.deviation_mm)))
        t = (np.arange(1, count) / count)[:, None]
        rows = [
            math.comb(degree, k) * t**k * (1 - t) ** (degree - k) * b[k] for k in range(degree + 1)
        ]
        self._to([*np.sum(rows, axis=0), end], [0.0] * count)
        self.free_curves += 1
