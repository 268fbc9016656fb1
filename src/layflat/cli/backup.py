"""`layflat backup`: a running shop in one file."""

from pathlib import Path

import click

from layflat.cli.console import FILE, progress_shown


@click.command("backup")
@click.argument("file", type=FILE)
@click.option(
    "-d",
    "--data",
    type=FILE,
    default=Path("layflat-data"),
    show_default=True,
    help="Folder with everything that the app keeps.",
)
@click.option("--replace", is_flag=True, help="Let a FILE that is there already give way.")
def command(file: Path, data: Path, *, replace: bool) -> None:
    """Write the whole shop into FILE, while people go on working.

    Keep FILE where nobody else reads it: the shop's secret key is in it, and all that is known of
    customers.

    \b
    Examples:
      layflat backup /mnt/stick/yard.layflat --data /srv/layflat
      layflat backup yard.layflat --replace
    """
    from layflat.web import back_up

    with progress_shown() as progress:
        done = back_up(data, file, replace=replace, progress=progress)
    click.echo(
        f"{done.path}: {done.rows} rows and {done.files} files, {done.size / 1e6:.1f} MB, checked. "
        "The secret key is in it: keep it safe."
    )
