"""`layflat job`: one job, whole."""

from pathlib import Path

import click

from layflat.base import require_own_folder
from layflat.cli.console import FILE, hand_out, json_option, progress_shown


@click.command("job")
@click.argument("order", metavar="JOB.toml", type=FILE)
@click.option(
    "-o", "--output", type=FILE, required=True, help="Folder for everything the job needs."
)
@json_option
def command(order: Path, output: Path, as_json: bool) -> None:
    """Take one job from its cover to pieces, layout, cut programs and papers.

    JOB.toml names the body, the panels to cover, the film, the stock, the machine and the rates;
    `layflat demo` writes two that can serve as a start. The folder appears when all is done;
    an earlier one of the same name is replaced as a whole.

    \b
    Example:
      layflat job jobs/k-0412.toml -o out/k-0412
    """
    from layflat.job import read_order, run_job, write_job

    require_own_folder(output)
    with progress_shown() as progress:
        result = run_job(read_order(order), progress=progress)
    write_job(result, output)
    hand_out(result.report, lines=list(result.lines(output)), as_json=as_json)
