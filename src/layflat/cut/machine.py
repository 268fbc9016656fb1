"""The machine: a roll-fed plotter with a drag knife, as far as a cut program depends on it."""

import json
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from importlib.resources import as_file, files
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike

from layflat.base import FloatArray, IntArray, SettingError, Settings, read_settings

_MAX_SOURCE = 500

LARGEST_UNIT = 2**30 - 1
"""The greatest number that HP-GL/2 knows."""

RANGES: Mapping[str, tuple[float, float]] = {
    "knife_offset_mm": (0.05, 2.0),
    "overcut_mm": (0.1, 5.0),
    "force_g": (1.0, 2000.0),
    "scale_x": (0.95, 1.05),
    "scale_y": (0.95, 1.05),
    "skew": (-0.05, 0.05),
}
"""Least and greatest of the values that a calibration sheet tells."""

LEAST_COMMAND_BYTES = 40
"""No limit of a command's length may be shorter: room for one place, and a little."""


@dataclass(frozen=True, kw_only=True)
class Machine:
    """A plotter with its knife.

    Attributes:
        name: what the shop calls it.
        knife_offset_mm: how far the blade's tip trails behind its pivot.
        overcut_mm: how far a closed cut runs on beyond its start.
        cut_speed_mm_s, travel_speed_mm_s: greatest speeds, knife down and knife up.
        acceleration_mm_s2: greatest acceleration along the path, for the time estimate.
        force_g: knife force, in grams as machines state it.
        max_width_mm: how far across the roll the knife reaches.
        max_section_mm: the longest stretch of roll that is cut in one go.
        units_per_mm: plotter units in a millimetre; 40 in HP-GL.
        junction_deviation_mm: how far the head may round off a joint, for the time estimate.
        knife_move_s: time of one lowering or lifting of the knife, for the time estimate.
        send_speed: whether the program sets the speed (`VS`, device dependent).
        send_force: whether the program sets the force (`FS`, device dependent).
        buffer_bytes: how much of a program it takes in before it has cut it; 0 if nobody knows.
        answers_position: whether it answers `OA` (output actual position), and only once all that
            came before has been done.
        scale_x, scale_y: how far the machine goes along and across the roll for 1 mm told.
        skew: how far it strays along the roll for 1 mm told across it.
        walk: how far the film walks across for 1 mm told along the roll.
        speed_by_curve: whether it takes `VS` while it cuts, so that tight curves are told slower.
        speed_unit_mm_s: what `VS1` means; 10 in HP-GL, which counts in cm/s.
        least_speed_mm_s: it is told no slower than this on any curve.
        origin_x_mm, origin_y_mm: where the machine counts from, along the roll from the section's
            start and across it from its edge.
        mirror_x, mirror_y: whether it counts towards the section's start, and towards the edge.
        swap_axes: whether its x runs across the roll.
        relative: whether cuts are told in steps (`PR`), each from the place before.
        most_command_bytes: no command is longer; 0 if that does not matter.
        largest_unit: no coordinate is greater in amount; 32 767 in the older HP-GL.
        sources: for each value, a sentence that says where it is from.
        defaults: the values that the machine file did not give.
    """

    name: str
    knife_offset_mm: float
    overcut_mm: float
    cut_speed_mm_s: float
    travel_speed_mm_s: float
    acceleration_mm_s2: float
    force_g: float
    max_width_mm: float
    max_section_mm: float
    units_per_mm: float = 40.0
    junction_deviation_mm: float = 0.02
    knife_move_s: float = 0.05
    send_speed: bool = False
    send_force: bool = False
    buffer_bytes: int = 0
    answers_position: bool = False
    scale_x: float = 1.0
    scale_y: float = 1.0
    skew: float = 0.0
    walk: float = 0.0
    speed_by_curve: bool = False
    speed_unit_mm_s: float = 10.0
    least_speed_mm_s: float = 20.0
    origin_x_mm: float = 0.0
    origin_y_mm: float = 0.0
    mirror_x: bool = False
    mirror_y: bool = False
    swap_axes: bool = False
    relative: bool = False
    most_command_bytes: int = 0
    largest_unit: int = LARGEST_UNIT
    sources: Mapping[str, str] = field(default_factory=dict)
    defaults: Mapping[str, float | bool] = field(default_factory=dict)

    @property
    def is_plain(self) -> bool:
        """Whether it is told a program as it stands: absolute, x along the roll, from its edge."""
        turned = self.mirror_x or self.mirror_y or self.swap_axes or self.relative
        moved = self.origin_x_mm != 0.0 or self.origin_y_mm != 0.0
        return not (turned or moved or self.most_command_bytes)

    @property
    def feed(self) -> FloatArray:
        """(2, 2) float64: what a told place (x, y) becomes on the film, as `feed @ told`."""
        return np.array([[self.scale_x, self.skew], [self.walk, self.scale_y]])

    @property
    def is_true(self) -> bool:
        """Whether it goes where it is told."""
        return self.scale_x == self.scale_y == 1.0 and self.skew == self.walk == 0.0

    def told(self, points_mm: ArrayLike) -> FloatArray:
        """(n, 2) float64: what the machine has to be told to go to (n, 2) places on the film."""
        points = np.asarray(points_mm, dtype=np.float64)
        return points if self.is_true else points @ np.linalg.inv(self.feed).T

    def landed(self, told_mm: ArrayLike) -> FloatArray:
        """(n, 2) float64: the places on the film that (n, 2) told places become."""
        points = np.asarray(told_mm, dtype=np.float64)
        return points if self.is_true else points @ self.feed.T

    def told_start(self, start_units: int) -> IntArray:
        """(2,) int64: where a section begins in a program of several, in told plotter units."""
        start = np.array([start_units / self.units_per_mm, 0.0])
        found: IntArray = np.rint(self.told(start) * self.units_per_mm).astype(np.int64)
        return found


def _sources(settings: Settings) -> dict[str, str]:
    """The sentences of the table `sources`, each for a value that a machine has."""
    table = settings.table("sources", optional=True)
    known = {item.name for item in fields(Machine)}
    found = {}
    for name in table.names():
        if name not in known:
            raise SettingError(f"{table.where}: “{name}” is not a value of a machine.")
        found[name] = table.text(name, most=_MAX_SOURCE)
    return found


def _machine(settings: Settings) -> Machine:
    """The machine in a table; see `read_machine` for the ranges."""

    def ranged(name: str, default: float | None = None) -> float:
        least, most = RANGES[name]
        return settings.number(name, least=least, most=most, default=default)

    machine = Machine(
        name=settings.text("name"),
        knife_offset_mm=ranged("knife_offset_mm"),
        overcut_mm=ranged("overcut_mm"),
        cut_speed_mm_s=settings.number("cut_speed_mm_s", least=1.0, most=2000.0),
        travel_speed_mm_s=settings.number("travel_speed_mm_s", least=1.0, most=5000.0),
        acceleration_mm_s2=settings.number("acceleration_mm_s2", least=10.0, most=100_000.0),
        force_g=ranged("force_g"),
        max_width_mm=settings.number("max_width_mm", least=100.0, most=5000.0),
        max_section_mm=settings.number("max_section_mm", least=50.0, most=50_000.0),
        units_per_mm=settings.number("units_per_mm", least=20.0, most=1000.0, default=40.0),
        junction_deviation_mm=settings.number(
            "junction_deviation_mm", least=0.001, most=0.5, default=0.02
        ),
        knife_move_s=settings.number("knife_move_s", least=0.001, most=2.0, default=0.05),
        send_speed=settings.flag("send_speed", default=False),
        send_force=settings.flag("send_force", default=False),
        buffer_bytes=settings.integer("buffer_bytes", least=0, most=100_000_000, default=0),
        answers_position=settings.flag("answers_position", default=False),
        scale_x=ranged("scale_x", 1.0),
        scale_y=ranged("scale_y", 1.0),
        skew=ranged("skew", 0.0),
        walk=settings.number("walk", least=-0.05, most=0.05, default=0.0),
        speed_by_curve=settings.flag("speed_by_curve", default=False),
        speed_unit_mm_s=settings.number("speed_unit_mm_s", least=0.1, most=100.0, default=10.0),
        least_speed_mm_s=settings.number("least_speed_mm_s", least=1.0, most=2000.0, default=20.0),
        origin_x_mm=settings.number("origin_x_mm", least=-50_000, most=50_000, default=0.0),
        origin_y_mm=settings.number("origin_y_mm", least=-5000.0, most=5000.0, default=0.0),
        mirror_x=settings.flag("mirror_x", default=False),
        mirror_y=settings.flag("mirror_y", default=False),
        swap_axes=settings.flag("swap_axes", default=False),
        relative=settings.flag("relative", default=False),
        most_command_bytes=settings.integer(
            "most_command_bytes", least=0, most=1_000_000, default=0
        ),
        largest_unit=settings.integer(
            "largest_unit", least=1000, most=LARGEST_UNIT, default=LARGEST_UNIT
        ),
        sources=_sources(settings),
        defaults=dict(settings.defaults),
    )
    settings.finish()
    if 0 < machine.most_command_bytes < LEAST_COMMAND_BYTES:
        raise SettingError(
            f"{settings.where}: no command fits into {machine.most_command_bytes} bytes; give 0 "
            f"for no limit, or at least {LEAST_COMMAND_BYTES}."
        )
    return machine


def read_machine(path: Path) -> Machine:
    """The machine in the TOML file at *path*.

    Ranges: knife offset 0.05 to 2 mm, overcut 0.1 to 5 mm, speeds 1 to 2000 (cutting) and 5000
    mm/s (travel), acceleration 10 to 100 000 mm/s², force 1 to 2000 g, width 100 to 5000 mm,
    section 50 to 50 000 mm, 20 to 1000 units per mm, scales 0.95 to 1.05, skew and walk -0.05 to
    0.05, buffer 0 to 100 000 000 bytes, unit of speed 0.1 to 100 mm/s, origin -50 000 to 50 000 mm
    along and -5000 to 5000 mm across, commands 0 (any) or 40 to 1 000 000 bytes, greatest
    coordinate 1000 to 2³⁰ - 1. Only the first eight and `max_section_mm` must be given.

    Raises:
        SettingError: a value is missing, unknown or out of its range.
        InputError: the file cannot be read.
    """
    return _machine(read_settings(path))


def generic_machine() -> Machine:
    """The plotter that stands for any; each value's source is in `Machine.sources`."""
    with as_file(files("layflat.cut") / "generic.toml") as path:
        return read_machine(path)


def machine_toml(machine: Machine) -> str:
    """The machine as the text of a machine file; `read_machine` reads the same machine again."""
    values = {
        item.name: getattr(machine, item.name)
        for item in fields(Machine)
        if item.name not in ("sources", "defaults")
    }
    lines = [f"{name} = {_plain(value)}" for name, value in values.items()]
    if machine.sources:
        lines += ["", "[sources]"]
        lines += [f"{name} = {_plain(text)}" for name, text in machine.sources.items()]
    return "\n".join(lines) + "\n"


def _plain(value: str | float | bool) -> str:
    """A value as TOML writes it."""
    if isinstance(value, str):
        # A basic string of TOML is written as JSON's strings are, but for one more character.
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, bool):
        return str(value).lower()
    return repr(value if isinstance(value, int) else float(value))
