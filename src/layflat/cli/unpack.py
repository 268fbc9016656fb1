"""`layflat unpack`: an archive from another shop, checked, as files."""

from pathlib import Path

import click

from layflat.cli.console import FILE


@click.command("unpack")
@click.argument("archive", type=FILE)
@click.option("-o", "--output", type=FILE, help="Folder for its files; without it, only look.")
@click.option(
    "--from", "wanted", help="Fingerprint that the shop told you; another key's is refused."
)
def command(archive: Path, output: Path | None, wanted: str | None) -> None:
    """Check ARCHIVE whole, say what it holds and who signed it, and write its files.

    \b
    Examples:
      layflat unpack siskwing.zip
      layflat unpack siskwing.zip -o siskwing
    """
    from layflat.base import InputError, counted, read_bytes, write_folder
    from layflat.exchange import MOST_BYTES, opened, read_fingerprint

    # A missing file or a folder is told as everywhere.
    if not archive.is_file():
        read_bytes(archive, max_bytes=MOST_BYTES)
    with opened(archive) as found:
        signed = found.signed
        if wanted is not None and read_fingerprint(wanted) != signed.fingerprint:
            raise InputError(
                f"{archive} is signed by another key, {signed.fingerprint}; nothing was written."
            )
        contents = found.contents
        click.echo(f"{contents.vehicle}, signed as {signed.shop}, fingerprint {signed.fingerprint}")
        if wanted is None:
            click.echo("Anybody can write a name: compare the fingerprint with the shop itself.")
        click.echo(
            f"{counted(len(contents.bodies), 'scan')}, "
            f"{counted(len(contents.patterns), 'pattern')}, "
            f"{counted(len(contents.covers), 'cover')}, "
            f"{counted(len(contents.corrections), 'correction')}"
        )
        if output is None:
            return
        with write_folder(output) as folder:
            for entry in found.manifest.files:
                place = folder / entry.name
                place.parent.mkdir(parents=True, exist_ok=True)
                with place.open("wb") as file:
                    for chunk in found.chunks(entry.name):
                        file.write(chunk)
        click.echo(f"{output}: {counted(len(found.manifest.files), 'file')}")
