"""`layflat restore`: a backup into an empty data folder."""

from pathlib import Path

import click

from layflat.cli.console import FILE, progress_shown


@click.command("restore")
@click.argument("file", type=FILE)
@click.option(
    "-d",
    "--data",
    type=FILE,
    default=Path("layflat-data"),
    show_default=True,
    help="Empty folder for everything that the app keeps; it is made where there is none.",
)
def command(file: Path, data: Path) -> None:
    """Put the shop in FILE, a backup, into an empty folder.

    Where DATABASE_URL names a database, the rows go there; it must be empty, too. A backup of the
    one kind of database goes into the other.

    \b
    Examples:
      layflat restore yard.layflat --data /srv/layflat
      DATABASE_URL=postgres://layflat@10.0.0.4/layflat layflat restore yard.layflat
    """
    from layflat.web import restore

    with progress_shown() as progress:
        done = restore(file, data, progress=progress)
    click.echo(
        f"{done.shop or 'The shop'} is restored in {data} as it was at {done.made_at[:16]} UTC: "
        f"{done.rows} rows and {done.files} files. Start it with “layflat serve --data {data}”; "
        "everybody signs in again."
    )
