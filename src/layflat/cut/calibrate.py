"""From the readings of a calibration sheet to the machine's own numbers, with their uncertainty."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from layflat.base import FloatArray, SettingError
from layflat.cut.adjust import Adjusted, adjust
from layflat.cut.calibrate_readings import LENGTHS, SCORES, Readings, direction
from layflat.cut.machine import RANGES, Machine

WANTED_SCORE = 2.0
"""The force that is wanted scores the liner's surface: `SCORES[2]`."""

_SCORE_OFF = 0.5
"""Scores are whole numbers: half a step to either side."""
_SCORE_TAKEN_OFF = 0.25
"""How far off a person may take every boundary between two scores alike."""
_OVERCUT_STEP = 0.05
_LEAST_OVERCUT_MM = 0.1

_CALLED = {
    "scale_x": "scale along the roll",
    "scale_y": "scale across the roll",
    "skew": "skew",
    "knife_offset_mm": "knife offset",
    "overcut_mm": "overcut",
    "force_g": "force",
}


@dataclass(frozen=True, kw_only=True)
class Measured:
    """One value of the machine as the sheet tells it.

    Attributes:
        name: of the machine's value, e.g. "knife_offset_mm".
        value: what was found.
        error: half its 95 % interval.
        readings: how many readings speak for it.
        taken: whether it goes into the machine file; not if its readings contradict each other.
        words: the value with its uncertainty.
    """

    name: str
    value: float
    error: float
    readings: int
    taken: bool
    words: str


@dataclass(frozen=True, eq=False, kw_only=True)
class Calibration:
    """What a calibration sheet says.

    Attributes:
        machine: with the values that were measured, and how they were got.
        measured: every value that the readings tell.
        notes: contradictions, what stays as it was, what to do.
    """

    machine: Machine
    measured: tuple[Measured, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class _Group:
    """One fit with what it is called; *common* is what all its readings may be off by alike."""

    fit: Adjusted
    names: tuple[str, ...]
    labels: tuple[str, ...]
    values: tuple[float, ...]
    common: float = 0.0


def calibrated(machine: Machine, readings: Readings, *, where: str) -> Calibration:
    """The machine with what the sheet tells, by least squares.

    What no reading tells stays as it was and is said; so does what contradicts itself, with the
    reading that should be taken again.

    Args:
        machine: as it is known so far.
        readings: off its calibration sheet.
        where: the name of the readings' file, for the sources.

    Raises:
        SettingError: a value that was found is none that a machine can have.
    """
    groups = [
        group
        for group in (
            _feed(readings, machine),
            _offset(readings),
            _overcut(readings),
            _force(readings, machine),
        )
        if group is not None
    ]
    measured: list[Measured] = []
    notes: list[str] = []
    for group in groups:
        measured += _measured(group)
        notes += _contradiction(group)
    notes += _left(machine, measured)
    values = _possible({item.name: item.value for item in measured if item.taken})
    sources = dict(machine.sources)
    for item in measured:
        if item.taken:
            sources[item.name] = (
                f"Measured on {_from(item.name, readings)}, {readings.day.isoformat()}: "
                f"{item.words}, {item.readings} readings, {where}."
            )
    return Calibration(
        machine=replace(machine, **_rounded(values), sources=sources, defaults={}),
        measured=tuple(measured),
        notes=tuple(notes),
    )


def _from(name: str, readings: Readings) -> str:
    """What a value was measured on."""
    is_feed = name in ("scale_x", "scale_y", "skew")
    if is_feed and readings.rectangles:
        return "witness marks and a calibration sheet" if readings.lengths else "witness marks"
    return "a calibration sheet"


def _possible(values: dict[str, float]) -> dict[str, float]:
    """The values, if a machine can have them."""
    for name, value in values.items():
        least, most = RANGES[name]
        if not least <= value <= most:
            raise SettingError(
                f"The readings speak for {_CALLED[name]} {value:.4g}; a machine has {least:g} to "
                f"{most:g}. Look at the readings again, and at the machine."
            )
    return values


def _rounded(values: dict[str, float]) -> dict[str, Any]:
    """The values as they go into the file, to as many places as they are worth."""
    return {name: float(f"{value:.6g}") for name, value in values.items()}


def _feed(readings: Readings, machine: Machine) -> _Group | None:
    """Scale and skew from lengths between places: each is the length of what it was told.

    A calibration sheet is told as it is; witness marks are told through the machine file. Their
    diagonals alone tell skew: both are as much longer or shorter for the two scales.
    """
    names = list(readings.lengths)
    crossed = [
        (sign * one.along_mm, one.across_mm) for one in readings.rectangles for sign in (1, -1)
    ]
    if not names and not crossed:
        return None
    own = [
        direction(name, side_mm=readings.side_mm, circle_mm=readings.circle_mm) for name in names
    ]
    told = np.array([*own, *machine.told(np.array(crossed).reshape(-1, 2)).tolist()])
    slants = [read for one in readings.rectangles for read in (one.rising_mm, one.falling_mm)]
    read = [*(readings.lengths[name] for name in names), *slants]
    labels = [f"“{name}” ({LENGTHS[name]}: {readings.lengths[name]:g} mm)" for name in names]
    labels += [f"the witness marks' diagonal of {slant:g} mm" for slant in slants]

    def lengths(scale_x: float, scale_y: float, skew: float) -> FloatArray:
        found: FloatArray = np.hypot(scale_x * told[:, 0] + skew * told[:, 1], scale_y * told[:, 1])
        return found

    if not names:
        scales = np.array([machine.scale_x, machine.scale_y])
        fit = adjust(
            lambda values: lengths(scales[0] * values[1], scales[1] * values[1], values[0]),
            (machine.skew, 1.0),
            read,
            readings.ruler_mm,
            reach=(1e-3, 1e-3),
        )
        return _Group(fit, ("skew",), tuple(labels), (float(fit.values[0]),))
    fit = adjust(
        lambda values: lengths(values[0], values[1], values[2]),
        (1.0, 1.0, 0.0),
        read,
        readings.ruler_mm,
        reach=(1e-3, 1e-3, 1e-3),
    )
    return _Group(fit, ("scale_x", "scale_y", "skew"), tuple(labels), tuple(fit.values.tolist()))


def _offset(readings: Readings) -> _Group | None:
    """The knife offset: each pair of ends stands apart by twice its offset's fault."""
    if not readings.gaps:
        return None
    made = np.array([row.at for row in readings.gaps])

    def gaps(values: FloatArray) -> FloatArray:
        found: FloatArray = 2.0 * (values[0] - made)
        return found

    fit = adjust(gaps, (0.3,), [row.read for row in readings.gaps], readings.loupe_mm)
    value = float(fit.values[0])
    least, most = RANGES["knife_offset_mm"]
    if not least <= value <= most:
        raise SettingError(
            f"The gaps speak for a knife offset of {value:.2f} mm; a blade has {least:g} to "
            f"{most:g} mm. A gap counts as more than 0, ends that pass by each other as less."
        )
    return _Group(
        fit,
        ("knife_offset_mm",),
        tuple(f"the gap at offset {row.at:g} ({row.read:g} mm)" for row in readings.gaps),
        (value,),
    )


def _overcut(readings: Readings) -> _Group | None:
    """The overcut that just comes free: what is missing to it stays uncut."""
    if not readings.bridges:
        return None
    made = np.array([row.at for row in readings.bridges])
    read = np.array([row.read for row in readings.bridges])

    def bridges(values: FloatArray) -> FloatArray:
        found: FloatArray = np.maximum(values[0] - made, 0.0)
        return found

    uncut = read > 0.0
    if not uncut.any():
        return None
    start = float(np.mean((made + read)[uncut]))
    fit = adjust(bridges, (start,), read, readings.loupe_mm)
    return _Group(
        fit,
        ("overcut_mm",),
        tuple(f"the bridge at overcut {row.at:g} ({row.read:g} mm)" for row in readings.bridges),
        (_with_reserve(float(fit.values[0]), fit.error(0)),),
    )


def _with_reserve(value: float, error: float) -> float:
    """An overcut that comes free even if it was measured too short, in steps of 0.05 mm."""
    enough = max(_LEAST_OVERCUT_MM, value + (error if math.isfinite(error) else 0.0))
    return round(math.ceil(enough / _OVERCUT_STEP - 1e-9) * _OVERCUT_STEP, 2)


def _force(readings: Readings, machine: Machine) -> _Group | None:
    """The force that scores the liner's surface, from a line through the scores between 0 and 4."""
    rows = readings.scores
    if len(rows) < 2 or len({row.read for row in rows}) < 2:
        return None
    forces = np.array([row.at for row in rows])
    read = np.array([row.read for row in rows])
    slope = float(np.polyfit(forces, read, 1)[0])
    if slope <= 0.0:
        raise SettingError(
            "More force cut less deep: the scores fall while the force rises. Look at which square "
            "is which."
        )
    start = float(np.interp(WANTED_SCORE, np.sort(read), forces[np.argsort(read)]))

    def scores(values: FloatArray) -> FloatArray:
        wanted, rise = values
        found: FloatArray = np.clip(
            WANTED_SCORE + rise * (forces - wanted), 0.0, float(len(SCORES) - 1)
        )
        return found

    fit = adjust(scores, (start, slope), read, _SCORE_OFF, reach=(machine.force_g, slope))
    return _Group(
        fit,
        ("force_g",),
        tuple(f"the score at {row.at:g} g ({row.read:g})" for row in rows),
        (float(fit.values[0]),),
        common=_SCORE_TAKEN_OFF / abs(float(fit.values[1])),
    )


def _measured(group: _Group) -> list[Measured]:
    """The values that a group's readings tell."""
    found = []
    for i, name in enumerate(group.names):
        error = math.hypot(group.fit.error(i), group.fit.factor * group.common / math.sqrt(3.0))
        if not math.isfinite(error):
            continue
        value = group.values[i]
        found.append(
            Measured(
                name=name,
                value=value,
                error=error,
                readings=len(group.labels),
                taken=not group.fit.contradicts,
                words=_words(name, value, error, float(group.fit.values[i])),
            )
        )
    return found


def _words(name: str, value: float, error: float, found: float) -> str:
    if name == "overcut_mm":
        return f"{value:g} mm, of which {found:.2f} ± {error:.2f} mm (95 %) are needed"
    unit = {"knife_offset_mm": " mm", "force_g": " g"}.get(name, "")
    places = {"knife_offset_mm": 3, "force_g": 0}.get(name, 5)
    return f"{value:.{places}f} ± {error:.{places}f}{unit} (95 %)"


def _contradiction(group: _Group) -> list[str]:
    """What to say where readings contradict each other."""
    fit = group.fit
    if not fit.contradicts:
        return []
    called = _listed([_CALLED[name] for name in group.names])
    words = (
        f"The readings for {called} contradict each other (chi-square {fit.chi_square:.1f} for "
        f"{fit.freedom}, odds {fit.odds:.1g})"
    )
    if not fit.suspects:
        worst = int(np.argmax(np.abs(fit.misfits)))
        doubt = f"no single one explains it; the farthest off is {group.labels[worst]}"
    elif len(fit.suspects) == 1:
        i = fit.suspects[0]
        doubt = (
            f"{group.labels[i]} is {abs(fit.misfits[i]):.2f} off from what the others say, and "
            "without it they agree"
        )
    else:
        doubt = f"one of these is wrong: {_listed([group.labels[i] for i in fit.suspects])}"
    return [f"{words}: {doubt}. Measure again; the machine file keeps its old values for these."]


def _left(machine: Machine, measured: Sequence[Measured]) -> list[str]:
    """What stays as it was."""
    taken = {item.name for item in measured if item.taken}
    left = [name for name in _CALLED if name not in taken]
    if not left:
        return []
    stays = _listed([f"{_CALLED[name]} {getattr(machine, name):g}" for name in left])
    return [f"As the machine file had them, since the readings do not tell: {stays}."]


def _listed(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
