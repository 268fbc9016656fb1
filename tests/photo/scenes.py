"""Templates for the renderer: outlines, a pen along them, landmarks, holes, strokes across."""

from dataclasses import dataclass, field

import numpy as np
import shapely
from shapely import LineString, Polygon, affinity
from shapely.geometry.base import BaseGeometry
from shapely.ops import substring

from photo.rendered import BLACK, PAPER, Colour, Curl, Paint, Scene, Shadow

SHEET = (-640.0, -420.0, 640.0, 420.0)


@dataclass(frozen=True)
class Template:
    """What is drawn, with what is true of it."""

    outline: Polygon
    holes: tuple[Polygon, ...] = ()
    crosses: tuple[tuple[float, float], ...] = ()
    dots: tuple[tuple[float, float], ...] = ()
    squares: tuple[tuple[float, float], ...] = ()
    pen_mm: float = 1.5
    gaps_mm: tuple[tuple[float, float], ...] = ()
    """Start along the outline and length of what the pen left out."""
    strokes: tuple[LineString, ...] = ()
    """Registration strokes that cross the line, and strays."""
    pen: Colour = BLACK
    sheet: Colour = PAPER
    sheet_mm: tuple[float, float, float, float] = SHEET
    shadows: tuple[Shadow, ...] = ()
    curl: Curl | None = None
    more: tuple[Paint, ...] = field(default=())

    def traced(self) -> Scene:
        """The line drawn on a sheet."""
        half = 0.5 * self.pen_mm
        ink = [part.buffer(half) for part in self._strokes()]
        ink += [hole.exterior.buffer(half) for hole in self.holes]
        ink += [stroke.buffer(half) for stroke in self.strokes]
        return Scene(
            paints=(
                Paint(shapely.box(*self.sheet_mm), self.sheet, lifted=True),
                Paint(shapely.union_all([*ink, *self._marks()]), self.pen, lifted=True),
                *self.more,
            ),
            shadows=self.shadows,
            curl=self.curl,
        )

    def cut(self) -> Scene:
        """The sheet itself cut to shape."""
        sheet = shapely.difference(self.outline, shapely.union_all(list(self.holes)))
        marks = self._marks()
        paints = [Paint(sheet, self.sheet, lifted=True)]
        if marks:
            paints.append(Paint(shapely.union_all(marks), self.pen, lifted=True))
        return Scene(paints=(*paints, *self.more), shadows=self.shadows, curl=self.curl)

    def _strokes(self) -> list[BaseGeometry]:
        """The outline without its gaps."""
        ring = self.outline.exterior
        line = LineString(ring.coords)
        if not self.gaps_mm:
            return [ring]
        # The pen's round tip reaches into a gap from both sides.
        ends = [
            value
            for start, length in sorted(self.gaps_mm)
            for value in (start - 0.5 * self.pen_mm, start + length + 0.5 * self.pen_mm)
        ]
        stops = [0.0, *ends, line.length]
        return [
            substring(line, low, high) for low, high in zip(stops[::2], stops[1::2], strict=True)
        ]

    def _marks(self) -> list[BaseGeometry]:
        return [
            *(cross(at) for at in self.crosses),
            *(shapely.Point(at).buffer(3.0, quad_segs=32) for at in self.dots),
            *(turned_box(at) for at in self.squares),
        ]


def cross(at: tuple[float, float], *, arm: float = 8.0, turn_deg: float = 12.0) -> BaseGeometry:
    x, y = at
    strokes = shapely.MultiLineString(
        [[(x - arm, y), (x + arm, y)], [(x, y - arm), (x, y + arm)]]
    ).buffer(0.7)
    return affinity.rotate(strokes, turn_deg, origin=at)


def turned_box(at: tuple[float, float], *, side: float = 7.0, turn_deg: float = 20.0) -> Polygon:
    x, y = at
    half = 0.5 * side
    return affinity.rotate(shapely.box(x - half, y - half, x + half, y + half), turn_deg, origin=at)


def fender(*, size: float = 1.0, seed: int = 3) -> Polygon:
    """A piece with sharp corners, an arch, long bows and tight bends, about 1.1 m × 0.6 m."""
    rng = np.random.default_rng(seed)
    points = np.array(
        [(-520, -260), (-210, -270), (180, -265), (510, -225), (535, 40), (430, 265), (-480, 240)]
    ) + rng.uniform(-12.0, 12.0, (7, 2))
    shape = Polygon(points * size)
    arch = shapely.Point(-20.0 * size, -330.0 * size).buffer(190.0 * size, quad_segs=128)
    shape = shape.difference(arch)
    # Round all corners but those at the arch.
    soft = shape.buffer(-25.0 * size).buffer(25.0 * size, quad_segs=64)
    low = shapely.box(-260 * size, -400 * size, 220 * size, -150 * size)
    whole = soft.union(shape.intersection(low))
    return Polygon(shapely.union_all([whole]).exterior)


def mirror_cap(*, size: float = 1.0) -> Polygon:
    """A small smooth piece, about 230 mm × 150 mm."""
    angle = np.linspace(0.0, 2.0 * np.pi, 720, endpoint=False)
    away = 1.0 + 0.10 * np.cos(2 * angle + 0.4) + 0.05 * np.sin(3 * angle)
    return Polygon(size * np.column_stack((112 * away * np.cos(angle), 74 * away * np.sin(angle))))


def bar(*, length: float = 1200.0, height: float = 60.0) -> Polygon:
    """A long strip with round ends."""
    half = 0.5 * height
    return LineString([(-0.5 * length + half, 0.0), (0.5 * length - half, 0.0)]).buffer(
        half, quad_segs=128
    )


def full(**changes: object) -> Template:
    """A fender with holes and every kind of landmark."""
    values: dict[str, object] = {
        "outline": fender(),
        "holes": (
            shapely.Point(-330.0, 60.0).buffer(14.0, quad_segs=64),
            shapely.box(200.0, 20.0, 330.0, 70.0).buffer(-10.0).buffer(10.0, quad_segs=32),
        ),
        "crosses": ((-400.0, 150.0), (400.0, -150.0)),
        "dots": ((0.0, 150.0), (100.0, 10.0)),
        "squares": ((-150.0, -10.0), (450.0, 60.0)),
    }
    return Template(**{**values, **changes})  # type: ignore[arg-type]
