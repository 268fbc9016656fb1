"""What was read off a section's witness marks, as a file."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from layflat.base import Settings, read_settings
from layflat.cut.drift import READING_MM, TOLERANCE_MM, SlipReading


@dataclass(frozen=True, kw_only=True)
class MarkReadings:
    """What was read off a section's witness marks, as it was written down.

    Attributes:
        every_mm: the interval that the marks were made with.
        readings: a reading for each mark that was read.
        tolerance_mm, reading_mm, sure: see `judge_drift`.
        defaults: values that nobody gave.
    """

    every_mm: float
    readings: tuple[SlipReading, ...]
    tolerance_mm: float = TOLERANCE_MM
    reading_mm: float = READING_MM
    sure: bool = False
    defaults: Mapping[str, float | bool] = field(default_factory=dict)


def read_marks(path: Path) -> MarkReadings:
    """The readings of witness marks in the TOML file at *path*.

    Raises:
        SettingError: the file is not TOML, or a value is missing, unknown or absurd.
        InputError: the file cannot be read.
    """
    settings = read_settings(path)
    found = MarkReadings(
        every_mm=settings.number("every_mm", least=50.0, most=10_000.0),
        tolerance_mm=settings.number("tolerance_mm", least=0.05, most=5.0, default=TOLERANCE_MM),
        reading_mm=settings.number("reading_mm", least=0.02, most=2.0, default=READING_MM),
        sure=settings.flag("sure", default=False),
        readings=tuple(_slip(row) for row in settings.tables("mark")),
        defaults=dict(settings.defaults),
    )
    settings.finish()
    return found


def _slip(row: Settings) -> SlipReading:
    found = SlipReading(
        mark=row.text("name"),
        dx_mm=row.number("dx_mm", least=-100.0, most=100.0),
        dy_mm=row.number("dy_mm", least=-100.0, most=100.0),
    )
    row.finish()
    return found
