"""Drawings that one can check by hand, and programs altered on purpose."""

import dataclasses
import math

from layflat.cut import CutProgram, Machine, generic_machine
from layflat.pattern import Curve, Drawing, Pattern

QUARTER = math.tan(math.pi / 8)


def rectangle(x0: float, y0: float, x1: float, y1: float) -> Curve:
    return Curve(points_mm=[[x0, y0], [x1, y0], [x1, y1], [x0, y1]], bulges=[0.0] * 4)


def circle(x: float, y: float, radius: float, *, clockwise: bool = False) -> Curve:
    bulge = -1.0 if clockwise else 1.0
    return Curve(points_mm=[[x - radius, y], [x + radius, y]], bulges=[bulge, bulge])


def rounded(x0: float, y0: float, x1: float, y1: float, radius: float) -> Curve:
    r, q = radius, QUARTER
    return Curve(
        points_mm=[
            [x0 + r, y0], [x1 - r, y0], [x1, y0 + r], [x1, y1 - r],
            [x1 - r, y1], [x0 + r, y1], [x0, y1 - r], [x0, y0 + r],
        ],
        bulges=[0, q, 0, q, 0, q, 0, q],
    )  # fmt: skip


def on_stock(*patterns: Pattern, length: float = 400.0, width: float = 300.0) -> Drawing:
    return Drawing(patterns=patterns, stock=(rectangle(0, 0, length, width),))


def plate() -> Drawing:
    """A rectangle with a hole, and a triangle with sharp corners."""
    return on_stock(
        Pattern("plate", rectangle(20, 30, 170, 130), (circle(90, 80, 10, clockwise=True),)),
        Pattern("fin", Curve(points_mm=[[200, 50], [300, 60], [200, 90]], bulges=[0, 0, 0])),
    )


def two_sections() -> Drawing:
    return Drawing(
        patterns=(
            Pattern("left", rounded(20, 30, 120, 130, 8.0), (circle(70, 80, 3, clockwise=True),)),
            Pattern("right", rounded(230.01, 30, 330, 130, 0.3)),
        ),
        stock=(rectangle(200.01, 0, 400, 300), rectangle(0, 0, 200.01, 300)),
    )


def machine(**changes: float | bool) -> Machine:
    return dataclasses.replace(generic_machine(), **changes)  # type: ignore[arg-type]


def with_texts(program: CutProgram, change) -> CutProgram:  # type: ignore[no-untyped-def]
    """The program with every text passed through *change*, as a fault in the writer would."""
    return dataclasses.replace(
        program,
        hpgl=change(program.hpgl),
        sections=tuple(
            dataclasses.replace(section, hpgl=change(section.hpgl)) for section in program.sections
        ),
    )
