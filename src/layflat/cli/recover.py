"""`layflat recover`: after a stop, what is whole, and what is cut again where."""

from pathlib import Path

import click

from layflat.cli.console import (
    FILE,
    hand_out,
    json_option,
    progress_shown,
    report_option,
    require_outputs,
    with_defaults,
)
from layflat.cli.wishes import wish_options, wishes_of

_NAMES = {
    "gap": "gap_mm",
    "edge_margin": "edge_margin_mm",
    "end_margin": "end_margin_mm",
    "turns": "turns",
    "seconds": "seconds",
    "seed": "seed",
}


@click.command("recover")
@click.argument("layout", type=FILE)
@click.argument("program", type=FILE)
@click.option(
    "--machine", "machine_path", type=FILE, help="Machine file (TOML); the generic plotter without."
)
@click.option("--section", type=int, help="The section that was being cut.")
@click.option("--at", "piece", help="The piece under the knife: its name or number.")
@click.option("--whole", type=int, help="Strokes of the section that are whole for certain.")
@click.option("--begun", type=int, help="Strokes that may have been begun; as --whole without.")
@click.option("--seen-whole", multiple=True, help="A piece that was looked at and is whole.")
@click.option("--seen-lost", multiple=True, help="A piece that was looked at and is lost.")
@click.option(
    "--in-place",
    is_flag=True,
    help="The head knows where it stands: the old program goes on, only what is lost is laid anew.",
)
@click.option(
    "--marks",
    "marks_path",
    type=FILE,
    help="What was read off the section's witness marks (TOML).",
)
@wish_options
@click.option("--roll", type=float, help="Film in mm from the section's start to the roll's end.")
@click.option("--gap", type=float, default=4.0, show_default=True, help="As for nest, in mm.")
@click.option(
    "--edge-margin", type=float, default=20.0, show_default=True, help="As for nest, in mm."
)
@click.option(
    "--end-margin", type=float, default=5.0, show_default=True, help="As for nest, in mm."
)
@click.option(
    "--turns", default="0,180", show_default=True, help="Allowed turns from how the pieces lay."
)
@click.option("--max-section", type=float, help="Greatest length of a section in mm.")
@click.option(
    "--seconds", type=float, default=10.0, show_default=True, help="Time budget of the search."
)
@click.option(
    "--seed", type=click.IntRange(0, 2**31 - 1), default=1, show_default=True, help="Its seed."
)
@click.option("-o", "--output", type=FILE, required=True, help="The new layout: .dxf or .svg.")
@click.option("--program", "new_program", type=FILE, help="Write the new cut program (.plt) here.")
@report_option
@json_option
def command(
    layout: Path,
    program: Path,
    machine_path: Path | None,
    section: int | None,
    piece: str | None,
    whole: int | None,
    begun: int | None,
    seen_whole: tuple[str, ...],
    seen_lost: tuple[str, ...],
    in_place: bool,
    marks_path: Path | None,
    first: tuple[str, ...],
    strips: float | None,
    tabs: int,
    tab_mm: float,
    hinge_mm: float | None,
    roll: float | None,
    gap: float,
    edge_margin: float,
    end_margin: float,
    turns: str,
    max_section: float | None,
    seconds: float,
    seed: int,
    output: Path,
    new_program: Path | None,
    report_path: Path | None,
    as_json: bool,
) -> None:
    """Say what a stop has left of LAYOUT while PROGRAM cut it, and lay out the rest again.

    Every piece is whole, lost, doubtful or still to be cut. What is lost or to be cut is laid out
    anew on film that nothing has cut, so that nothing is cut twice; what is doubtful waits until
    somebody has looked at it (--seen-whole, --seen-lost). The film is booked to the last
    millimetre: whole pieces, spoiled ones, waste, left.

    What PROGRAM was made with beside the machine file (--first, --strips, --tabs, --hinge) is said
    again: its witness marks are known by it, and the new program is made so, too.

    \b
    Examples:
      layflat recover layout.dxf layout.plt --at 7 -o rest.dxf --program rest.plt
      layflat recover layout.dxf layout.plt --at 7 --seen-lost 7 -o rest.dxf --program rest.plt
      layflat recover layout.dxf layout.plt --section 2 --whole 31 --begun 33 -o rest.dxf

    Switch the machine off before you reach under the head; it may move as soon as power is back.
    """
    from layflat.cut import Laying
    from layflat.job import StoppedAt, recover_files, suffix_of

    inputs = (layout, program, machine_path, marks_path)
    require_outputs(output, report_path, new_program, inputs=inputs, suffixes=(".dxf", ".svg"))
    if new_program is not None:
        suffix_of(new_program, (".plt", ".hpgl"))
    with progress_shown() as progress:
        done = recover_files(
            layout,
            program,
            machine_path=machine_path,
            stopped=StoppedAt(section=section, piece=piece, whole=whole, begun=begun),
            laying=Laying(
                gap_mm=gap,
                edge_margin_mm=edge_margin,
                end_margin_mm=end_margin,
                max_section_mm=max_section,
                roll_mm=roll,
                seconds=seconds,
                seed=seed,
            ),
            turns=turns,
            seen_whole=seen_whole,
            seen_lost=seen_lost,
            in_place=in_place,
            marks_path=marks_path,
            wishes=wishes_of(first, strips, tabs, tab_mm, hinge_mm),
            progress=progress,
        )
    wanted = [path for path in (output, new_program) if path is not None]
    hand_out(
        with_defaults(done.report, _NAMES),
        lines=[*done.lines, f"{output if done.texts else layout}: {done.sentence}"],
        as_json=as_json,
        report_path=report_path,
        texts={path: done.text_for(path) for path in wanted} if done.texts else {},
    )
