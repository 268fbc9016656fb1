"""What stands on every sheet, and how lengths are written for people."""

from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import Any

from layflat.papers.lettering import one_line, written

_MM_PER_INCH = 25.4
_MM2_PER_FOOT2 = (12 * _MM_PER_INCH) ** 2


class Paper(StrEnum):
    """The paper that a sheet is printed on."""

    A4 = "a4"
    LETTER = "us-letter"


class LengthUnit(StrEnum):
    """What people see; inside, lengths are millimetres."""

    MM = "mm"
    INCH = "in"


@dataclass(frozen=True, kw_only=True)
class Head:
    """What stands on every sheet of one job.

    Attributes:
        workshop, job, number, vehicle, customer: names, as people wrote them.
        dated: the day that the sheet is dated; it is never taken from the clock.
        paper: what it is printed on.
        unit: of lengths.
    """

    workshop: str
    job: str
    number: str
    vehicle: str
    dated: date
    customer: str = ""
    paper: Paper = Paper.A4
    unit: LengthUnit = LengthUnit.MM


def length(mm: float, unit: LengthUnit, *, decimals: int = 0) -> str:
    """A length for people: whole mm by default, inches to two places more."""
    if unit is LengthUnit.INCH:
        return f"{mm / _MM_PER_INCH:.{decimals + 2}f} in"
    return f"{_grouped(mm, decimals)} mm"


def run(mm: float, unit: LengthUnit) -> str:
    """A length of roll for people: metres, or feet."""
    if unit is LengthUnit.INCH:
        return f"{mm / _MM_PER_INCH / 12:.2f} ft"
    return f"{mm / 1000:.2f} m"


def area(mm2: float, unit: LengthUnit) -> str:
    """An area for people: square metres, or square feet."""
    if unit is LengthUnit.INCH:
        return f"{mm2 / _MM2_PER_FOOT2:.2f} ft²"
    return f"{mm2 / 1e6:.3f} m²"


def per_cent(fraction: float, *, decimals: int = 1) -> str:
    """A fraction for people."""
    return f"{100 * fraction:.{decimals}f} %"


def sheet_values(head: Head, *, sheet: str, title: str, bay: bool = False) -> dict[str, Any]:
    """The values that `sheet.typ` needs: the title block and the paper.

    A sheet for the *bay* is read with wet hands: nothing on it is smaller than 11 points.
    """
    return {
        "title": one_line(title, most=120),
        "sheet": sheet,
        "small_pt": 11 if bay else 9.5,
        "head": {
            "workshop": one_line(head.workshop, most=44),
            "job": one_line(head.job, most=64),
            "number": one_line(head.number, most=20),
            "vehicle": one_line(head.vehicle, most=48),
            "dated": head.dated.isoformat(),
            "paper": head.paper.value,
        },
    }


def all_written(value: Any) -> Any:
    """Every text in nested lists and tables as it goes on a sheet (see `lettering`)."""
    if isinstance(value, str):
        return written(value)
    if isinstance(value, dict):
        return {key: all_written(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [all_written(item) for item in value]
    return value


def _grouped(value: float, decimals: int) -> str:
    return f"{value:,.{decimals}f}".replace(",", "\u00a0")
