"""`layflat check`: what a scanned surface or a drawing is like."""

from pathlib import Path

import click

from layflat.cli.console import (
    FILE,
    UNITS,
    answer_option,
    hand_out,
    json_option,
    progress_shown,
    report_option,
    require_outputs,
)


@click.command("check")
@click.argument("file", type=FILE)
@click.option("--unit", type=UNITS, help="Unit of a scan where it does not say (mm).")
@answer_option
@report_option
@json_option
def command(
    file: Path,
    unit: str | None,
    answers: tuple[str, ...],
    report_path: Path | None,
    as_json: bool,
) -> None:
    """Say what FILE is like and what would be mended before it is used.

    FILE is a scan (PLY, OBJ, STL or GLB) or a drawing (DXF or SVG). Of a drawing it also says what
    is unsure, and which answers there are.

    \b
    Examples:
      layflat check body.ply --unit m
      layflat check panel.glb --json
      layflat check template.dxf
      layflat check template.dxf --answer unit=mm
    """
    from layflat.job import check_drawing, check_file

    require_outputs(report_path, inputs=(file,))
    if file.suffix.lower() in (".dxf", ".svg"):
        if unit is not None:
            raise click.UsageError("Of a drawing the unit is answered: --answer unit=mm.")
        done = check_drawing(file, answers=answers)
    elif answers:
        raise click.UsageError("Only drawings ask; --answer is not for scans.")
    else:
        with progress_shown() as progress:
            done = check_file(file, unit=unit, progress=progress)
    hand_out(done.report, lines=list(done.lines), as_json=as_json, report_path=report_path)
