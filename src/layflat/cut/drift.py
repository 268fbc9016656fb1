"""What witness marks say: go on, correct, or stop, and what would be lost.

A person reads how far the middle of a small cross lies from that of the large one around it. That
is how far the film has slipped under the head since the large one was cut: a film that is moved
back to exactly where it was shows nothing. Slip grows with the film that is fed for the first time
(off a heavy roll), or with every way to and fro (rollers that hold badly): which of the two, the
readings tell if there are enough of them. Either way the shift is taken as affine: so much for a
metre fed, and at most a constant between the margins. Readings that no such drift explains are
refused until a person has read them again; then the film slips by jerks, and nothing can be
corrected.

A piece is spoiled when the film drifts by more than the tolerance while it is cut: so far apart are
two places of its outline that should meet, at most.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from layflat.base import FloatArray, SettingError
from layflat.cut.adjust import LEAST_ODDS
from layflat.cut.affine import Affine, fit_affine
from layflat.cut.machine import Machine
from layflat.cut.owners import OwnedStroke, owned_strokes
from layflat.cut.records import CutProgram, SectionProgram, Witness
from layflat.cut.sheet import Sheet, sheets_of
from layflat.cut.witness import PITCH_MM
from layflat.pattern import Drawing

TOLERANCE_MM = 0.5
"""How far a piece may drift while it is cut; common practice, no source: a gap of 1 to 2 mm shows
half a millimetre."""

READING_MM = 0.2
"""What a reading of a witness mark can be off by at most."""

MOST_RATE = 0.02
"""More than this is no drift that a correction should hide: the film is not held."""

_BETTER_BY = 4.0
"""How much less chi-square, of one number more, tells that ways count rather than film fed."""

Verdict = Literal["go on", "correct", "stop"]
Progress = Literal["fed", "travelled"]


@dataclass(frozen=True, kw_only=True)
class SlipReading:
    """How far a small cross lies from the large one around it.

    Attributes:
        mark: the witness mark's name, e.g. “2 near”.
        dx_mm: along the roll, more than 0 towards the section's end.
        dy_mm: across the roll, more than 0 towards the far edge.
    """

    mark: str
    dx_mm: float
    dy_mm: float


@dataclass(frozen=True, eq=False, kw_only=True)
class Drift:
    """What a section's witness marks say.

    Attributes:
        verdict: “go on”, “correct” or “stop”.
        by: what the drift grows with: film fed for the first time, or every way to and fro.
        affine: the shift in mm over (mm of progress, mm across the roll).
        rate: (2,) float64, along and across the roll, for 1 mm of progress.
        rate_error: half the 95 % interval of either.
        sentence: verdict and reason for a person.
        lost: pieces of this section that are cut and beyond the tolerance.
        doubtful: pieces that are cut and may be beyond it: a person must look.
        would_lose: pieces still to be cut that would be lost if nothing was done.
        number: the section.
    """

    verdict: Verdict
    by: Progress
    affine: Affine
    rate: FloatArray
    rate_error: float
    sentence: str
    lost: tuple[str, ...]
    doubtful: tuple[str, ...]
    would_lose: tuple[str, ...]
    number: int


def judge_drift(
    program: CutProgram,
    readings: Sequence[SlipReading],
    drawing: Drawing,
    machine: Machine,
    *,
    number: int,
    tolerance_mm: float = TOLERANCE_MM,
    reading_mm: float = READING_MM,
    sure: bool = False,
) -> Drift:
    """What the readings of one section's witness marks say.

    Args:
        program: with witness marks.
        readings: at least one.
        drawing, machine: what the program was made from and for.
        number: of the section.
        tolerance_mm: how far a piece may drift while it is cut.
        reading_mm: what a reading can be off by at most.
        sure: readings that contradict each other were read again and are right.

    Raises:
        SettingError: there is no such section or mark, a mark is read twice, a reading is larger
            than the marks can tell, or readings contradict each other and nobody is sure.
    """
    index = next((i for i, one in enumerate(program.sections) if one.number == number), None)
    if index is None:
        raise SettingError(f"The program has no section {number}.")
    section = program.sections[index]
    pairs = _pairs(section, readings)
    by, affine = _fit(pairs, reading_mm)
    jerks = affine.odds < LEAST_ODDS
    if jerks and not sure:
        raise SettingError(_contradiction(pairs, by, affine, reading_mm))
    rate = affine.matrix[:, 0]
    error = affine.error(1)
    sheets = sheets_of(drawing, machine)
    spans = [
        (i, *span)
        for i in range(index, len(program.sections))
        for span in piece_spans(
            owned_strokes(program.sections[i], sheets[i], machine), sheets[i], by
        )
    ]
    reached = max(mark.stroke for mark, _ in pairs)
    speed = float(np.hypot(*rate))
    lost, doubtful, coming = [], [], []
    worst = after = 0.0
    for i, name, span, done in spans:
        least, most = max(0.0, speed - error) * span, (speed + error) * span
        if i == index and done < reached:
            if jerks or least <= tolerance_mm < most:
                doubtful.append(name)
            elif least > tolerance_mm:
                lost.append(name)
            continue
        worst, after = max(worst, most), max(after, error * span)
        if most > tolerance_mm or jerks:
            coming.append(name)
    verdict: Verdict
    if jerks:
        verdict, why = "stop", "it slips by jerks, which nothing can foresee"
    elif worst <= tolerance_mm:
        verdict, why = "go on", f"no piece to come drifts by more than {worst:.2f} mm"
    elif speed > MOST_RATE:
        verdict, why = "stop", "so much is no drift any more: the film is not held"
    elif after > tolerance_mm:
        verdict = "stop"
        why = f"the readings are too few to correct it: up to {after:.2f} mm would be left"
    else:
        verdict, why = "correct", f"corrected, no piece to come is off by more than {after:.2f} mm"
    return Drift(
        verdict=verdict,
        by=by,
        affine=affine,
        rate=rate,
        rate_error=error,
        sentence=_sentence(verdict, why, (rate, error, by), (lost, doubtful, coming)),
        lost=tuple(lost),
        doubtful=tuple(doubtful),
        would_lose=tuple(coming),
        number=number,
    )


def stopped(drift: Drift, why: str) -> Drift:
    """The same drift where nothing can be bent against it, for the reason *why*."""
    numbers = (drift.rate, drift.rate_error, drift.by)
    pieces = (drift.lost, drift.doubtful, drift.would_lose)
    return replace(drift, verdict="stop", sentence=_sentence("stop", why, numbers, pieces))


def _pairs(
    section: SectionProgram, readings: Sequence[SlipReading]
) -> list[tuple[Witness, SlipReading]]:
    """Every reading with its mark."""
    if not section.witnesses:
        raise SettingError(f"Section {section.number} has no witness marks.")
    if not readings:
        raise SettingError("There is no reading of a witness mark.")
    marks = {mark.name: mark for mark in section.witnesses}
    seen: set[str] = set()
    found = []
    for reading in readings:
        if reading.mark not in marks:
            raise SettingError(
                f"Section {section.number} has no witness mark “{reading.mark}”; it has "
                f"{', '.join(marks)}."
            )
        if reading.mark in seen:
            raise SettingError(f"The mark “{reading.mark}” is read twice; leave one reading.")
        far = max(abs(reading.dx_mm), abs(reading.dy_mm))
        if not far < 0.5 * PITCH_MM:
            raise SettingError(
                f"The mark “{reading.mark}” is read {far:g} mm off, but marks lie {PITCH_MM:g} mm "
                f"apart: from {0.5 * PITCH_MM:g} mm on nobody can tell which cross belongs to "
                "which. Look which one it is; if it is so far off, stop and lead the film anew."
            )
        seen.add(reading.mark)
        found.append((marks[reading.mark], reading))
    return found


def _progress(mark: Witness, by: Progress) -> float:
    return mark.fed_mm if by == "fed" else mark.travelled_mm


def _fit_by(
    pairs: Sequence[tuple[Witness, SlipReading]], by: Progress, reading_mm: float
) -> Affine:
    """The affine drift; a mark that was just made has none."""
    sides = {mark.side: mark.y_mm for mark, _ in pairs}
    places = [(0.0, y) for y in sides.values()]
    shifts = [(0.0, 0.0)] * len(places)
    places += [(_progress(mark, by), mark.y_mm) for mark, _ in pairs]
    shifts += [(reading.dx_mm, reading.dy_mm) for _, reading in pairs]
    return fit_affine(places, shifts, most_off_mm=reading_mm)


def _fit(
    pairs: Sequence[tuple[Witness, SlipReading]], reading_mm: float
) -> tuple[Progress, Affine]:
    fed = _fit_by(pairs, "fed", reading_mm)
    travelled = _fit_by(pairs, "travelled", reading_mm)
    if travelled.chi_square < fed.chi_square - _BETTER_BY:
        return "travelled", travelled
    return "fed", fed


def _contradiction(
    pairs: Sequence[tuple[Witness, SlipReading]], by: Progress, affine: Affine, reading_mm: float
) -> str:
    """What to say of readings that no steady drift explains."""
    left = []
    for i, (mark, _) in enumerate(pairs):
        rest = [pair for j, pair in enumerate(pairs) if j != i]
        if rest:
            fit = _fit_by(rest, by, reading_mm)
            if fit.odds >= LEAST_ODDS:
                left.append((fit.chi_square, mark.name))
    most = float(np.abs(affine.misfits_mm).max())
    if left:
        doubt = f"without “{min(left)[1]}” the others agree: read that mark again"
    else:
        doubt = "no single one of them explains it: read all of them again"
    return (
        f"The readings contradict each other: one is {most:.2f} mm off from any steady drift, and "
        f"{doubt}. If they are as they were read, say so; then the film slips by jerks, and what "
        "was cut since the last good mark must be looked at."
    )


def piece_spans(
    strokes: Sequence[OwnedStroke], sheet: Sheet, by: Progress
) -> list[tuple[str, float, int]]:
    """Each piece's name, the progress while it is cut, and the index of its last stroke."""
    found = []
    for i, pattern in enumerate(sheet.patterns):
        own = [(k, stroke) for k, stroke in enumerate(strokes) if stroke.piece == i]
        (_, first), (last, end) = own[0], own[-1]
        span = (
            end.fed_end_mm - first.fed_mm
            if by == "fed"
            else end.travelled_end_mm - first.travelled_mm
        )
        found.append((pattern.name, span, last))
    return found


def _sentence(
    verdict: Verdict,
    why: str,
    drift: tuple[FloatArray, float, Progress],
    pieces: tuple[Sequence[str], Sequence[str], Sequence[str]],
) -> str:
    """Verdict, drift and pieces, for a person."""
    rate, error, by = drift
    lost, doubtful, coming = pieces
    grows = "a metre of film fed" if by == "fed" else "a metre of way to and fro"
    words = (
        f"{verdict.capitalize()}: the film drifts by {1000 * rate[0]:+.2f} mm along and "
        f"{1000 * rate[1]:+.2f} mm across for {grows} (± {1000 * error:.2f} mm, 95 %); {why}."
    )
    if lost:
        words += f" Lost: {', '.join(lost)}."
    if doubtful:
        words += f" Look at: {', '.join(doubtful)}."
    if coming and verdict != "go on":
        words += f" Going on as it is would lose: {', '.join(coming)}."
    return words
