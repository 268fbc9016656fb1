"""Programs bent so that a film which drifts is cut true.

At every place of the program the head is told to go where the drift, grown until then, takes it to
where it was meant to go. The film is taken to drift as its witness marks said: by so much for each
mm of progress since the section's start.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from layflat.base import CheckError, FitError, FloatArray
from layflat.cut.check import AWAY_MM, landed
from layflat.cut.drift import Drift, Progress
from layflat.cut.machine import Machine
from layflat.cut.reader import Stroke, read_hpgl
from layflat.cut.records import CutProgram, SectionProgram
from layflat.cut.sheet import sheets_of
from layflat.cut.texts import joined
from layflat.cut.tip import simulate
from layflat.pattern import Drawing

_MOVE = re.compile(r"P([UD])([^;]*);")
_STEP_MM = 2.0


@dataclass
class _Way:
    """The head's way while a program is bent: where it is, how far it has been and gone."""

    at: FloatArray
    fed: float = 0.0
    travelled: float = 0.0

    def go(self, to: FloatArray, by: Progress) -> list[tuple[FloatArray, float]]:
        """The places to go through, each with the progress made by then."""
        step = float(to[0] - self.at[0])
        stops = [to]
        if by == "fed" and self.at[0] < self.fed < to[0]:
            # From where the film is fed for the first time on, the drift grows.
            part = (self.fed - self.at[0]) / step
            stops = [self.at + part * (to - self.at), to]
        found = []
        for stop in stops:
            self.travelled += abs(float(stop[0] - self.at[0]))
            self.fed = max(self.fed, float(stop[0]))
            self.at = stop
            found.append((stop, self.fed if by == "fed" else self.travelled))
        return found


def straightened(
    program: CutProgram, drift: Drift, drawing: Drawing, machine: Machine
) -> CutProgram:
    """The program with every section after the one that was read bent against its drift.

    Args:
        program: with or without witness marks.
        drift: from `judge_drift`.
        drawing, machine: what the program was made from and for.

    Raises:
        FitError: the head would have to leave the machine.
        CheckError: on a film that drifts so, the cut would not lie where it was meant to.
    """
    sheets = sheets_of(drawing, machine)
    sections = tuple(
        _bent(section, drift, machine) if section.number > drift.number else section
        for section in program.sections
    )
    return replace(
        program,
        sections=sections,
        hpgl=joined(
            [section.hpgl for section in sections],
            [machine.told_start(sheet.start_units) for sheet in sheets],
        ),
        notes=(*program.notes, f"Bent against a drift: {drift.sentence}"),
    )


def _bent(section: SectionProgram, drift: Drift, machine: Machine) -> SectionProgram:
    units = machine.units_per_mm
    way = _Way(at=np.zeros(2))

    def bend(match: re.Match[str]) -> str:
        numbers = [int(part) for part in match.group(2).split(",")] if match.group(2) else []
        meant = machine.landed(np.array(numbers, dtype=np.float64).reshape(-1, 2) / units)
        aims = [
            place - drift.rate * progress
            for point in meant
            for place, progress in way.go(point, drift.by)
        ]
        if not aims:
            return match.group()
        told = np.rint(machine.told(np.array(aims)) * units).astype(np.int64)
        if match.group(1) == "U":
            # Knife up: only where it goes counts; the section's end is left at the roll's edge.
            told = np.maximum(told[-1:], 0)
        _require_reach(told / units, section.number, machine)
        return f"P{match.group(1)}{','.join(map(str, told.reshape(-1).tolist()))};"

    bent = replace(section, hpgl=_MOVE.sub(bend, section.hpgl))
    _check(section, bent, drift, machine)
    return bent


def _require_reach(told_mm: FloatArray, number: int, machine: Machine) -> None:
    beyond = max(float(np.max(-told_mm)), float(np.max(told_mm[:, 1] - machine.max_width_mm)))
    if beyond > 0.0:
        raise FitError(
            f"Section {number}: against this drift the head would have to go {beyond:.2f} mm "
            "beyond its reach. Lead the film anew instead."
        )


def drifted(
    strokes: Sequence[Stroke], rate: FloatArray, by: Progress, *, step_mm: float = _STEP_MM
) -> tuple[Stroke, ...]:
    """Where the strokes of a section come to lie on a film that drifts.

    Args:
        strokes: up and down, from the section's start.
        rate: (2,) float64, shift for 1 mm of progress.
        by: what counts as progress.
        step_mm: long ways are followed in steps of this length.
    """
    fed = travelled = 0.0
    found = []
    for stroke in strokes:
        line = shapely.segmentize(shapely.LineString(stroke.points_mm), step_mm)
        points = np.asarray(line.coords)
        gone = travelled + np.concatenate(([0.0], np.cumsum(np.abs(np.diff(points[:, 0])))))
        been = np.maximum.accumulate(np.maximum(points[:, 0], fed))
        fed, travelled = float(been[-1]), float(gone[-1])
        progress = been if by == "fed" else gone
        found.append(Stroke(down=stroke.down, points_mm=points + progress[:, None] * rate))
    return tuple(found)


def _check(section: SectionProgram, bent: SectionProgram, drift: Drift, machine: Machine) -> None:
    """On a film that drifts so, the bent program must cut what the straight one would."""
    paths = []
    for one, rate in ((section, np.zeros(2)), (bent, drift.rate)):
        strokes = landed(read_hpgl(one.hpgl, units_per_mm=machine.units_per_mm), machine)
        paths.append(
            simulate(
                drifted(strokes, rate, drift.by),
                knife_offset_mm=machine.knife_offset_mm,
                heading_rad=0.1,
            ).cuts
        )
    for meant, got in zip(*paths, strict=True):
        line, points = shapely.LineString(meant), shapely.points(got)
        shapely.prepare(line)
        beyond = points[~shapely.dwithin(line, points, AWAY_MM)]
        if len(beyond):
            raise CheckError(
                f"Section {section.number}: bent against the drift, the cut would still lie "
                f"{float(shapely.distance(line, beyond).max()):.2f} mm from its line; "
                f"{AWAY_MM:g} mm is allowed. Lead the film anew instead."
            )
