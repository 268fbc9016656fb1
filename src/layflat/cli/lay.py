"""`layflat lay`: a given flat piece laid on a panel."""

from pathlib import Path
from typing import Literal

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
    with_defaults,
)


@click.command("lay")
@click.argument("panel", type=FILE)
@click.argument("piece", type=FILE, required=False)
@click.option(
    "--rectangle", default="", metavar="LENGTHxWIDTH", help="A plain rectangle off the roll, in mm."
)
@click.option(
    "--anchor",
    "anchors",
    multiple=True,
    metavar="X,Y=X,Y,Z",
    help="A point of the piece held at a point of the panel, in mm; may be given again.",
)
@answer_option
@click.option(
    "--law",
    type=click.Choice(["plain", "relaxed"]),
    default="plain",
    show_default=True,
    help="Film that lies flat, or film that cannot push and fingers freely.",
)
@click.option(
    "--finger-aversion",
    type=click.FloatRange(1, 100),
    default=1.0,
    show_default=True,
    help="As the pattern was made with; 1 is plain mechanics.",
)
@click.option("-o", "--output", type=FILE, help="The film as it lies: .obj.")
@click.option("--film", "film_path", type=FILE, help="Film file (TOML); the generic film without.")
@click.option("--unit", type=UNITS, help="Unit of the panel's file where it does not say (mm).")
@report_option
@json_option
def command(
    panel: Path,
    piece: Path | None,
    rectangle: str,
    anchors: tuple[str, ...],
    answers: tuple[str, ...],
    law: Literal["plain", "relaxed"],
    finger_aversion: float,
    output: Path | None,
    film_path: Path | None,
    unit: str | None,
    report_path: Path | None,
    as_json: bool,
) -> None:
    """Lay PIECE on PANEL and say what that asks of the film.

    PIECE is a drawing (.dxf or .svg) with one piece: a pattern, a template, or anything else that
    is flat; or --rectangle is laid. It slides without friction to where it is in balance, held at
    its anchors. PANEL is a mesh of one panel's surface (PLY, OBJ, STL or GLB), in whose
    coordinates anchors stand. Without anchors the piece is first put where its outline fits best.

    \b
    Examples:
      layflat lay hood.ply hood.dxf
      layflat lay cap.ply --rectangle 360x280 --anchor 180,140=4920,-890,940 -o laid.obj
      layflat lay hood.ply template.svg --law relaxed --report laid.json
    """
    from layflat.job import lay_file

    if output is not None:
        inputs = (panel, piece, film_path)
        require_outputs(output, report_path, inputs=inputs, suffixes=(".obj",))
    elif report_path is not None:
        require_outputs(report_path, inputs=(panel, piece, film_path))
    with progress_shown() as progress:
        done = lay_file(
            panel,
            piece=piece,
            rectangle=rectangle,
            anchors=anchors,
            answers=answers,
            law=law,
            finger_aversion=finger_aversion,
            unit=unit,
            film_path=film_path,
            progress=progress,
        )
    hand_out(
        with_defaults(done.report, {"finger_aversion": "finger_aversion", "law": "law"}),
        lines=list(done.lines),
        as_json=as_json,
        report_path=report_path,
        texts={} if output is None else {output: done.text_for(output)},
    )
