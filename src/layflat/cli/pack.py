"""`layflat pack`: shapes of one vehicle in an archive for another shop."""

from pathlib import Path

import click

from layflat.cli.console import FILE


@click.command("pack")
@click.argument("drawings", nargs=-1, type=FILE)
@click.option("-o", "--output", type=FILE, required=True, help="The archive, a ZIP file.")
@click.option("--maker", required=True, help="Who built the vehicle.")
@click.option("--model", required=True, help="What it is called.")
@click.option("--shop", required=True, help="Your shop's name; it is signed with the rest.")
@click.option(
    "--key",
    type=FILE,
    required=True,
    help="File with your key; it is made where there is none. Show it to nobody.",
)
@click.option("--scan", type=FILE, help="The vehicle's scan: PLY, OBJ, STL or GLB.")
@click.option(
    "--unit",
    type=click.Choice(["mm", "cm", "m", "in"]),
    help="Of scan and drawings, where they do not say it.",
)
@click.option("--panels", type=FILE, help="The scan's file of panels.")
def command(
    drawings: tuple[Path, ...],
    output: Path,
    maker: str,
    model: str,
    shop: str,
    key: Path,
    scan: Path | None,
    unit: str | None,
    panels: Path | None,
) -> None:
    """Pack a scan with its panels, flat pieces from DRAWINGS, or both, into a signed archive.

    \b
    Examples:
      layflat pack hood.dxf fender.dxf --unit mm --maker Tarnholm --model Siskwing \\
        --shop "Lampwick Yard" --key yard.key -o siskwing.zip
      layflat pack --scan body.ply --unit mm --panels panels.json --maker Tarnholm \\
        --model Siskwing --shop "Lampwick Yard" --key yard.key -o siskwing.zip
    """
    from layflat.base import LayflatError, counted, require_writable
    from layflat.exchange import Vehicle, fingerprint, from_files, key_at, pack
    from layflat.pattern import read_drawing

    require_writable(output, inputs=[*drawings, key, *(each for each in (scan, panels) if each)])
    pieces = [piece for path in drawings for piece in read_drawing(path, unit=unit).patterns]
    vehicle = Vehicle(maker=maker, name=model)
    contents, parts = from_files(vehicle, pieces, scan=scan, unit=unit or "", panels=panels)
    signer, is_new = key_at(key)
    try:
        pack(contents, parts, key=signer, shop=shop).write(output)
    except LayflatError:
        # A key that nobody was told of signs nothing.
        if is_new:
            key.unlink(missing_ok=True)
        raise
    if is_new:
        click.echo(f"{key} is new: your key. Keep it, and keep it from others.")
    click.echo(
        f"{output}: {counted(len(contents.bodies), 'scan')}, "
        f"{counted(len(contents.patterns), 'pattern')}; signed as {shop}, fingerprint "
        f"{fingerprint(signer.public)}"
    )
