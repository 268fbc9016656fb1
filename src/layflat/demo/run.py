"""The main job on the invented workshop, start to end."""

from dataclasses import replace
from pathlib import Path

from layflat.base import Progress, part_of, silent, write_folder
from layflat.demo.workshop import write_workshop
from layflat.job import Order, read_order, run_job, write_job

_WORKSHOP = "workshop"


def run_demo(
    output: Path, *, layout_seconds: float | None = None, progress: Progress = silent
) -> tuple[str, ...]:
    """Write the workshop's files and take both its jobs from cover to papers.

    Args:
        output: a folder that becomes the result as a whole: `workshop/` with bodies, panels,
            film, machine and job files, and a folder for each job.
        layout_seconds: time budget of each layout search instead of the job's own.
        progress: told each step.

    Returns:
        What was made, a line each.

    Raises:
        InputError: a budget that cannot be.
        OutputError: the folder holds something else, or cannot be written.
        CheckError: a result failed its own check.
    """
    lines: list[str] = []
    with write_folder(output) as inside:
        (inside / _WORKSHOP).mkdir()
        workshop = write_workshop(
            inside / _WORKSHOP, progress=part_of(progress, start=0.0, end=0.25)
        )
        count = len(workshop.jobs)
        for i, path in enumerate(workshop.jobs):
            order = _with_budget(read_order(path), layout_seconds)
            share = 0.75 / count
            result = run_job(
                order,
                progress=part_of(
                    progress,
                    start=0.25 + i * share,
                    end=0.25 + (i + 1) * share,
                    prefix=f"{order.number}, ",
                ),
            )
            write_job(result, inside / order.number)
            lines += result.lines(output / order.number)
    lines.append(f"{output / _WORKSHOP}: the bodies, panels, film, machine and jobs it was made of")
    return tuple(lines)


def _with_budget(order: Order, seconds: float | None) -> Order:
    if seconds is None:
        return order
    return replace(order, layout=replace(order.layout, seconds=seconds))
