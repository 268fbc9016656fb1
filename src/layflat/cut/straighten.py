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
from layflat.cut.drift import Drift
from layflat.cut.machine import Machine
from layflat.cut.reader import Stroke, read_hpgl
from layflat.cut.records import CutProgram, SectionProgram
from layflat.cut.sheet import sheets_of
from layflat.cut.slip import NO_SLIP, Slip, slip_of
from layflat.cut.texts import is_end, joined
from layflat.cut.tip import simulate
from layflat.pattern import Drawing

_MOVE = re.compile(r"P([UD])([^;]*);")
_STEP_MM = 2.0
_TURNS_WITHIN = 3.0
"""After so many knife offsets a blade heads as its cut goes, but for a twentieth of its turn."""

_TURNED_MM = 0.1
_ROUNDS = 12
"""Each round leaves less of an error than a twentieth: drifts of more than that are none."""


@dataclass
class _Way:
    """The head's way while a program is bent: where it is, how far it has been and gone."""

    slip: Slip
    head: FloatArray
    fed: float = 0.0
    travelled: float = 0.0

    def _shift(self, x: float) -> FloatArray:
        """How far the film has slipped once the head has gone on to *x* along the roll."""
        travelled = self.travelled + abs(x - float(self.head[0]))
        shift: FloatArray = self.slip.fed * max(self.fed, x) + self.slip.travelled * travelled
        return shift

    def _aim(self, to: FloatArray) -> FloatArray:
        """Where the head must go so that the film, slipped by that very way, is met at *to*."""
        fed, travelled = float(self.slip.fed[0]), float(self.slip.travelled[0])
        x = goal = float(to[0])
        for _ in range(_ROUNDS):
            gone = self.travelled + abs(x - float(self.head[0]))
            x = goal - fed * max(self.fed, x) - travelled * gone
        return to - self._shift(x)

    def go(self, to: FloatArray) -> list[FloatArray]:
        """Where to aim at so that the film, slipped by then, is cut straight on to *to*."""
        here = self.head + self._shift(float(self.head[0]))
        stops = [to]
        if self.slip.fed.any() and self.head[0] < self.fed < self._aim(to)[0]:
            # From where the film is fed for the first time on, the drift grows.
            part = (self.fed + float(self._shift(self.fed)[0] - here[0])) / float(to[0] - here[0])
            stops = [here + part * (to - here), to]
        found = []
        for stop in stops:
            aim = self._aim(stop)
            self.travelled += abs(float(aim[0] - self.head[0]))
            self.fed = max(self.fed, float(aim[0]))
            self.head = aim
            found.append(aim)
        return found


def straightened(
    program: CutProgram, drift: Drift, drawing: Drawing, machine: Machine
) -> CutProgram:
    """The program with every section after the one that was read bent against its drift.

    A section's own program is bent from the section's start on: whoever sends it by itself has led
    the film anew. In the program as a whole the film goes on slipping from section to section.

    Args:
        program: with or without witness marks.
        drift: from `judge_drift`.
        drawing, machine: what the program was made from and for.

    Raises:
        FitError: the head would have to leave the machine.
        CheckError: on a film that drifts so, the cut would not lie where it was meant to.
    """
    slip = slip_of(drift)
    sections = tuple(
        bent_section(section, slip, machine) if section.number > drift.number else section
        for section in program.sections
    )
    starts = [machine.told_start(sheet.start_units) for sheet in sheets_of(drawing, machine)]
    done = sum(section.number <= drift.number for section in sections)
    texts = [section.hpgl for section in program.sections]
    if behind := texts[done:]:
        own = joined(behind, [start - starts[done] for start in starts[done:]])
        where = f"Section {sections[done].number}"
        if len(behind) > 1:
            where = f"Sections {sections[done].number} to {sections[-1].number} in one go"
        texts[done:] = [_bent(own, slip, machine, where=where)]
    return replace(
        program,
        sections=sections,
        hpgl=joined(texts, starts[: len(texts)]),
        notes=(*program.notes, f"Bent against a drift: {drift.sentence}"),
    )


def bent_section(section: SectionProgram, slip: Slip, machine: Machine) -> SectionProgram:
    """A section's program bent against a slip.

    Args:
        section: as it was made, for a film that stays: what is bent already is bent by both.
        slip: of the film, from the section's start on.
        machine: what the program was made for.

    Raises:
        FitError: the head would have to leave the machine.
        CheckError: on a film that slips so, the cut would not lie where it was meant to.
    """
    where = f"Section {section.number}"
    return replace(section, hpgl=_bent(section.hpgl, slip, machine, where=where))


def beyond_reach_mm(section: SectionProgram, slip: Slip, machine: Machine) -> float:
    """How far beyond the machine a section's program would go if it was bent; 0 if it would not."""
    return max(0.0, _bent_text(section.hpgl, slip, machine)[1])


def _bent(text: str, slip: Slip, machine: Machine, *, where: str) -> str:
    """A program's text bent, and checked."""
    bent, beyond = _bent_text(text, slip, machine)
    if beyond > 0.0:
        raise FitError(
            f"{where}: against this drift the head would have to go {beyond:.2f} mm beyond its "
            "reach. Lead the film anew instead."
        )
    _check(text, bent, slip, machine, where=where)
    return bent


def _bent_text(text: str, slip: Slip, machine: Machine) -> tuple[str, float]:
    """The text bent, and how far it goes beyond the machine in mm, below 0 if it stays inside."""
    units = machine.units_per_mm
    way = _Way(slip=slip, head=np.zeros(2))
    beyond = -np.inf

    def bend(match: re.Match[str]) -> str:
        nonlocal beyond
        numbers = [int(part) for part in match.group(2).split(",")] if match.group(2) else []
        meant = machine.landed(np.array(numbers, dtype=np.float64).reshape(-1, 2) / units)
        aims = [place for point in meant for place in way.go(point)]
        if not aims:
            return match.group()
        told = np.rint(machine.told(np.array(aims)) * units).astype(np.int64)
        if match.group(1) == "U":
            # Knife up: only where it goes counts. A section ends at the roll's edge, and is known
            # by that among others.
            told = np.maximum(told[-1:], 0)
            told[:, 1] *= int(not is_end(match))
        told_mm = told / units
        beyond = max(beyond, float(np.max(-told_mm)))
        beyond = max(beyond, float(np.max(told_mm[:, 1])) - machine.max_width_mm)
        return f"P{match.group(1)}{','.join(map(str, told.reshape(-1).tolist()))};"

    return _MOVE.sub(bend, text), beyond


def drifted(
    strokes: Sequence[Stroke], slip: Slip, *, step_mm: float = _STEP_MM
) -> tuple[Stroke, ...]:
    """Where the strokes of a section come to lie on a film that slips.

    Args:
        strokes: up and down, from the section's start.
        slip: of the film.
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
        shifts = been[:, None] * slip.fed + gone[:, None] * slip.travelled
        found.append(Stroke(down=stroke.down, points_mm=points + shifts))
    return tuple(found)


def _check(text: str, bent: str, slip: Slip, machine: Machine, *, where: str) -> None:
    """On a film that slips so, the bent program must cut what the straight one would."""
    offset = machine.knife_offset_mm
    # Both are rounded to units, each by itself.
    most = max(AWAY_MM, 1.5 / machine.units_per_mm)
    paths = []
    for one, film in ((text, NO_SLIP), (bent, slip)):
        strokes = landed(read_hpgl(one, units_per_mm=machine.units_per_mm), machine)
        paths.append(simulate(drifted(strokes, film), knife_offset_mm=offset, heading_rad=0.1).cuts)
    for meant, got in zip(*paths, strict=True):
        line, points = shapely.LineString(meant), shapely.points(got)
        shapely.prepare(line)
        beyond = np.flatnonzero(~shapely.dwithin(line, points, most))
        # Where a cut begins the blade turns, in the waste, and may do so a little otherwise.
        gone = np.cumsum(np.hypot(*np.diff(got, axis=0, prepend=got[:1]).T))
        more = np.where(gone[beyond] <= _TURNS_WITHIN * offset, _TURNED_MM, 0.0)
        worst = float(np.max(shapely.distance(line, points[beyond]) - more, initial=0.0))
        if worst > most:
            raise CheckError(
                f"{where}: bent against the drift, the cut would still lie {worst:.2f} mm from its "
                f"line; {most:g} mm is allowed. Lead the film anew instead."
            )
