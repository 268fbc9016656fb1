"""The frame for templates by photograph: sheets with boards of squares, taped round a table."""

import numpy as np
import shapely

from layflat.base import FloatArray
from layflat.papers.canvas import Canvas, Pen
from layflat.papers.engine import Document
from layflat.papers.head import Head, all_written, sheet_values
from layflat.papers.look import INK
from layflat.photo import (
    MARGIN_MM,
    MEASURE_AT_MM,
    RULER_ACROSS_MM,
    RULER_MM,
    black_cells,
    board_sheet,
    printed_frame,
)

_BLACK = "#000000"
_RULE_MM = 5.0
"""Height of the printed rules' band."""
_CROSS_MM = 2.0
_STEPS = (
    (
        "Print at 100 %, not scaled to fit the page. Lay a steel rule on both rules of two sheets "
        "and write the readings down, to a tenth: every length depends on them."
    ),
    (
        "Tape the sheets flat round the template, on all four sides, six or more of them, so that "
        "these words stand upright to whoever stands at the table."
    ),
    "The whole line lies inside the frame; nothing lies on the squares.",
    (
        "Take pictures from straight above to 35° off, without flash and zoom, all sheets sharp in "
        "each. A large template takes several pictures: each shares two sheets with the next."
    ),
    "Leave every sheet in its place until the last picture is taken.",
)


def frame_document(head: Head, *, sheets: int) -> Document:
    """The sheets 1 to *sheets* of the frame, one to a page.

    Raises:
        PhotoError: there are not so many sheets.
    """
    numbers = [sheet.number for sheet in printed_frame(sheets).sheets]
    wide, high = board_sheet(1).board_mm
    texts = {
        "kicker": "Frame for templates by photograph",
        "of": f"of {len(numbers)}",
        "towards": "This edge towards the middle of the table",
        "along": f"{RULER_MM:.0f} mm, if printed at 100 %",
        "across": f"{RULER_ACROSS_MM:.0f} mm",
        "steps": list(_STEPS),
        "cross": (
            "The small cross above the squares is for a tape: a length from one sheet's cross to "
            "another's, once all are taped down, tells the scale best."
        ),
        "alt_along": f"A rule of {RULER_MM:.0f} mm.",
        "alt_across": f"A rule of {RULER_ACROSS_MM:.0f} mm on end.",
        "alt_board": "A board of black squares and markers.",
    }
    values = {
        **sheet_values(head, sheet="Frame", title="Frame for templates by photograph", bay=True),
        **all_written(texts),
        "numbers": numbers,
        "board": {"width": wide, "height": high, "top": MARGIN_MM},
        "cross_at": {"x": MEASURE_AT_MM[0], "y": MARGIN_MM + high - MEASURE_AT_MM[1]},
        "ruler": {"along": RULER_MM, "across": RULER_ACROSS_MM, "high": _RULE_MM},
    }
    pictures = {f"board-{number}.svg": _board(number).encode() for number in numbers}
    pictures["along.svg"] = _rule(RULER_MM, upright=False).encode()
    pictures["across.svg"] = _rule(RULER_ACROSS_MM, upright=True).encode()
    pictures["cross.svg"] = _cross().encode()
    return Document(template="frame.typ", values=values, pictures=pictures, dated=head.dated)


def _board(number: int) -> str:
    """The board of one sheet, in one shape so that no hairline parts its squares."""
    wide, high = board_sheet(number).board_mm
    canvas = Canvas(wide, high)
    cells = [shapely.box(x, high - y - h, x + w, high - y) for x, y, w, h in black_cells(number)]
    black = shapely.union_all(cells, grid_size=1e-4)
    loops: list[FloatArray] = []
    for part in shapely.get_parts(black):
        loops += [np.asarray(ring.coords)[:-1] for ring in (part.exterior, *part.interiors)]
    canvas.loops(loops, fill=_BLACK)
    return canvas.svg()


def _rule(length_mm: float, *, upright: bool) -> str:
    """A rule: lines to be measured between, longer at every fifth and tenth, numbers at tens.

    A line's middle is its place; half a line's width lies on either side of it, so that there is
    a margin of 1 mm.
    """
    canvas = Canvas(*((_RULE_MM, length_mm + 2.0) if upright else (length_mm + 2.0, _RULE_MM)))
    count = round(length_mm)
    lines = []
    for place in range(count + 1):
        reach = 4.6 if place in (0, count) else 3.2 if place % 10 == 0 else 2.2
        reach = 1.5 if place % 5 else reach
        line = np.array([(1.0 + place, 0.0), (1.0 + place, reach)])
        lines.append(line[:, ::-1] if upright else line)
    canvas.lines(lines, pen=Pen(INK, 0.12))
    edge = np.array([(1.0, 0.06), (1.0 + length_mm, 0.06)])
    canvas.lines([edge[:, ::-1] if upright else edge], pen=Pen(INK, 0.12))
    return canvas.svg()


def _cross() -> str:
    canvas = Canvas(2 * _CROSS_MM, 2 * _CROSS_MM)
    middle, end = _CROSS_MM, 2 * _CROSS_MM
    canvas.lines(
        [[(0.0, middle), (end, middle)], [(middle, 0.0), (middle, end)]], pen=Pen(INK, 0.2)
    )
    return canvas.svg()
