"""What pieces need of a roll at least, for whoever has a layout of them from elsewhere."""

from collections.abc import Sequence

from layflat.nest.bound import lower_bound_mm
from layflat.nest.faults import windows_of
from layflat.nest.layout import Request, Stock
from layflat.nest.parts import make_frame, make_parts


def least_length_mm(
    requests: Sequence[Request], stock: Stock, *, gap_mm: float, max_section_mm: float | None = None
) -> float:
    """A length that no layout of these pieces on this stock can go below, in mm, as `place` has it.

    Args:
        requests: what is laid out.
        stock: on what, with its faults.
        gap_mm: least distance between pieces, 0 or more.
        max_section_mm: longest section, its end margins included; None is one section.

    Raises:
        InputError: a value is out of range, or an outline is not sound.
        FitError: a piece is too large.
    """
    frame = make_frame(stock, gap_mm=gap_mm, max_section_mm=max_section_mm)
    return lower_bound_mm(
        make_parts(requests, frame),
        frame,
        end_margin_mm=stock.end_margin_mm,
        windows=windows_of(stock),
    )
