"""The work of `layflat cut`: a layout to a cut program."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from layflat.base import Progress, Report, counted, silent
from layflat.cut import (
    NO_WISHES,
    TimeRatio,
    Wishes,
    cut_report,
    generic_machine,
    program,
    read_machine,
    read_times,
    time_ratio,
    told_whole,
    usual_tolerance,
    witnessed,
)
from layflat.job.done import Done
from layflat.job.single_drawing import parse_answers
from layflat.pattern import read_drawing


def cut_file(
    path: Path,
    *,
    machine_path: Path | None = None,
    witness_mm: float | None = None,
    wishes: Wishes = NO_WISHES,
    times_path: Path | None = None,
    answers: Sequence[str] = (),
    progress: Progress = silent,
) -> Done:
    """The cut program of the layout at *path*, checked by simulating the blade's tip.

    Args:
        path: a DXF or SVG layout; each rectangle on STOCK is a section.
        machine_path: a machine file, or None for the generic plotter.
        witness_mm: after how much feed the head returns to witness marks in the margins; never
            without.
        wishes: which pieces come first, weed lines, tabs or a hinge.
        times_path: a file of how long sections took, which corrects the estimate; or None.
        answers: to what the layout asks; see `layflat.job.parse_answers`.
        progress: told of each section.

    Raises:
        InputError: the layout or the machine cannot be used; says why.
        CheckError: the simulated cut does not lie on the pattern.
    """
    defaults: dict[str, Any] = {}
    if machine_path is None:
        machine = generic_machine()
        defaults["machine"] = machine.name
        inputs = Report.hashes(path)
    else:
        machine = read_machine(machine_path)
        defaults |= {f"machine.{key}": value for key, value in machine.defaults.items()}
        inputs = Report.hashes(path, machine_path)
    ratio = None if times_path is None else time_ratio(read_times(times_path))
    if times_path is not None:
        inputs |= Report.hashes(times_path)
    drawing = read_drawing(path, answers=parse_answers(answers))
    done = program(drawing, machine, wishes=wishes, progress=progress)
    tolerance = usual_tolerance(done, drawing, machine)
    warnings = (*drawing.notes, *done.notes)
    if witness_mm is not None:
        done = witnessed(done, drawing, machine, every_mm=witness_mm)
        warnings = (
            *warnings,
            (
                f"The head comes back to its witness marks by itself after every {witness_mm:g} mm "
                "of feed: keep hands away until it stands at the section's end."
            ),
        )
    error = done.tip_error
    told = told_whole(done, machine)
    return Done(
        texts={".plt": told, ".hpgl": told},
        report=Report(
            kind="cut",
            inputs=inputs,
            results={
                **cut_report(done, tolerance=tolerance),
                **({} if ratio is None else _corrected(ratio, done.seconds)),
            },
            defaults=defaults,
            warnings=warnings,
        ),
        sentence=(
            f"{done.cut_length_mm / 1000:.2f} m of cut in "
            f"{counted(len(done.sections), 'section')}, about {done.seconds / 60:.1f} min; "
            f"the blade's tip stays within {error.max_away_mm:.3f} mm of the pattern, "
            f"{error.max_corner_mm:.3f} mm at corners."
            + ("" if tolerance is None else f" {tolerance.sentence}")
            + ("" if ratio is None else f" {_time_sentence(ratio, done.seconds)}")
        ),
    )


def _corrected(ratio: TimeRatio, estimated_s: float) -> dict[str, Any]:
    """The corrected time, for the report."""
    middle, low, high = ratio.seconds(estimated_s)
    return {
        "time": {
            "corrected_s": middle,
            "low_s": low,
            "high_s": high,
            "ratio": ratio.ratio,
            "ratio_low": ratio.low,
            "ratio_high": ratio.high,
            "records": ratio.records,
        }
    }


def _time_sentence(ratio: TimeRatio, estimated_s: float) -> str:
    middle, low, high = (seconds / 60 for seconds in ratio.seconds(estimated_s))
    return f"{ratio.sentence} So it takes about {middle:.1f} min, {low:.1f} to {high:.1f}."
