"""`layflat fit`: how a job's film fits, with what would help."""

from pathlib import Path

import click

from layflat.base import require_own_folder
from layflat.cli.console import FILE, hand_out, json_option, progress_shown


@click.command("fit")
@click.argument("order", metavar="JOB.toml", type=FILE)
@click.option("-o", "--output", type=FILE, help="Folder for fit sheets and the report.")
@click.option("--panel", help="Look at this panel alone.")
@click.option(
    "--kept",
    type=FILE,
    help="Folder that keeps results of steps, so that a small change is quick.",
)
@click.option(
    "--processes",
    type=click.IntRange(1, 64),
    default=2,
    show_default=True,
    help="How many panels are worked on at once.",
)
@json_option
def command(
    order: Path,
    output: Path | None,
    panel: str | None,
    kept: Path | None,
    processes: int,
    as_json: bool,
) -> None:
    """Say how the film of a job fits: stretch, fingers, and what would help.

    For each panel of JOB.toml: where its film is stretched, where it will finger and how much film
    is too much there, relief cuts that would help and what each gains, whether a blank trimmed on
    the car would do; and which left and right panels share one pattern. Nothing is changed: a
    relief is taken by writing its path into the job file, under its cover, as `reliefs`.

    With --kept the results of each step stay in a folder; after a small change only what depends
    on it is computed again.

    \b
    Examples:
      layflat fit jobs/k-0412.toml
      layflat fit jobs/k-0412.toml --panel bumper-front -o out/fit
      layflat fit jobs/k-0412.toml --kept kept -o out/fit --json
    """
    from layflat.job import fit_job, read_order, write_front

    if output is not None:
        require_own_folder(output)
    with progress_shown() as progress:
        result = fit_job(
            read_order(order),
            panel=panel,
            kept=kept,
            with_papers=output is not None,
            workers=processes,
            progress=progress,
        )
    if output is not None:
        write_front(result, output)
    hand_out(result.report, lines=list(result.lines(output)), as_json=as_json)
