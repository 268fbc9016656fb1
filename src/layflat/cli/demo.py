"""`layflat demo`: the main job on the invented workshop."""

from pathlib import Path

import click

from layflat.cli.console import FILE, progress_shown


@click.command("demo")
@click.option(
    "-o",
    "--output",
    type=FILE,
    default=Path("demo-out"),
    show_default=True,
    help="Folder for everything.",
)
@click.option(
    "--seconds", type=float, help="Time budget of each layout search, instead of the job's own."
)
def command(output: Path, seconds: float | None) -> None:
    """Make an invented workshop with two vehicles and take a job on each from cover to papers.

    \b
    Example:
      layflat demo -o demo-out
    """
    from layflat.demo import run_demo

    with progress_shown() as progress:
        lines = run_demo(output, layout_seconds=seconds, progress=progress)
    for line in lines:
        click.echo(line)
