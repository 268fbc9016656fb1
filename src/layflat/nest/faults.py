"""Faults in a roll, and the sound film between them.

A section lies wholly on sound film: nothing is cut across a crease, dirt or a splice.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from layflat.base import InputError
from layflat.nest.layout import Stock, Stretch

_MAX_FAULTS = 200


@dataclass(frozen=True)
class Window:
    """Sound film between two faults.

    Attributes:
        start_mm, end_mm: along the roll; the last window has no end here, since a roll that is too
            short is told as such.
    """

    start_mm: float
    end_mm: float

    @property
    def length_mm(self) -> float:
        """How much sound film it is."""
        return self.end_mm - self.start_mm


WHOLE = (Window(0.0, math.inf),)
"""The windows of a roll without faults."""


def windows_of(stock: Stock) -> tuple[Window, ...]:
    """The sound film of a roll, in order along it; those that hold no section are left out.

    Raises:
        InputError: a fault is not a stretch of this roll.
    """
    if len(stock.faults) > _MAX_FAULTS:
        raise InputError(
            f"The roll has {len(stock.faults)} faults; more than {_MAX_FAULTS} are not film to "
            "lay out on."
        )
    windows = []
    start = 0.0
    for fault in sorted(stock.faults, key=lambda fault: fault.start_mm):
        _require_sound(fault, stock)
        if fault.start_mm - start > 2 * stock.end_margin_mm:
            windows.append(Window(start, fault.start_mm))
        start = max(start, fault.end_mm)
    return (*windows, Window(start, math.inf))


def _require_sound(fault: Stretch, stock: Stock) -> None:
    said = f"The fault “{fault.reason}” reaches from {fault.start_mm:g} to {fault.end_mm:g} mm"
    if not 0 <= fault.start_mm < fault.end_mm < math.inf:
        raise InputError(
            f"{said} of the roll; it must begin at 0 or later and end after it begins."
        )
    if stock.length_mm is not None and fault.end_mm > stock.length_mm:
        raise InputError(
            f"{said}, but the roll has only {stock.length_mm:g} mm left; measure again from its "
            "cut end."
        )


def fault_notes(stock: Stock, used_mm: float) -> list[str]:
    """A sentence on the faults that a layout passes by, [] if there are none."""
    passed = [fault for fault in stock.faults if fault.start_mm < used_mm]
    if not passed:
        return []
    told = ", ".join(
        f"{fault.reason} from {fault.start_mm:.0f} to {fault.end_mm:.0f} mm" for fault in passed
    )
    return [f"No piece lies on the faults of the roll: {told}."]


def in_windows(lengths: Sequence[float], windows: Sequence[Window], at: Sequence[int]) -> float:
    """How far along the roll sections reach that follow each other in their windows.

    Args:
        lengths: of each section, with what it takes beside its pieces.
        windows: the sound film.
        at: the window of each section.
    """
    last = max(at)
    used = sum(length for length, window in zip(lengths, at, strict=True) if window == last)
    return windows[last].start_mm + used
