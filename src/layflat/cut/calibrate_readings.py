"""What a person read off a calibration sheet: checked, and the form to fill in."""

import datetime
import math
from dataclasses import dataclass
from pathlib import Path

from layflat.base import SettingError, Settings, read_settings
from layflat.cut.calibrate_sheet import CalibrationSheet

LENGTHS = {
    "ab_mm": "A to B",
    "dc_mm": "D to C",
    "ad_mm": "A to D",
    "bc_mm": "B to C",
    "ac_mm": "A to C, a diagonal",
    "bd_mm": "B to D, a diagonal",
    "along_mm": "the circle along the roll",
    "across_mm": "the circle across the roll",
    "rising_mm": "the circle along A to C",
    "falling_mm": "the circle along B to D",
}
"""The lengths that are read with the ruler, and what messages call them."""

SCORES = (
    "film not parted",
    "film parted, liner without a mark",
    "liner scored on its surface",
    "liner scored deep",
    "liner cut through",
)
"""What a force did, from 0 to 4; 2 is wanted."""

_OFF = 0.05
"""How far a length may be from the sheet's, as a share; more is another unit or another sheet."""


@dataclass(frozen=True, kw_only=True)
class Step:
    """One reading in a row: of which step, and what was read."""

    at: float
    read: float


@dataclass(frozen=True, kw_only=True)
class Diagonals:
    """The diagonals of four crosses of witness marks, as a tape reads them.

    Attributes:
        along_mm, across_mm: of the rectangle, as the cut report says.
        rising_mm: from the near margin's first cross to the far margin's last one.
        falling_mm: from the far margin's first cross to the near margin's last one.
    """

    along_mm: float
    across_mm: float
    rising_mm: float
    falling_mm: float


@dataclass(frozen=True, kw_only=True)
class Readings:
    """What was read off a calibration sheet.

    Attributes:
        day: when.
        side_mm, circle_mm: of the sheet, as its paper says.
        lengths: read with the ruler, by the names of `LENGTHS`; any may be missing.
        gaps: knife offsets of the row, with the gap in mm between the two ends, less than 0 where
            they run past each other.
        bridges: overcuts of the row, with the length in mm that stayed uncut, 0 where none.
        scores: forces in grams, with what they did (see `SCORES`).
        rectangles: diagonals of witness marks of a program that was made with the machine file.
        ruler_mm, loupe_mm: what a reading can be off by at most.
        defaults: values that nobody gave.
    """

    day: datetime.date
    side_mm: float
    circle_mm: float
    lengths: dict[str, float]
    gaps: tuple[Step, ...] = ()
    bridges: tuple[Step, ...] = ()
    scores: tuple[Step, ...] = ()
    rectangles: tuple[Diagonals, ...] = ()
    ruler_mm: float = 0.25
    loupe_mm: float = 0.05
    defaults: dict[str, float] | None = None

    def __post_init__(self) -> None:
        for name, value in self.lengths.items():
            meant = nominal_mm(name, side_mm=self.side_mm, circle_mm=self.circle_mm)
            if not abs(value - meant) <= _OFF * meant:
                raise SettingError(
                    f"“{name}” ({LENGTHS[name]}) is {value:g} mm where the sheet has {meant:.1f} "
                    "mm. No machine strays that far: look at the reading, its unit, and whether "
                    "it is from this sheet."
                )
        for one in self.rectangles:
            meant = math.hypot(one.along_mm, one.across_mm)
            for value in (one.rising_mm, one.falling_mm):
                if not abs(value - meant) <= _OFF * meant:
                    raise SettingError(
                        f"A diagonal of {value:g} mm is none of a rectangle of {one.along_mm:g} by "
                        f"{one.across_mm:g} mm, which has {meant:.1f} mm. Look at the reading, and "
                        "at the return in the cut report that it belongs to."
                    )
        for rows, what in (
            (self.gaps, "offset"),
            (self.bridges, "overcut"),
            (self.scores, "force"),
        ):
            steps = [row.at for row in rows]
            twice = next((step for step in steps if steps.count(step) > 1), None)
            if twice is not None:
                raise SettingError(f"The {what} {twice:g} is there twice; leave one reading.")
        if not (self.lengths or self.gaps or self.bridges or self.scores or self.rectangles):
            raise SettingError(
                "There is no reading: measure the sheet, take the # from the lines that you fill "
                "in, and write the numbers behind the = signs."
            )


def nominal_mm(name: str, *, side_mm: float, circle_mm: float) -> float:
    """What a length of `LENGTHS` is on a sheet that was cut true."""
    return math.hypot(*direction(name, side_mm=side_mm, circle_mm=circle_mm))


def direction(name: str, *, side_mm: float, circle_mm: float) -> tuple[float, float]:
    """From one end of a length of `LENGTHS` to the other, as the machine was told, in mm."""
    slant = circle_mm / math.sqrt(2.0)
    return {
        "ab_mm": (side_mm, 0.0),
        "dc_mm": (side_mm, 0.0),
        "ad_mm": (0.0, side_mm),
        "bc_mm": (0.0, side_mm),
        "ac_mm": (side_mm, side_mm),
        "bd_mm": (-side_mm, side_mm),
        "along_mm": (circle_mm, 0.0),
        "across_mm": (0.0, circle_mm),
        "rising_mm": (slant, slant),
        "falling_mm": (-slant, slant),
    }[name]


def read_readings(path: Path) -> Readings:
    """The readings in the TOML file at *path*.

    Raises:
        SettingError: the file is not TOML, a value is missing, unknown or absurd, or a length is
            more than 5 % from the sheet's.
        InputError: the file cannot be read.
    """
    settings = read_settings(path)
    day = settings.day("day")
    rectangles = tuple(_diagonals(row) for row in settings.tables("rectangle", optional=True))
    # Diagonals of witness marks need no calibration sheet.
    side, circle = 0.0, 0.0
    if "sheet" in settings or "ruler" in settings or not rectangles:
        sheet = settings.table("sheet")
        side = sheet.number("side_mm", least=100.0, most=5000.0)
        circle = sheet.number("circle_mm", least=10.0, most=5000.0)
        sheet.finish()
    ruler = settings.table("ruler", optional=True)
    lengths = {
        name: ruler.number(name, least=1.0, most=20_000.0) for name in LENGTHS if name in ruler
    }
    ruler_mm = ruler.number("reading_mm", least=0.02, most=2.0, default=0.25)
    _finish(ruler, LENGTHS)
    loupe = settings.table("loupe", optional=True)
    loupe_mm = loupe.number("reading_mm", least=0.01, most=0.5, default=0.05)
    loupe.finish()
    gaps = tuple(
        _step(row, "offset_mm", "gap_mm", at=(0.0, 3.0), read_range=(-6.0, 6.0))
        for row in settings.tables("offset", optional=True)
    )
    bridges = tuple(
        _step(row, "overcut_mm", "bridge_mm", at=(0.0, 5.0), read_range=(0.0, 6.0))
        for row in settings.tables("overcut", optional=True)
    )
    scores = tuple(
        _step(row, "force_g", "score", at=(1.0, 2000.0), read_range=(0.0, 4.0))
        for row in settings.tables("force", optional=True)
    )
    settings.finish()
    defaults = {f"ruler.{k}": v for k, v in ruler.defaults.items()}
    defaults |= {f"loupe.{k}": v for k, v in loupe.defaults.items()}
    try:
        return Readings(
            day=day,
            side_mm=side,
            circle_mm=circle,
            lengths=lengths,
            gaps=gaps,
            bridges=bridges,
            scores=scores,
            rectangles=rectangles,
            ruler_mm=ruler_mm,
            loupe_mm=loupe_mm,
            defaults=defaults,
        )
    except SettingError as error:
        raise SettingError(f"{path}: {error}") from error


def _finish(table: Settings, known: dict[str, str]) -> None:
    """Refuse what is not known, with every name that is."""
    unknown = next((name for name in table.names() if name not in (*known, "reading_mm")), None)
    if unknown is not None:
        raise SettingError(
            f"{table.where}: “{unknown}” is not a value that is known here; known are "
            f"{', '.join((*known, 'reading_mm'))}."
        )


def _step(
    row: Settings, step: str, read: str, *, at: tuple[float, float], read_range: tuple[float, float]
) -> Step:
    found = Step(
        at=row.number(step, least=at[0], most=at[1]),
        read=row.number(read, least=read_range[0], most=read_range[1]),
    )
    row.finish()
    return found


def _diagonals(row: Settings) -> Diagonals:
    found = Diagonals(
        along_mm=row.number("along_mm", least=20.0, most=50_000.0),
        across_mm=row.number("across_mm", least=20.0, most=5000.0),
        rising_mm=row.number("rising_mm", least=20.0, most=60_000.0),
        falling_mm=row.number("falling_mm", least=20.0, most=60_000.0),
    )
    row.finish()
    return found


def readings_form(sheet: CalibrationSheet, *, day: datetime.date) -> str:
    """A file of readings to fill in: what nobody measured keeps its # and is left alone."""
    lines = [
        "# What the ruler and the loupe say about a calibration sheet. Fill in what was measured",
        "# and take the # from those lines; what was not measured stays as it was.",
        f"day = {day.isoformat()}",
        "",
        "[sheet]",
        f"side_mm = {sheet.side_mm:g}",
        f"circle_mm = {sheet.circle_mm:g}",
        "",
        "[ruler]  # mm, from the middle of one cross to the middle of another",
        "reading_mm = 0.25  # what a reading can be off by at most",
    ]
    lines += [f"# {name} =   # {words}" for name, words in LENGTHS.items()]
    lines += [
        "",
        "[loupe]",
        "reading_mm = 0.05  # what a reading can be off by at most",
        "",
        "# Row of offsets: the gap between the two ends in mm; with a minus where they pass by.",
    ]
    for offset in sheet.offsets_mm:
        lines += ["# [[offset]]", f"# offset_mm = {offset:g}", "# gap_mm = "]
    lines += ["", "# Row of overcuts: the length in mm that stayed uncut; 0 where it came free."]
    for overcut in sheet.overcuts_mm:
        lines += ["# [[overcut]]", f"# overcut_mm = {overcut:g}", "# bridge_mm = "]
    lines += ["", "# Row of forces: what each did."]
    lines += [f"#   {score}: {words}" for score, words in enumerate(SCORES)]
    for force in sheet.forces_g or ("",):
        lines += ["# [[force]]", f"# force_g = {force}", "# score = "]
    return "\n".join(lines) + "\n"
