"""`layflat nest`: pieces onto a roll."""

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
    with_defaults,
)

_NAMES = {
    "edge_margin": "edge_margin_mm",
    "end_margin": "end_margin_mm",
    "gap": "gap_mm",
    "turns": "turns",
    "copies": "copies",
    "seconds": "seconds",
    "seed": "seed",
}
"""What the report calls the options that have a default."""


@click.command("nest")
@click.argument("drawings", type=FILE, nargs=-1, required=True)
@click.option("--width", type=float, required=True, help="Width of the roll in mm.")
@click.option(
    "--edge-margin",
    type=float,
    default=20.0,
    show_default=True,
    help="Untouched strip at each roll edge in mm.",
)
@click.option(
    "--end-margin",
    type=float,
    default=5.0,
    show_default=True,
    help="Untouched strip at each end of a section in mm.",
)
@click.option(
    "--gap", type=float, default=4.0, show_default=True, help="Least distance between pieces in mm."
)
@click.option(
    "--turns",
    default="0,180",
    show_default=True,
    help="Allowed turns: 0 · 0,180 · quarter · any · degrees.",
)
@click.option(
    "--copies",
    type=click.IntRange(1, 500),
    default=1,
    show_default=True,
    help="Copies of every piece.",
)
@click.option(
    "--section",
    "section_mm",
    type=float,
    help="Greatest length of a section in mm; one section without.",
)
@click.option(
    "--seconds", type=float, default=20.0, show_default=True, help="Time budget of the search."
)
@click.option(
    "--seed",
    type=click.IntRange(0, 2**31 - 1),
    default=1,
    show_default=True,
    help="Seed of the search.",
)
@answer_option
@click.option("-o", "--output", type=FILE, required=True, help="The layout: .dxf or .svg.")
@report_option
@json_option
def command(
    drawings: tuple[Path, ...],
    width: float,
    edge_margin: float,
    end_margin: float,
    gap: float,
    turns: str,
    copies: int,
    section_mm: float | None,
    seconds: float,
    seed: int,
    answers: tuple[str, ...],
    output: Path,
    report_path: Path | None,
    as_json: bool,
) -> None:
    """Lay the pieces in DRAWINGS (DXF or SVG) out on a roll, in as little length as can be found.

    In a drawing, each closed loop on layer OUTLINE is a piece, loops on CUTOUT are its holes.
    x runs along the roll, y across it. Each section of the layout is a rectangle on STOCK.

    \b
    Examples:
      layflat nest hood.dxf fender.dxf --width 1524 -o layout.dxf
      layflat nest *.dxf --width 1524 --turns 0 --section 3000 --seconds 60 -o layout.dxf
    """
    from layflat.job import nest_files

    require_outputs(output, report_path, inputs=drawings, suffixes=(".dxf", ".svg"))
    with progress_shown() as progress:
        done = nest_files(
            drawings,
            width_mm=width,
            edge_margin_mm=edge_margin,
            end_margin_mm=end_margin,
            gap_mm=gap,
            turns=turns,
            copies=copies,
            max_section_mm=section_mm,
            seconds=seconds,
            seed=seed,
            answers=answers,
            progress=progress,
        )
    hand_out(
        with_defaults(done.report, _NAMES),
        lines=[f"{output}: {done.sentence}"],
        as_json=as_json,
        report_path=report_path,
        texts={output: done.text_for(output)},
    )
