"""Strip tests: what a shop hung on a strip of film and read off a tape.

A strip without its liner, marked with two lines, is hung with one weight after another; after each
wait the distance of the lines is read, and again after the weight was taken off. The file is TOML;
its reading errors are the most that a reading can be off, to either side.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path

from layflat.base import SettingError, Settings, read_settings
from layflat.film.material import Basis

GRAVITY_N_KG = 9.80665
"""Standard gravity, newtons for a kilogram (ISO 80000-3; it differs by 0.3 % over the Earth)."""

FEWEST_LOADS = 4
"""Three numbers are fitted to the rows and the marked length; one more row tests the fit."""

MOST_STRESS_MPA = 60.0
"""Printed urethane tears at 17.8 to 32.5 MPa (Engineering Proceedings 113 (2025) 19, abstract);
films at up to about 60 (from memory)."""

CAUTION = (
    "Weights fall on feet and film snaps back: hang the strip low over a padded box, keep feet, "
    "hands and face away, wear safety glasses and closed shoes."
)


@dataclass(frozen=True, kw_only=True)
class Strip:
    """A strip of film and how well it was measured.

    Attributes:
        width_mm, thickness_um: of the film, liner off.
        marked_mm: distance of the two lines before the first load.
        width_error_mm, thickness_error_um, reading_mm, load_error_g: the most that the width, the
            thickness, a length between the lines, and a load can be off, to either side.
        thickness_basis: whether the thickness was measured, is from a test report, or assumed.
    """

    width_mm: float
    thickness_um: float
    marked_mm: float
    width_error_mm: float = 0.2
    thickness_error_um: float = 5.0
    reading_mm: float = 0.5
    load_error_g: float = 1.0
    thickness_basis: Basis = Basis.ASSUMED

    @property
    def area_mm2(self) -> float:
        """The cross-section before the first load."""
        return self.width_mm * self.thickness_um / 1e3

    def stress_mpa(self, load_g: float) -> float:
        """The pull of a load on the cross-section as it was before the first load."""
        return load_g / 1e3 * GRAVITY_N_KG / self.area_mm2


@dataclass(frozen=True, kw_only=True)
class Loaded:
    """One reading under load: grams hung, mm between the lines, minutes waited."""

    load_g: float
    length_mm: float
    wait_min: float


@dataclass(frozen=True, kw_only=True)
class Unloaded:
    """One reading after a load was taken off: its grams, mm between the lines, minutes waited."""

    after_g: float
    length_mm: float
    wait_min: float


@dataclass(frozen=True, kw_only=True)
class StripTest:
    """A strip test as it was written down.

    Attributes:
        name: what the film is called.
        strip: what was hung.
        loaded: readings under load, loads rising.
        unloaded: readings after a load was taken off.
        torn_g: the load under which the strip tore, if it did.
        defaults: values that nobody gave, by name.
    """

    name: str
    strip: Strip
    loaded: tuple[Loaded, ...]
    unloaded: tuple[Unloaded, ...] = ()
    torn_g: float | None = None
    defaults: Mapping[str, float | str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        _require_loads(self)
        _require_lengths(self)
        _require_recoveries(self)

    def stretch_under(self, load_g: float) -> float:
        """The greatest stretch that was read under a load, as a fraction."""
        lengths = [row.length_mm for row in self.loaded if row.load_g == load_g]
        return max(lengths) / self.strip.marked_mm - 1.0


def read_strip_test(path: Path) -> StripTest:
    """The strip test in the TOML file at *path*.

    Raises:
        SettingError: the file is not TOML, a value is missing, unknown or absurd, or rows cannot
            be: too few, loads that fall, a strip that shrinks under load, a tear in mid-test.
        InputError: the file cannot be read.
    """
    settings = read_settings(path)
    name = settings.text("name")
    table = settings.table("strip")
    strip = _strip(table)
    loaded: list[Loaded] = []
    torn: list[float] = []
    for row in settings.tables("loaded"):
        if torn:
            raise SettingError(
                f"{row.where}: the strip tore under {torn[0]:g} g in the row before; a torn strip "
                "carries nothing, so leave out what follows."
            )
        load_g = row.number("load_g", least=1.0, most=20_000.0)
        wait_min = row.number("wait_min", least=0.0, most=10_000.0)
        if row.flag("torn", default=False):
            if "length_mm" in row:
                raise SettingError(
                    f"{row.where}: the strip tore, so it has no length; leave “length_mm” out."
                )
            torn.append(load_g)
        else:
            length_mm = row.number("length_mm", least=1.0, most=10_000.0)
            loaded.append(Loaded(load_g=load_g, length_mm=length_mm, wait_min=wait_min))
        row.finish()
    unloaded = tuple(_unloaded(row) for row in settings.tables("unloaded", optional=True))
    settings.finish()
    try:
        return StripTest(
            name=name,
            strip=strip,
            loaded=tuple(loaded),
            unloaded=unloaded,
            torn_g=torn[0] if torn else None,
            defaults={f"strip.{key}": value for key, value in table.defaults.items()},
        )
    except SettingError as error:
        raise SettingError(f"{path}: {error}") from error


def _strip(table: Settings) -> Strip:
    strip = Strip(
        width_mm=table.number("width_mm", least=1.0, most=500.0),
        thickness_um=table.number("thickness_um", least=10.0, most=2000.0),
        marked_mm=table.number("marked_mm", least=20.0, most=5000.0),
        width_error_mm=table.number("width_error_mm", least=0.0, most=10.0, default=0.2),
        thickness_error_um=table.number("thickness_error_um", least=0.0, most=500.0, default=5.0),
        reading_mm=table.number("reading_mm", least=0.01, most=20.0, default=0.5),
        load_error_g=table.number("load_error_g", least=0.0, most=500.0, default=1.0),
        thickness_basis=Basis(
            table.choice("thickness_basis", tuple(Basis), default=Basis.ASSUMED.value)
        ),
    )
    table.finish()
    return strip


def _unloaded(row: Settings) -> Unloaded:
    found = Unloaded(
        after_g=row.number("after_g", least=1.0, most=20_000.0),
        length_mm=row.number("length_mm", least=1.0, most=10_000.0),
        wait_min=row.number("wait_min", least=0.0, most=100_000.0),
    )
    row.finish()
    return found


def _require_loads(test: StripTest) -> None:
    strip, loads = test.strip, [row.load_g for row in test.loaded]
    wrong = [load for load in (*loads, test.torn_g or 1.0) if not load > 0.0]
    if wrong:
        raise SettingError(f"A load of {wrong[0]:g} g is none; every load must be above 0.")
    if len(set(loads)) < FEWEST_LOADS:
        torn = "" if test.torn_g is None else f" before the strip tore under {test.torn_g:g} g"
        raise SettingError(
            f"There are readings under {len(set(loads))} different loads{torn}; slope and "
            f"softening need {FEWEST_LOADS} at least."
        )
    for i, (before, load) in enumerate(pairwise(loads)):
        if load < before:
            raise SettingError(
                f"Loaded row {i + 2} has less load ({load:g} g) than the row before it "
                f"({before:g} g); load upwards only, and write what was read with weights off "
                "under [[unloaded]]."
            )
    if strip.stress_mpa(loads[-1]) > MOST_STRESS_MPA:
        raise SettingError(
            f"{loads[-1]:g} g on a strip of {strip.width_mm:g} mm by {strip.thickness_um:g} µm is "
            f"{strip.stress_mpa(loads[-1]):.0f} MPa, and no such film carries more than "
            f"{MOST_STRESS_MPA:g}; look at the weights, the width and the thickness again."
        )


def _require_lengths(test: StripTest) -> None:
    strip = test.strip
    within = 2.0 * strip.reading_mm
    before = strip.marked_mm
    for i, row in enumerate(test.loaded):
        if row.length_mm < before - within:
            raise SettingError(
                f"Loaded row {i + 1} ({row.load_g:g} g) is {before - row.length_mm:.1f} mm shorter "
                "than the strip was with less load; read it again."
            )
        if row.length_mm > 2.0 * strip.marked_mm:
            raise SettingError(
                f"Loaded row {i + 1} ({row.load_g:g} g) is {row.length_mm:g} mm, more than twice "
                f"the marked {strip.marked_mm:g} mm; film is never laid like that, so look at the "
                "reading and its unit again."
            )
        before = max(before, row.length_mm)
    greatest = max(row.length_mm for row in test.loaded) - strip.marked_mm
    if greatest < 3.0 * strip.reading_mm:
        raise SettingError(
            f"The strip grew by {max(greatest, 0.0):.1f} mm at most, hardly more than a reading "
            f"can be off ({strip.reading_mm:g} mm): hang heavier weights on it, or mark it longer."
        )


def _require_recoveries(test: StripTest) -> None:
    strip = test.strip
    longest = {row.load_g: row.length_mm for row in test.loaded}
    within = 2.0 * strip.reading_mm
    for i, row in enumerate(test.unloaded):
        if row.after_g not in longest:
            raise SettingError(
                f"Unloaded row {i + 1} follows a load of {row.after_g:g} g, under which nothing "
                f"was read; read were {', '.join(f'{load:g}' for load in longest)} g."
            )
        if row.length_mm < strip.marked_mm - within:
            raise SettingError(
                f"Unloaded row {i + 1} ({row.length_mm:g} mm) is shorter than the strip was marked "
                f"({strip.marked_mm:g} mm); read it again."
            )
        if row.length_mm > longest[row.after_g] + within:
            raise SettingError(
                f"Unloaded row {i + 1} ({row.length_mm:g} mm) is longer than the strip was under "
                f"the load ({longest[row.after_g]:g} mm); read it again."
            )
