"""The steel rule that says how large a drawn thing is."""

from layflat.papers.canvas import Canvas, Pen
from layflat.papers.look import INK

STEEL = "#E7E6E2"
HEIGHT_MM = 9.0
"""Height of a rule on paper, its numbers included."""

_BODY_MM = 4.2
_TICKS_MM = {1: 1.2, 5: 1.9, 10: 2.7}


def tick_mm(scale: float) -> float:
    """The distance of a rule's ticks in real mm: 1, 2 or 5 times a power of ten.

    Ticks are at least 0.9 mm apart on paper at *scale* (paper mm per real mm).
    """
    power = 1e-3
    while True:
        for digit in (1, 2, 5):
            if digit * power * scale >= 0.9:
                return digit * power
        power *= 10.0


def draw_rule(
    canvas: Canvas,
    *,
    x: float,
    y: float,
    most_mm: float,
    scale: float,
    size_pt: float = 9.0,
) -> None:
    """Draw a steel rule with ticks, at the scale of the drawing beside it.

    Args:
        canvas: to draw on.
        x: its left end on paper.
        y: its upper side on paper.
        most_mm: it is no longer than this on paper; whole tens of ticks, at least ten.
        scale: paper mm per real mm.
        size_pt: of its numbers.
    """
    tick = tick_mm(scale)
    tens = max(1, int((most_mm - 14.0) / (10 * tick * scale)))
    count = 10 * min(tens, 10)
    length = count * tick * scale
    left, top, right, bottom = x, y, x + length + 2.0, y + _BODY_MM
    body = [(left, top), (right, top), (right, bottom), (left, bottom)]
    canvas.loops([body], fill=STEEL, pen=Pen(width_mm=0.18))
    for each, height in _TICKS_MM.items():
        ticks = [
            [(left + i * tick * scale, top), (left + i * tick * scale, top + height)]
            for i in range(0, count + 1, each)
        ]
        canvas.lines(ticks, pen=Pen(width_mm=0.16))
    every = 10 * _spread(10 * tick * scale)
    for i in range(0, count + 1, every):
        last = i + every > count
        number = f"{i * tick:g}" + (" mm" if last else "")
        at = left + i * tick * scale
        anchor = "start" if i == 0 or last else "middle"
        canvas.text(at, y + HEIGHT_MM - 0.7, number, size_pt=size_pt, colour=INK, anchor=anchor)


def _spread(ten_ticks_mm: float) -> int:
    """Number only every so manieth ten, so that numbers of up to five digits do not touch."""
    return next(n for n in (1, 2, 5, 10) if n * ten_ticks_mm >= 15.0 or n == 10)
