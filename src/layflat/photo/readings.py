"""The scale: what rulers and tapes say of the printed sheets."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from layflat.photo.records import PhotoError
from layflat.photo.sheet import MEASURE_AT_MM, RULER_ACROSS_MM, RULER_MM
from layflat.photo.solved import Solved

_RULER_SIGMA_MM: Final = 0.15
"""How well a printed ruler is read with a steel rule. Common practice, no source."""
_TAPE_SIGMA_MM: Final = 0.6
"""How well a tape reads from sheet to sheet. Common practice, no source."""
_UNREAD: Final = 0.003
"""How far off printers are that nobody measured, as a standard deviation. Common practice."""
_FITTED: Final = 0.015
"""Prints that are off by more were made larger or smaller on purpose."""
_CONTRADICT: Final = 3.5


@dataclass(frozen=True, kw_only=True)
class Reading:
    """What a steel rule says of a printed ruler.

    Attributes:
        sheet: its number.
        mm: from the middle of the ruler's first line to that of its last.
        across: the short ruler across the sheet instead of the long one along it.
    """

    sheet: int
    mm: float
    across: bool = False

    @property
    def printed_mm(self) -> float:
        """What it would be in a true print."""
        return RULER_ACROSS_MM if self.across else RULER_MM


@dataclass(frozen=True, kw_only=True)
class Span:
    """What a tape says between the measuring crosses of two sheets that lie on the table."""

    first: int
    second: int
    mm: float


@dataclass(frozen=True, kw_only=True)
class Scale:
    """True millimetres for a millimetre as printed.

    Attributes:
        scale: the factor.
        doubt: its standard deviation.
        checked: whether anybody measured.
        notes: what a person should know.
    """

    scale: float
    doubt: float
    checked: bool
    notes: tuple[str, ...] = ()


def aspect_of(readings: Sequence[Reading]) -> tuple[float, float] | None:
    """The printer's scale across over that along, less 1, with its standard deviation, or None."""
    along = [reading.mm / RULER_MM for reading in readings if not reading.across]
    across = [reading.mm / RULER_ACROSS_MM for reading in readings if reading.across]
    if not along or not across:
        return None
    sigma = np.hypot(
        _RULER_SIGMA_MM / RULER_MM / np.sqrt(len(along)),
        _RULER_SIGMA_MM / RULER_ACROSS_MM / np.sqrt(len(across)),
    )
    return float(np.mean(across) / np.mean(along) - 1.0), float(sigma)


def scale_of(solved: Solved, readings: Sequence[Reading], spans: Sequence[Span]) -> Scale:
    """The scale from all readings, weighed by how well each can be read.

    Raises:
        PhotoError: a reading is impossible, readings contradict each other, or the sheets were
            printed scaled to fit the page.
    """
    told = [*map(_of_ruler, readings, [solved.aspect] * len(readings))]
    told += [_of_tape(solved, span) for span in spans]
    if not told:
        return Scale(
            scale=1.0,
            doubt=_UNREAD,
            checked=False,
            notes=(
                (
                    "No ruler reading was given: the scale is taken from the print as it should "
                    f"be, and every length is unsure by {100 * 2 * _UNREAD:.1f} %."
                ),
            ),
        )
    for words, ratio, _ in told:
        _require_possible(words, ratio)
    ratios = np.array([ratio for _, ratio, _ in told])
    sigmas = np.array([sigma for _, _, sigma in told])
    weights = sigmas**-2
    scale = float(np.sum(weights * ratios) / weights.sum())
    off = np.abs(ratios - scale) / sigmas
    if off.max() > _CONTRADICT:
        low, high = int(np.argmin(ratios)), int(np.argmax(ratios))
        raise PhotoError(
            f"The readings contradict each other: {told[low][0]} makes the print "
            f"{100 * ratios[low]:.2f} % of its size, {told[high][0]} {100 * ratios[high]:.2f} %. "
            "Measure both again; if both are right, the sheets were printed with different "
            "settings: print all of them anew at 100 %."
        )
    notes = []
    if abs(scale - 1.0) > _FITTED:
        if len(told) < 2:
            raise PhotoError(
                f"{_capital(told[0][0])} makes the print {100 * scale:.1f} % of its size: the "
                "sheets were scaled to fit the page. Print them again at 100 %, or, if they are "
                "used as they are, measure the rulers of two sheets more and type those readings "
                "too."
            )
        notes.append(
            f"The sheets were printed at {100 * scale:.2f} % of their size, scaled to fit the "
            f"page; {len(told)} readings agree on it, and every length was corrected."
        )
    elif abs(scale - 1.0) > 2e-4:
        notes.append(
            f"The sheets were printed at {100 * scale:.2f} % of their size; every length was "
            "corrected by the readings."
        )
    spread = float(np.sqrt(np.mean(off**2))) if len(told) > 2 else 1.0
    doubt = float(weights.sum() ** -0.5) * max(spread, 1.0)
    return Scale(scale=scale, doubt=doubt, checked=True, notes=tuple(notes))


def _of_ruler(reading: Reading, aspect: float) -> tuple[str, float, float]:
    printed = reading.printed_mm * (1.0 + aspect if reading.across else 1.0)
    which = "the short ruler" if reading.across else "the ruler"
    words = f"{which} of sheet {reading.sheet} ({reading.mm:g} mm)"
    return words, reading.mm / printed, _RULER_SIGMA_MM / printed


def _of_tape(solved: Solved, span: Span) -> tuple[str, float, float]:
    for number in (span.first, span.second):
        if number not in solved.sheets:
            raise PhotoError(
                f"A distance names sheet {number}, which no picture shows; the pictures show "
                f"{', '.join(map(str, solved.sheets))}."
            )
    if span.first == span.second:
        raise PhotoError("A distance goes from one sheet to another; name two sheets.")
    at = np.array([MEASURE_AT_MM])
    apart = solved.on_plane(span.first, at) - solved.on_plane(span.second, at)
    printed = float(np.hypot(*apart[0]))
    words = f"the tape from sheet {span.first} to {span.second} ({span.mm:g} mm)"
    return words, span.mm / printed, _TAPE_SIGMA_MM / printed


def _require_possible(words: str, ratio: float) -> None:
    if not np.isfinite(ratio) or not 0.5 < ratio < 1.5:
        raise PhotoError(
            f"{_capital(words)} cannot be: type what the rule shows between the first and the "
            "last line, in millimetres."
        )


def _capital(words: str) -> str:
    return words[0].upper() + words[1:]
