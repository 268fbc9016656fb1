"""An independent reader of cut programs: HP-GL text back to strokes.

It shares nothing with the writer, so that a fault in one cannot hide behind the same fault in
the other. Grammar after Hewlett-Packard, PCL 5 Printer Language Technical Reference Manual,
Part II (HP-GL/2), pages 17-7 to 17-11 and 20-32: two letters, upper or lower case; parameters
apart by commas, white space or a sign; an end by a semicolon or the next command.
"""

import itertools
import re
from dataclasses import dataclass, field

from layflat.base import FloatArray, InputError, frozen

MAX_BYTES = 64_000_000
MAX_POINTS = 2_000_000
MAX_NUMBER = 2**30 - 1

_COMMAND = re.compile(r"[\s;]*([A-Za-z]{2})([^A-Za-z;]*)")
_NUMBER = re.compile(r"[+-]?(?:\d{1,12}(?:\.\d{0,12})?|\.\d{1,12})")
_WHOLE = re.compile(r"-?\d{1,9}(?:,-?\d{1,9})*")
_IGNORED = ("CI", "AA", "SC", "IP", "FS")


@dataclass(frozen=True, eq=False)
class Stroke:
    """One run of the head with the knife up or down.

    Attributes:
        down: whether the knife is down.
        points_mm: (k, 2) float64, k >= 2 knife up, k >= 1 knife down (a single point is a stab).
        speeds: for each of its k - 1 stretches the number of the `VS` that held there; none where
            the program had not set a speed by then.
    """

    down: bool
    points_mm: FloatArray
    speeds: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "points_mm", frozen(self.points_mm).reshape(-1, 2))


@dataclass(frozen=True)
class Reading:
    """What a cut program says.

    Attributes:
        strokes: in order, up and down.
        ends_up: whether the knife is up at the end.
        complete: whether the last command is closed by its semicolon.
        notes: sentences on commands that were read over.
    """

    strokes: tuple[Stroke, ...]
    ends_up: bool
    complete: bool
    notes: tuple[str, ...] = ()


@dataclass
class _Head:
    """The plotter's state while a program is read, in plotter units; a run is x, y, x, y …."""

    at: tuple[float, float] = (0.0, 0.0)
    down: bool = False
    pen: bool = False
    relative: bool = False
    speed: float | None = None
    run: list[float] = field(default_factory=list)
    speeds: list[float] = field(default_factory=list)
    runs: list[tuple[bool, list[float], list[float]]] = field(default_factory=list)
    points: int = 0

    def end_run(self) -> None:
        """Close the present run; one that goes nowhere with the knife up is nothing."""
        if len(self.run) > 2 or (self.down and self.run and self.pen):
            told = self.speeds if len(self.speeds) == len(self.run) // 2 - 1 else []
            self.runs.append((self.down and self.pen, self.run, told))
        self.run, self.speeds = [*self.at], []

    def set_down(self, down: bool) -> None:
        if down != self.down:
            self.end_run()
            self.down = down

    def move(self, numbers: list[float], *, where: str) -> None:
        if len(numbers) % 2:
            raise InputError(f"The cut program has an odd number of coordinates {where}.")
        self.points += len(numbers) // 2
        if self.points > MAX_POINTS:
            raise InputError(f"The cut program has more than {MAX_POINTS} points.")
        if self.speed is not None:
            self.speeds += [self.speed] * (len(numbers) // 2)
        if not numbers:
            return
        if self.relative:
            for axis in (0, 1):
                steps = itertools.accumulate(numbers[axis::2], initial=self.at[axis])
                numbers[axis::2] = list(steps)[1:]
        self.run += numbers
        self.at = (numbers[-2], numbers[-1])


def _numbers(text: str, *, where: str) -> list[float]:
    """The numbers of one command, in order."""
    if _WHOLE.fullmatch(text):
        # Whole numbers apart by commas, as nearly always: none of them can be out of range.
        return list(map(float, text.split(",")))
    found: list[float] = []
    rest = text
    while rest := rest.lstrip(", \t\r\n"):
        match = _NUMBER.match(rest)
        if match is None:
            raise InputError(f"The cut program has {rest[:12]!r} where a number must be, {where}.")
        value = float(match.group())
        if abs(value) > MAX_NUMBER:
            raise InputError(
                f"The cut program has the number {match.group()} {where}, beyond HP-GL/2's range."
            )
        found.append(value)
        rest = rest[match.end() :]
    return found


def _obey(head: _Head, name: str, numbers: list[float], *, where: str) -> bool:
    """Do one command; False if it is not one that moves or switches anything here."""
    if name == "IN":
        head.set_down(False)
        head.relative = False
        head.pen = False
        head.at = (0.0, 0.0)
        head.end_run()
        head.run, head.speed = [*head.at], None
    elif name == "SP":
        head.end_run()
        head.pen = bool(numbers and numbers[0])
    elif name in ("PU", "PD"):
        head.set_down(name == "PD")
        head.move(numbers, where=where)
    elif name in ("PA", "PR"):
        head.relative = name == "PR"
        head.move(numbers, where=where)
    elif name == "VS":
        head.speed = numbers[0] if numbers else None
    else:
        return False
    return True


def read_program(text: str, *, units_per_mm: float = 40.0) -> Reading:
    """The strokes of an HP-GL cut program and how it ends.

    `IN`, `SP`, `PU`, `PD`, `PA`, `PR` and `VS` are obeyed; `CI`, `AA`, `SC`, `IP` and `FS` are
    read over with a note. Nothing is cut before a pen is selected, as the reference says.

    Args:
        text: the program; at most 64 MB and 2 million points.
        units_per_mm: plotter units in a millimetre, above 0.

    Raises:
        InputError: it is too large, or has an unknown command, a malformed or huge number, or
            an odd number of coordinates.
    """
    if len(text) > MAX_BYTES:
        raise InputError(f"The cut program has more than {MAX_BYTES // 1_000_000} MB.")
    head = _Head()
    head.run = [*head.at]
    ignored: dict[str, int] = {}
    position, count = 0, 0
    while match := _COMMAND.match(text, position):
        position, count = match.end(), count + 1
        name = match.group(1).upper()
        where = f"in command {count} ({name})"
        numbers = _numbers(match.group(2), where=where)
        if not _obey(head, name, numbers, where=where):
            if name not in _IGNORED:
                raise InputError(
                    f"The cut program has the unknown command {name} (number {count})."
                )
            ignored[name] = ignored.get(name, 0) + 1
    rest = text[position:].strip("; \t\r\n")
    if rest:
        raise InputError(f"The cut program has {rest[:12]!r} where a command must be.")
    head.end_run()
    return Reading(
        strokes=tuple(
            Stroke(down=down, points_mm=frozen(run) / units_per_mm, speeds=tuple(speeds))
            for down, run, speeds in head.runs
        ),
        ends_up=not (head.down and head.pen),
        complete=text.rstrip().endswith(";"),
        notes=tuple(f"{name} was read over ({n} times)." for name, n in ignored.items()),
    )


def read_hpgl(text: str, *, units_per_mm: float = 40.0) -> tuple[Stroke, ...]:
    """The strokes of an HP-GL cut program in mm, up and down, in order; see `read_program`.

    Raises:
        InputError: as for `read_program`.
    """
    return read_program(text, units_per_mm=units_per_mm).strokes
