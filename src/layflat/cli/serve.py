"""`layflat serve`: the workshop app."""

from pathlib import Path

import click

from layflat.cli.console import FILE


@click.command("serve")
@click.option(
    "-d",
    "--data",
    type=FILE,
    default=Path("layflat-data"),
    show_default=True,
    help="Folder for everything that the app keeps.",
)
@click.option("--host", default="127.0.0.1", show_default=True, help="Address to answer on.")
@click.option(
    "--port",
    type=click.IntRange(1, 65535),
    default=8737,
    show_default=True,
    help="Port to answer on.",
)
def command(data: Path, host: str, port: int) -> None:
    """Start the workshop app, for browsers on this machine or in the shop.

    \b
    Examples:
      layflat serve
      layflat serve --data /srv/layflat --host 0.0.0.0
    """
    from layflat.web import serve

    click.echo(f"Layflat answers on http://{host}:{port}/ (Ctrl-C ends it); data in {data}")
    serve(data, host=host, port=port)
