"""`layflat propose`: a start for a template from the same panel of another car."""

from pathlib import Path

import click

from layflat.cli.console import (
    FILE,
    answer_option,
    hand_out,
    json_option,
    report_option,
    require_outputs,
)


@click.command("propose")
@click.argument("template", type=FILE)
@click.argument("known", type=FILE, nargs=-1, required=True)
@click.option("-o", "--output", type=FILE, required=True, help="The start: .dxf or .svg.")
@click.option("--piece", default="", help="Which piece of a template's drawing with several.")
@click.option("--name", default="", help="What the result is called; the template's name if free.")
@click.option("--mirror", is_flag=True, help="A piece may serve mirrored, from the other side.")
@click.option(
    "--only-lay",
    is_flag=True,
    help="Lay it only: corners and cut-outs that lie near each other do not deform it.",
)
@answer_option
@report_option
@json_option
def command(
    template: Path,
    known: tuple[Path, ...],
    output: Path,
    piece: str,
    name: str,
    mirror: bool,
    only_lay: bool,
    answers: tuple[str, ...],
    report_path: Path | None,
    as_json: bool,
) -> None:
    """Lay the nearest of the KNOWN pieces on a TEMPLATE of another car, as a start.

    All are drawings (DXF or SVG). Pieces are turned and moved, never scaled; the misfit of each
    outline is said. Corners and cut-outs that lie near each other are taken as the same and carry
    the piece over. The result is a start, not a pattern: lay it, note how it fits, revise it.

    \b
    Examples:
      layflat propose template.dxf fender-a.dxf fender-b.dxf -o start.dxf
      layflat propose template.dxf mirrors.svg --mirror --only-lay -o start.svg
    """
    from layflat.job import propose_start

    require_outputs(output, report_path, inputs=(template, *known), suffixes=(".dxf", ".svg"))
    done = propose_start(
        template,
        known,
        piece=piece,
        name=name,
        mirror=mirror,
        landmarks=not only_lay,
        answers=answers,
    )
    hand_out(
        done.report,
        lines=[f"{output}: {done.sentence}", *done.lines[1:]],
        as_json=as_json,
        report_path=report_path,
        texts={output: done.text_for(output)},
    )
