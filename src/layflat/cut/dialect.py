"""Programs as a machine counts: its origin, its axes, steps in place of places, short commands.

Within Layflat every program counts plotter units from the section's start and the roll's edge, x
along the roll, in absolute places; all that checks, bends, resumes or recovers reads that. A
machine that counts otherwise is told the same commands in its own way, one by one, at the very
end, and what it is told is read back and compared before it is handed out.

The commands are those of Hewlett-Packard, PCL 5 Printer Language Technical Reference Manual, Part
II (HP-GL/2): `PR` and `PA` (page 20-32), and as many places in one command as one likes, or few.
The head's way to a cut stays absolute, so that no sum of steps outlives a cut.
"""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from layflat.base import CheckError, FitError, FloatArray, InputError
from layflat.cut.machine import Machine
from layflat.cut.reader import read_program
from layflat.cut.records import CutProgram

_COMMAND = re.compile(r"([A-Z]{2})([^;]*);\s*")
_SAME_MM = 1e-6

Place = tuple[int, int]


@dataclass(frozen=True)
class Told:
    """One command of a program, and what a machine is told for it.

    Attributes:
        start: its offset in the plain text.
        plain, told: the text of both, with the white space that follows.
        point: where the head stands after it, as the machine counts; None before it moved.
    """

    start: int
    plain: str
    told: str
    point: Place | None


def told_place(x: int, y: int, machine: Machine) -> Place:
    """A place in plotter units as the machine counts it."""
    units = machine.units_per_mm
    along, across = x - round(machine.origin_x_mm * units), y - round(machine.origin_y_mm * units)
    along, across = -along if machine.mirror_x else along, -across if machine.mirror_y else across
    return (across, along) if machine.swap_axes else (along, across)


def plain_place(u: int, v: int, machine: Machine) -> Place:
    """A place as the machine counts it, in plain plotter units."""
    units = machine.units_per_mm
    along, across = (v, u) if machine.swap_axes else (u, v)
    along, across = -along if machine.mirror_x else along, -across if machine.mirror_y else across
    return along + round(machine.origin_x_mm * units), across + round(machine.origin_y_mm * units)


def told_commands(text: str, machine: Machine) -> Iterator[Told]:
    """The commands of a plain program one by one, with what the machine is told for each.

    Raises:
        FitError: a coordinate is greater than the machine takes.
        InputError: a step is told before any place.
    """
    at: Place | None = None
    done = 0
    for match in _COMMAND.finditer(text):
        name, rest = match.group(1), match.group(2)
        told = match.group()
        if name in ("PU", "PD") and rest:
            numbers = [int(number) for number in rest.split(",")]
            places = [
                told_place(x, y, machine) for x, y in zip(numbers[::2], numbers[1::2], strict=True)
            ]
            _require_small(places, machine)
            end = match.group()[match.group().index(";") + 1 :]
            told = _told(name, places, at, machine) + end
            at = places[-1]
        yield Told(start=done, plain=text[done : match.end()], told=told, point=at)
        done = match.end()


def told_text(text: str, machine: Machine) -> str:
    """A plain program as the machine is told it; the same bytes where it counts plainly.

    Raises:
        FitError: a coordinate is greater than the machine takes.
        CheckError: what it would be told does not say the same; nothing is handed out.
    """
    if machine.is_plain:
        _require_small(_all_places(text), machine)
        return text
    told = "".join(each.told for each in told_commands(text, machine))
    _require_same(text, told, machine)
    return told


def told_whole(program: CutProgram, machine: Machine) -> str:
    """All sections of a program in one go, as the machine is told it.

    What lets the film walk or stray lets it do so from one section to the next: at last the head
    may no longer get to where it would have to cut.

    Raises:
        FitError: the head would have to leave the machine, or as `told_text`.
        CheckError: what it would be told does not say the same; nothing is handed out.
    """
    units = machine.units_per_mm
    told = np.vstack(
        [one.points_mm for one in read_program(program.hpgl, units_per_mm=units).strokes]
    )
    beyond = float(max(np.max(-told), np.max(told[:, 1]) - machine.max_width_mm))
    if beyond > 1.0 / units:
        raise FitError(
            f"All {len(program.sections)} sections in one go would take the head {beyond:.1f} mm "
            f"beyond what {machine.name} reaches, for the film walks on from one to the next: cut "
            "each section from a program of its own, the film led in anew for it."
        )
    return told_text(program.hpgl, machine)


def plain_text(text: str, machine: Machine) -> str:
    """The plain program that a machine was told; the same bytes where it counts plainly.

    Raises:
        InputError: no program of Layflat's for this machine reads so.
    """
    if machine.is_plain:
        return text
    parts: list[str] = []
    at: Place = (0, 0)
    relative = False
    for match in _COMMAND.finditer(text):
        name, rest = match.group(1), match.group(2)
        end = match.group()[match.group().index(";") + 1 :]
        if (name, rest) == ("PR", "") or (name == "PA" and relative):
            relative = name == "PR"
        elif name in ("PU", "PD") and rest:
            places, at = _read(rest, at, relative=relative)
            plain = [plain_place(*place, machine) for place in places]
            numbers = ",".join(f"{x},{y}" for x, y in plain)
            follows = name == "PD" and parts and parts[-1].startswith("PD")
            joined = f"{parts.pop().rstrip()[:-1]},{numbers}" if follows else f"{name}{numbers}"
            parts.append(f"{joined};\n")
        else:
            parts.append(f"{name}{rest};{end}")
    plain_program = "".join(parts)
    try:
        same = told_text(plain_program, machine) == text
    except (CheckError, FitError, InputError, ValueError):
        same = False
    if not same:
        raise InputError(
            f"The program is none that Layflat made for {machine.name}, which counts in its own "
            "way: name the machine file that it was made with, or make it anew."
        )
    return plain_program


def _told(name: str, places: Sequence[Place], at: Place | None, machine: Machine) -> str:
    """One command with places as a machine is told it; several where one would be too long."""
    steps = name == "PD" and machine.relative
    if not steps:
        return _chunks(name, places, machine.most_command_bytes)
    if at is None:
        raise InputError("The program lowers the knife before it says where.")
    before = [at, *places[:-1]]
    moves = [(x - a, y - b) for (x, y), (a, b) in zip(places, before, strict=True)]
    return f"PR;{_chunks(name, moves, machine.most_command_bytes)}PA;"


def _chunks(name: str, places: Sequence[Place], most: int) -> str:
    """Commands of the places in order, none longer than *most* bytes; 0 is as long as one likes."""
    words = [f"{x},{y}" for x, y in places]
    if not most:
        return f"{name}{','.join(words)};"
    parts: list[str] = []
    now = ""
    for word in words:
        if now and len(name) + len(now) + 1 + len(word) + 1 > most:
            parts.append(f"{name}{now};")
            now = word
        else:
            now = f"{now},{word}" if now else word
    return "".join([*parts, f"{name}{now};"])


def _read(rest: str, at: Place, *, relative: bool) -> tuple[list[Place], Place]:
    """The places of a command's numbers, and the last of them."""
    try:
        numbers = [int(number) for number in rest.split(",")]
        pairs = list(zip(numbers[::2], numbers[1::2], strict=True))
    except ValueError as error:
        raise InputError("The program has something else where whole numbers must be.") from error
    found = []
    for x, y in pairs:
        at = (at[0] + x, at[1] + y) if relative else (x, y)
        found.append(at)
    return found, at


def _all_places(text: str) -> list[Place]:
    found: list[Place] = []
    for match in _COMMAND.finditer(text):
        if match.group(1) in ("PU", "PD") and match.group(2):
            found += _read(match.group(2), (0, 0), relative=False)[0]
    return found


def _require_small(places: Sequence[Place], machine: Machine) -> None:
    most = max((max(abs(x), abs(y)) for x, y in places), default=0)
    if most > machine.largest_unit:
        units = machine.units_per_mm
        raise FitError(
            f"The program goes {most / units:.1f} mm from where {machine.name} counts from, and "
            f"its numbers end at {machine.largest_unit / units:.1f} mm: lay out in shorter "
            "sections, and send them one by one."
        )


def _require_same(text: str, told: str, machine: Machine) -> None:
    """What a machine is told, read back by the independent reader, says what the plain one does."""
    units = machine.units_per_mm
    plain = read_program(text, units_per_mm=units)
    back = read_program(told, units_per_mm=units)
    same = (
        len(plain.strokes) == len(back.strokes)
        and (plain.ends_up, plain.complete) == (back.ends_up, back.complete)
        and all(
            one.down == other.down
            and one.speeds == other.speeds
            and _alike(one.points_mm, _on_roll(other.points_mm, machine), is_first=i == 0)
            for i, (one, other) in enumerate(zip(plain.strokes, back.strokes, strict=True))
        )
    )
    too_long = machine.most_command_bytes and any(
        match.end() - match.start() > machine.most_command_bytes
        for match in re.finditer(r"[^;\s]+;", told)
    )
    if not same or too_long:
        raise CheckError(
            f"The program as {machine.name} counts does not say what was checked; it is not "
            "handed out."
        )


def _on_roll(points_mm: FloatArray, machine: Machine) -> FloatArray:
    """(n, 2) float64: places as the machine counts them, along and across the roll."""
    turned = points_mm[:, ::-1] if machine.swap_axes else points_mm
    signs = np.array([-1.0 if machine.mirror_x else 1.0, -1.0 if machine.mirror_y else 1.0])
    units = machine.units_per_mm
    origin = np.rint(np.array([machine.origin_x_mm, machine.origin_y_mm]) * units) / units
    found: FloatArray = turned * signs + origin
    return found


def _alike(one: FloatArray, other: FloatArray, *, is_first: bool) -> bool:
    """Whether two runs are the same; where the head is at the very first is not the program's."""
    if one.shape != other.shape:
        return False
    skip = 1 if is_first else 0
    return bool(np.allclose(one[skip:], other[skip:], rtol=0.0, atol=_SAME_MM))
