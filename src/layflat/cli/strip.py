"""`layflat strip`: a strip test to a film file."""

from pathlib import Path

import click

from layflat.cli.console import FILE, hand_out, json_option, report_option, require_outputs


@click.command("strip")
@click.argument("test", type=FILE)
@click.option("-o", "--output", type=FILE, required=True, help="The film file: .toml.")
@click.option(
    "--film",
    "film_path",
    type=FILE,
    help="Film file (TOML) for what a strip test cannot tell; the generic film without.",
)
@report_option
@json_option
def command(
    test: Path, output: Path, film_path: Path | None, report_path: Path | None, as_json: bool
) -> None:
    """Turn TEST, the readings of a strip test, into a film file.

    A strip of film without its liner is hung with known weights and read with a tape, under load
    and with the weight off again. The film file gets the modulus at small stretch with its
    uncertainty, how the film softens, and the stretch that still comes back.

    Weights fall on feet and film snaps back: hang the strip low, over a padded box, keep your face
    away, wear safety glasses.

    \b
    Examples:
      layflat strip strip.toml -o measured.toml
      layflat strip strip.toml --film old.toml -o measured.toml --report strip.json
    """
    from layflat.job import strip_file

    require_outputs(output, report_path, inputs=(test, film_path), suffixes=(".toml",))
    done = strip_file(test, film_path=film_path)
    hand_out(
        done.report,
        lines=[*done.lines, f"{output}: {done.sentence}"],
        as_json=as_json,
        report_path=report_path,
        texts={output: done.text_for(output)},
    )
