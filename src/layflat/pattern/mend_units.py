"""Whether a drawing's unit can be right: asked where it is missing, contradicted or absurd."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np

from layflat.base import DrawingError
from layflat.pattern.drawing import Layer
from layflat.pattern.mend_record import Findings
from layflat.pattern.sketch import Sketch
from layflat.pattern.units import UNITS_MM

LEAST_MM = 8.0
"""A drawing whose pieces all lie within so little is in another unit, or asked about."""

MOST_MM = 8000.0
"""A line longer than the longest panel of a vehicle is in another unit, or asked about."""

_MOST_EXTENT_MM = 1e6
_AS_STATED = "as-stated"


class Source(Protocol):
    """An opened file, of whose unit something is said.

    Attributes:
        stated_mm: mm per unit by what the file says, or by what is usual where it says nothing.
        doubt: why that may be wrong, in words; "" if the file says it clearly.
        units: names of the units that such files come in.
    """

    stated_mm: float
    doubt: str
    units: tuple[str, ...]

    def sketch(self, findings: Findings, *, deviation_mm: float) -> Sketch:
        """What the file draws, with `findings.unit_mm` millimetres per unit."""


def sketch_in_unit(
    source: Source, findings: Findings, *, unit: str | None, deviation_mm: float
) -> Sketch:
    """What a file draws, in mm, once it is settled how long its unit is.

    Args:
        source: the file.
        findings: told and asked; gets the unit.
        unit: what a person says the unit is, where the file leaves a doubt.
        deviation_mm: of chords that stand for free curves.

    Raises:
        DrawingError: the file cannot be used.
        SettingError: the answer is no unit.
    """
    first = replace(findings, unit_mm=source.stated_mm, mended=[], questions=[], notes=[])
    sketch = source.sketch(first, deviation_mm=deviation_mm)
    size = _size(sketch)
    doubt = source.doubt or _size_doubt(size)
    if not doubt:
        if unit is not None and not np.isclose(UNITS_MM[unit], source.stated_mm):
            first.notes.append(f"The file names its own unit; the unit “{unit}” was not used.")
        _take(findings, first)
        return sketch
    if unit is not None:
        findings.answers = {"unit": unit, **findings.answers}
    choices = _choices(source, size, asked=findings.answers.get("unit"))
    answer = findings.ask(
        "unit",
        doubt,
        {name: words for name, (_, words, _) in choices.items()},
        default=_likeliest(choices),
    )
    factor = choices[answer][0]
    if factor != source.stated_mm:
        first = replace(findings, unit_mm=factor, mended=[], questions=[], notes=[])
        sketch = source.sketch(first, deviation_mm=deviation_mm)
    first.questions = [*findings.questions, *first.questions]
    _take(findings, first)
    findings.notes.append(f"Unit: {choices[answer][1]}")
    if max(_size(sketch)) > _MOST_EXTENT_MM:
        raise DrawingError(
            f"{findings.where} reaches over {max(_size(sketch)) / 1e6:.0f} km; is the drawing's "
            "unit right?"
        )
    return sketch


def _take(findings: Findings, other: Findings) -> None:
    findings.unit_mm, findings.mended = other.unit_mm, [*findings.mended, *other.mended]
    findings.questions, findings.notes = other.questions, [*findings.notes, *other.notes]


def _size(sketch: Sketch) -> tuple[float, float]:
    """The longest extent of one stroke that may belong to a piece, and that of all of them."""
    strokes = sketch.strokes.get(Layer.OUTLINE) or [
        stroke
        for layer, several in sketch.strokes.items()
        if layer not in set(Layer)
        for stroke in several
    ]
    if not strokes:
        return 0.0, 0.0
    low = np.array([stroke.points_mm.min(axis=0) for stroke in strokes])
    high = np.array([stroke.points_mm.max(axis=0) for stroke in strokes])
    return float((high - low).max()), float((high.max(axis=0) - low.min(axis=0)).max())


def _sound(size: tuple[float, float]) -> bool:
    return size[1] == 0.0 or (size[1] >= LEAST_MM and size[0] <= MOST_MM)


def _size_doubt(size: tuple[float, float]) -> str:
    """Why the size is none of a panel, or ""."""
    if _sound(size):
        return ""
    if size[1] < LEAST_MM:
        return (
            f"All the lines lie within {size[1]:.3g} mm, which is no panel of a vehicle; is the "
            "drawing's unit right?"
        )
    return (
        f"One line reaches over {size[0] / 1000:.4g} m, which is no panel of a vehicle; is the "
        "drawing's unit right?"
    )


def _choices(
    source: Source, size: tuple[float, float], *, asked: str | None
) -> dict[str, tuple[float, str, bool]]:
    """Units that the drawing may be in: mm per unit, what that makes of it, whether it is sound."""
    found: dict[str, tuple[float, str, bool]] = {}
    stated = next(
        (n for n in source.units if np.isclose(UNITS_MM[n], source.stated_mm)), _AS_STATED
    )
    names: Mapping[str, float] = {
        stated: source.stated_mm,
        **{name: UNITS_MM[name] for name in source.units},
    }
    for name, factor in names.items():
        scaled = (size[0] * factor / source.stated_mm, size[1] * factor / source.stated_mm)
        if _sound(scaled) or name in (stated, asked):
            words = (
                f"1 unit is {factor:.6g} mm ({name}): the longest line reaches over "
                f"{scaled[0]:.4g} mm, all of them over {scaled[1]:.4g} mm."
            )
            found[name] = (factor, words, _sound(scaled))
    return found


def _likeliest(choices: Mapping[str, tuple[float, str, bool]]) -> str:
    """What the file states if that is sound, else the first unit that is."""
    sound = [name for name, (_, _, good) in choices.items() if good]
    return sound[0] if sound else next(iter(choices))


@dataclass(frozen=True)
class Unit:
    """What a file says of its unit.

    Attributes:
        mm: per unit.
        doubt: see `Source`.
    """

    mm: float
    doubt: str = ""
