"""`layflat check`: what a scanned surface is like."""

from pathlib import Path

import click

from layflat.cli.console import (
    FILE,
    UNITS,
    hand_out,
    json_option,
    progress_shown,
    report_option,
    require_outputs,
)


@click.command("check")
@click.argument("mesh", type=FILE)
@click.option("--unit", type=UNITS, help="Unit of the file where it does not say (mm).")
@report_option
@json_option
def command(mesh: Path, unit: str | None, report_path: Path | None, as_json: bool) -> None:
    """Say what MESH is like and what would be mended before it is used.

    \b
    Examples:
      layflat check body.ply --unit m
      layflat check panel.glb --json
    """
    from layflat.job import check_file

    require_outputs(report_path, inputs=(mesh,))
    with progress_shown() as progress:
        done = check_file(mesh, unit=unit, progress=progress)
    hand_out(done.report, lines=list(done.lines), as_json=as_json, report_path=report_path)
