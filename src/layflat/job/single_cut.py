"""The work of `layflat cut`: a layout to a cut program."""

from pathlib import Path
from typing import Any

from layflat.base import Progress, Report, silent
from layflat.cut import cut_report, generic_machine, program, read_machine
from layflat.job.done import Done
from layflat.pattern import read_drawing


def cut_file(path: Path, *, machine_path: Path | None = None, progress: Progress = silent) -> Done:
    """The cut program of the layout at *path*, checked by simulating the blade's tip.

    Args:
        path: a DXF or SVG layout; each rectangle on STOCK is a section.
        machine_path: a machine file, or None for the generic plotter.
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
    drawing = read_drawing(path)
    done = program(drawing, machine, progress=progress)
    error = done.tip_error
    return Done(
        texts={".plt": done.hpgl, ".hpgl": done.hpgl},
        report=Report(
            kind="cut",
            inputs=inputs,
            results=cut_report(done),
            defaults=defaults,
            warnings=drawing.notes,
        ),
        sentence=(
            f"{done.cut_length_mm / 1000:.2f} m of cut in {len(done.sections)} section(s), about "
            f"{done.seconds / 60:.1f} min; the blade's tip stays within {error.max_away_mm:.3f} mm "
            f"of the pattern, {error.max_corner_mm:.3f} mm at corners."
        ),
    )
