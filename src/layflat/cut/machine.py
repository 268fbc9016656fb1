"""The machine: a roll-fed plotter with a drag knife, as far as a cut program depends on it."""

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from importlib.resources import as_file, files
from pathlib import Path

from layflat.base import SettingError, Settings, read_settings


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
    sources: Mapping[str, str] = field(default_factory=dict)
    defaults: Mapping[str, float | bool] = field(default_factory=dict)


def _sources(settings: Settings) -> dict[str, str]:
    """The sentences of the table `sources`, each for a value that a machine has."""
    table = settings.table("sources", optional=True)
    known = {item.name for item in fields(Machine)}
    found = {}
    for name in table.names():
        if name not in known:
            raise SettingError(f"{table.where}: “{name}” is not a value of a machine.")
        found[name] = table.text(name, most=500)
    return found


def _machine(settings: Settings) -> Machine:
    """The machine in a table; see `read_machine` for the ranges."""
    offset = settings.number("knife_offset_mm", least=0.05, most=2.0)
    machine = Machine(
        name=settings.text("name"),
        knife_offset_mm=offset,
        overcut_mm=settings.number("overcut_mm", least=0.1, most=5.0),
        cut_speed_mm_s=settings.number("cut_speed_mm_s", least=1.0, most=2000.0),
        travel_speed_mm_s=settings.number("travel_speed_mm_s", least=1.0, most=5000.0),
        acceleration_mm_s2=settings.number("acceleration_mm_s2", least=10.0, most=100_000.0),
        force_g=settings.number("force_g", least=1.0, most=2000.0),
        max_width_mm=settings.number("max_width_mm", least=100.0, most=5000.0),
        max_section_mm=settings.number("max_section_mm", least=50.0, most=50_000.0),
        units_per_mm=settings.number("units_per_mm", least=20.0, most=1000.0, default=40.0),
        junction_deviation_mm=settings.number(
            "junction_deviation_mm", least=0.001, most=0.5, default=0.02
        ),
        knife_move_s=settings.number("knife_move_s", least=0.001, most=2.0, default=0.05),
        send_speed=settings.flag("send_speed", default=False),
        send_force=settings.flag("send_force", default=False),
        sources=_sources(settings),
        defaults=dict(settings.defaults),
    )
    settings.finish()
    return machine


def read_machine(path: Path) -> Machine:
    """The machine in the TOML file at *path*.

    Ranges: knife offset 0.05 to 2 mm, overcut 0.1 to 5 mm, speeds 1 to 2000 (cutting) and 5000
    mm/s (travel), acceleration 10 to 100 000 mm/s², force 1 to 2000 g, width 100 to 5000 mm,
    section 50 to 50 000 mm, 20 to 1000 units per mm. `units_per_mm`, `junction_deviation_mm`,
    `knife_move_s`, `send_speed`, `send_force` and the table `sources` may be left out.

    Raises:
        SettingError: a value is missing, unknown or out of its range.
        InputError: the file cannot be read.
    """
    return _machine(read_settings(path))


def generic_machine() -> Machine:
    """The plotter that stands for any; each value's source is in `Machine.sources`."""
    with as_file(files("layflat.cut") / "generic.toml") as path:
        return read_machine(path)
