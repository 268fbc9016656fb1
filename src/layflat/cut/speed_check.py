"""The check of told speeds: read back from the text, against how the way is bent there.

It measures bends otherwise than they are planned: by how far the head turns within windows of
some lengths, nowhere told slower than at one speed.
"""

import math
from collections.abc import Iterator, Sequence

import numpy as np

from layflat.base import CheckError, FloatArray
from layflat.cut.machine import Machine
from layflat.cut.reader import Stroke

_WINDOWS_MM = (0.5, 1.0, 2.0, 5.0, 10.0)
_KINK_RAD = 0.25
"""What a way may turn besides: a kink where two straight lines meet, and rounding."""

_SLACK = 1.5
_SAME = 1e-9


def check_speeds(strokes: Sequence[Stroke], machine: Machine, *, number: int) -> None:
    """Refuse speeds that the machine does not take, or that are too fast for a bend.

    Args:
        strokes: of a section, as they were read.
        machine: for what it takes.
        number: of the section, for messages.

    Raises:
        CheckError: it names the place.
    """
    for stroke in strokes:
        if not stroke.down or len(stroke.points_mm) < 2:
            continue
        if not machine.speed_by_curve:
            if len(set(stroke.speeds)) > 1:
                raise CheckError(
                    f"Section {number}: the speed changes in the middle of a cut, which "
                    f"{machine.name} does not take."
                )
            continue
        speeds = np.array(stroke.speeds) * machine.speed_unit_mm_s
        fastest = max(machine.cut_speed_mm_s, machine.speed_unit_mm_s) + machine.speed_unit_mm_s
        if len(speeds) != len(stroke.points_mm) - 1 or min(speeds) <= 0.0 or max(speeds) > fastest:
            raise CheckError(f"Section {number}: a cut is told no speed, or one beyond its most.")
        for speed, points in _runs(stroke.points_mm, speeds):
            if speed > machine.least_speed_mm_s + machine.speed_unit_mm_s:
                _check_run(points, speed, machine, number)


def _runs(points_mm: FloatArray, speeds: FloatArray) -> Iterator[tuple[float, FloatArray]]:
    """For each speed the longest stretches nowhere slower, with their points.

    Where two speeds meet, the head goes at the slower one: a bend there is looked at with both.
    """
    for speed in np.unique(speeds).tolist():
        edges = np.diff((speeds >= speed - _SAME).astype(np.int64), prepend=0, append=0)
        firsts, lasts = np.flatnonzero(edges > 0), np.flatnonzero(edges < 0)
        for first, last in zip(firsts.tolist(), lasts.tolist(), strict=True):
            yield speed, points_mm[first : last + 1]


def _check_run(points_mm: FloatArray, speed_mm_s: float, machine: Machine, number: int) -> None:
    steps = np.diff(points_mm, axis=0)
    lengths = np.hypot(steps[:, 0], steps[:, 1])
    steps, lengths = steps[lengths > 0.0], lengths[lengths > 0.0]
    headings = np.unwrap(np.arctan2(steps[:, 1], steps[:, 0]))
    # Where the way turns: at the joints, by so much in all until then.
    at = np.cumsum(lengths)[:-1]
    for window in _WINDOWS_MM:
        behind = np.searchsorted(at, at + window, side="right")
        turn = np.abs(headings[behind] - headings[: len(at)])
        most = _KINK_RAD + _SLACK * window * machine.acceleration_mm_s2 / speed_mm_s**2
        if len(turn) and float(turn.max()) > most:
            x, y = points_mm[int(np.argmax(turn)) + 1]
            raise CheckError(
                f"Section {number}: {speed_mm_s:g} mm/s is too fast for the bend at x {x:.1f} mm, "
                f"y {y:.1f} mm: it turns by {math.degrees(float(turn.max())):.0f}° within "
                f"{window:g} mm."
            )
