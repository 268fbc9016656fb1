"""`layflat cut`: a layout to a cut program."""

from pathlib import Path

import click

from layflat.cli.console import (
    FILE,
    answer_option,
    hand_out,
    json_option,
    progress_shown,
    report_option,
    require_outputs,
)
from layflat.cli.wishes import wish_options, wishes_of


@click.command("cut")
@click.argument("layout", type=FILE)
@click.option(
    "--machine", "machine_path", type=FILE, help="Machine file (TOML); the generic plotter without."
)
@click.option(
    "--witness",
    type=float,
    help="Cut witness marks in the margins and return to them after so much feed, in mm.",
)
@wish_options
@click.option(
    "--times",
    "times_path",
    type=FILE,
    help="How long sections took (TOML), so that the time is corrected by it.",
)
@answer_option
@click.option("-o", "--output", type=FILE, required=True, help="The cut program (HP-GL).")
@report_option
@json_option
def command(
    layout: Path,
    machine_path: Path | None,
    witness: float | None,
    first: tuple[str, ...],
    strips: float | None,
    tabs: int,
    tab_mm: float,
    hinge_mm: float | None,
    times_path: Path | None,
    answers: tuple[str, ...],
    output: Path,
    report_path: Path | None,
    as_json: bool,
) -> None:
    """Turn LAYOUT (DXF or SVG) into a cut program for a drag-knife plotter.

    The program is read back and the blade's tip is simulated before it is handed out: the cut
    lies within 0.05 mm of the pattern, 0.15 mm at corners, or the program is refused.

    \b
    Examples:
      layflat cut layout.dxf -o layout.plt
      layflat cut layout.dxf --machine plotter.toml -o layout.plt --report cut.json
      layflat cut layout.dxf --witness 500 -o layout.plt
      layflat cut layout.dxf --strips 400 --first "front bumper" -o layout.plt
      layflat cut layout.dxf --tabs 4 --tab-mm 1 -o layout.plt

    Cut a test piece first. Knives: cut away from hands, never on paint; set the force so that
    the blade scores the liner's surface and never goes through it.
    """
    from layflat.job import cut_file

    require_outputs(
        output, report_path, inputs=(layout, machine_path, times_path), suffixes=(".plt", ".hpgl")
    )
    with progress_shown() as progress:
        done = cut_file(
            layout,
            machine_path=machine_path,
            witness_mm=witness,
            wishes=wishes_of(first, strips, tabs, tab_mm, hinge_mm),
            times_path=times_path,
            answers=answers,
            progress=progress,
        )
    hand_out(
        done.report,
        lines=[f"{output}: {done.sentence}"],
        as_json=as_json,
        report_path=report_path,
        texts={output: done.text_for(output)},
    )
