"""`layflat serve`: the workshop app."""

from pathlib import Path

import click

from layflat.cli.console import FILE, progress_shown

_LOOPBACK = ("127.0.0.1", "localhost", "::1")


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
@click.option(
    "--demo",
    is_flag=True,
    help="Put an invented workshop into the folder first, if it has no shop yet.",
)
def command(data: Path, host: str, port: int, *, demo: bool) -> None:
    """Start the workshop app, for browsers on this machine or in the shop.

    \b
    Examples:
      layflat serve
      layflat serve --demo --data demo-data
      layflat serve --data /srv/layflat --host 0.0.0.0
    """
    from layflat.web import go_on_inventing, open_demo, serve

    if demo:
        with progress_shown() as progress:
            lines = open_demo(data, progress=progress)
        for line in lines:
            click.echo(line)
        if host not in _LOOPBACK:
            click.echo(
                "Caution: the invented workshop's passwords are known to everybody, and this "
                "address is open to other machines."
            )
    where = f"http://{f'[{host}]' if ':' in host else host}:{port}/"
    up = f"Layflat answers on {where} (Ctrl-C ends it); data in {data}"

    def on_up() -> None:
        click.echo(up)
        if demo:
            go_on_inventing()

    serve(data, host=host, port=port, on_up=on_up)
