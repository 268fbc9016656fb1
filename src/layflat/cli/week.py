"""`layflat week`: several jobs, rolls and offcuts in one plan."""

from pathlib import Path

import click

from layflat.base import require_own_folder
from layflat.cli.console import FILE, hand_out, json_option, progress_shown


@click.command("week")
@click.argument("order", metavar="WEEK.toml", type=FILE)
@click.option("-o", "--output", type=FILE, required=True, help="Folder for layouts and the plan.")
@json_option
def command(order: Path, output: Path, as_json: bool) -> None:
    """Say which piece of several jobs comes from which roll or offcut, at the least cost.

    WEEK.toml names the jobs' drawings, the rolls and offcuts with their faults, and the rates. The
    plan weighs film, cuts, handling, the age of rolls and what offcuts that remain are worth, and
    is never dearer than each job by itself. Each layout is written as .dxf, ready for
    `layflat cut`, and .svg. The folder appears when all is done; an earlier one of the same name
    is replaced as a whole.

    \b
    Example:
      layflat week week.toml -o out/week
    """
    from layflat.job import read_week, run_week, write_week

    require_own_folder(output)
    with progress_shown() as progress:
        result = run_week(read_week(order), progress=progress)
    write_week(result, output)
    hand_out(result.report, lines=list(result.lines(output)), as_json=as_json)
