"""`layflat flatten`: one panel to its flat piece."""

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
    with_defaults,
)


@click.command("flatten")
@click.argument("panel", type=FILE)
@click.option(
    "-o", "--output", type=FILE, required=True, help="The flat shape: .obj, .dxf or .svg."
)
@click.option("--film", "film_path", type=FILE, help="Film file (TOML); the generic film without.")
@click.option(
    "--finger-aversion",
    type=click.FloatRange(1, 100),
    default=1.0,
    show_default=True,
    help="How much more the film dislikes compression than stretch; 1 is plain mechanics.",
)
@click.option("--unit", type=UNITS, help="Unit of the panel's file where it does not say (mm).")
@report_option
@json_option
def command(
    panel: Path,
    output: Path,
    film_path: Path | None,
    finger_aversion: float,
    unit: str | None,
    report_path: Path | None,
    as_json: bool,
) -> None:
    """Find the flat film piece for PANEL, a mesh of one panel's surface.

    The flat shape is the one that a real elastic film would choose: of all flat shapes, the one
    that stores the least energy once it is laid. PANEL is PLY, OBJ, STL or GLB. An .obj output
    carries the surface with the flat shape as texture coordinates in millimetres; a .dxf or
    .svg output carries the outline as smooth curves.

    \b
    Examples:
      layflat flatten hood.ply -o hood.obj
      layflat flatten hood.stl --unit m -o hood.dxf --report hood.json
      layflat flatten cap.glb --film matt.toml --finger-aversion 4 -o cap.obj
    """
    from layflat.job import flatten_file

    require_outputs(
        output, report_path, inputs=(panel, film_path), suffixes=(".obj", ".dxf", ".svg")
    )
    with progress_shown() as progress:
        done = flatten_file(
            panel,
            unit=unit,
            film_path=film_path,
            finger_aversion=finger_aversion,
            progress=progress,
        )
    hand_out(
        with_defaults(done.report, {"finger_aversion": "finger_aversion"}),
        lines=[f"{output}: {done.sentence}"],
        as_json=as_json,
        report_path=report_path,
        texts={output: done.text_for(output)},
    )
