"""Pictures of the plane from which no shape may come: each with a word of the reason."""

from collections.abc import Callable
from dataclasses import replace
from functools import cache

import numpy as np
import shapely
from shapely import LineString, Polygon, affinity

from layflat.photo import Plane
from photo.flatbed import scanned
from photo.rendered import BLACK, PAPER, Paint, Scene, Shadow
from photo.scenes import Template, bar, mirror_cap

BOX = (-150.0, -110.0, 150.0, 110.0)
WIDE = (-400.0, -300.0, 400.0, 300.0)
"""A sheet that reaches beyond the picture."""
LOOSE = (-140.0, -100.0, 140.0, 100.0)


def small(**changes: object) -> Template:
    values: dict[str, object] = {"outline": mirror_cap(), "sheet_mm": WIDE}
    return Template(**{**values, **changes})  # type: ignore[arg-type]


def seen(template: Template, **sensor: float) -> Plane:
    return scanned(template.traced(), BOX, **sensor)


@cache
def plain() -> Plane:
    return seen(small())


def _lines(*rings: LineString, pen: float = 1.5) -> Plane:
    ink = shapely.union_all([ring.buffer(0.5 * pen) for ring in rings])
    return scanned(Scene((Paint(shapely.box(*WIDE), PAPER), Paint(ink, BLACK))), BOX)


def _ring(radius: float, x: float = 0.0, y: float = 0.0) -> LineString:
    return LineString(shapely.Point(x, y).buffer(radius, quad_segs=90).exterior.coords)


def _hidden(template: Template) -> Plane:
    plane = seen(template)
    mask = np.array(plane.seen)
    mask[:, :180] = False
    return replace(plane, seen=mask)


def _eight() -> Plane:
    t = np.linspace(0.0, 2.0 * np.pi, 400)
    return _lines(LineString(np.column_stack((100 * np.sin(t), 60 * np.sin(2 * t)))))


def _hatched() -> Plane:
    rows = [LineString([(x, -105.0 + 7 * i), (x + 6.0, -105.0 + 7 * i)])
            for i in range(8) for x in np.arange(-145.0, 140.0, 8.0)]  # fmt: skip
    return _lines(*rows, pen=1.0)


def _covered(x0: float, y0: float, x1: float, y1: float, colour: float) -> Plane:
    thing = Paint(shapely.box(x0, y0, x1, y1), (colour, colour, colour))
    return seen(small(more=(thing,)))


def _loose(*shapes: Polygon) -> Plane:
    return scanned(Scene(tuple(Paint(shape, PAPER) for shape in shapes)), BOX)


def _dashed() -> Plane:
    cap = mirror_cap()
    starts = np.arange(6.0, cap.exterior.length - 12.0, 12.0)
    return seen(small(pen_mm=1.0, gaps_mm=tuple((float(s), 5.0) for s in starts)))


BAD: dict[str, tuple[Callable[[], Plane], str]] = {
    "a blank sheet": (lambda: _loose(shapely.box(*WIDE)), "No traced line"),
    "an empty table": (lambda: scanned(Scene(), BOX), "found"),
    "a line open by 30 mm": (lambda: seen(small(gaps_mm=((100.0, 30.0),))), "is open by"),
    "a line open in two places": (
        lambda: seen(small(gaps_mm=((100.0, 15.0), (400.0, 20.0)))), "is open by",
    ),
    "a line that leaves the frame": (
        lambda: _lines(_ring(80.0, 90.0)), "runs out of the frame",
    ),
    "a line under a printed sheet": (lambda: _hidden(small()), "under a printed sheet"),
    "two outlines of like size": (
        lambda: _lines(_ring(55.0, -70.0), _ring(52.0, 70.0)), "two outlines",
    ),
    "a line doubled all round": (lambda: _lines(_ring(80.0), _ring(86.0)), "beside each other"),
    "a figure of eight": (_eight, ""),
    "pixels too coarse": (lambda: replace(plain(), mm_per_px=1.5), "A pixel"),
    "a blurred picture": (lambda: replace(plain(), sharp_mm=2.0), "blurred"),
    "darkness": (lambda: _dimmed(0.004), "too dark"),
    "bleached paper": (lambda: _dimmed(4.0), "bleached"),
    "nothing seen": (lambda: _unseen(), "Hardly anything"),
    "a hatched sheet": (_hatched, ""),
    "a tiny outline": (lambda: _lines(_ring(9.0)), "found"),
    "a pen too broad": (lambda: seen(small(pen_mm=7.0)), ""),
    "a line too faint": (lambda: seen(small(pen=(0.76, 0.75, 0.72))), "No traced line"),
    "a dashed line": (_dashed, "can be seen"),
    "cut-outs across each other": (
        lambda: _lines(_ring(90.0), _ring(20.0, -10.0), _ring(20.0, 12.0)), "",
    ),
    "a glove across the line": (lambda: _covered(-20.0, 30.0, 25.0, 120.0, 0.02), ""),
    "a glare across the line": (lambda: _covered(-20.0, 30.0, 25.0, 120.0, 1.0), ""),
    "two sheets on the table": (
        lambda: _loose(shapely.box(-140, -90, -8, 90), shapely.box(8, -90, 140, 90)),
        "two outlines",
    ),
    "a sheet that leaves the frame": (
        lambda: _loose(affinity.translate(bar(length=240, height=120), 100.0)), "runs out",
    ),
    "black shadow over half of it": (
        lambda: seen(small(shadows=(Shadow(shapely.box(-160, -120, 0, 120), 0.004, 1.0),))), "",
    ),
}  # fmt: skip


def _dimmed(times: float) -> Plane:
    plane = plain()
    return replace(plane, grey=np.clip(plane.grey * times, 0.0, 1.0))


def _unseen() -> Plane:
    plane = plain()
    mask = np.zeros(plane.seen.shape, dtype=np.bool_)
    mask[:100, :100] = True
    return replace(plane, seen=mask)
