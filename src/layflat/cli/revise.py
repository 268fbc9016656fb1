"""`layflat revise`: fit notes to the next revision of a pattern."""

import datetime
from pathlib import Path

import click

from layflat.cli.console import (
    FILE,
    answer_option,
    hand_out,
    json_option,
    report_option,
    require_outputs,
    with_defaults,
)

_NAMES = {"workshop": "workshop"}


@click.command("revise")
@click.argument("pattern", type=FILE)
@click.argument("notes", metavar="NOTES.toml", type=FILE)
@click.option("-o", "--output", type=FILE, required=True, help="The new drawing: .dxf or .svg.")
@click.option("--revisions", type=FILE, help="Write all revisions, to go on from (JSON), here.")
@click.option("--paper", type=FILE, help="Write the piece before and after (PDF) here.")
@click.option("--picture", type=FILE, help="Write the same picture alone (SVG) here.")
@click.option("--piece", default="", help="Which piece of a drawing with several.")
@click.option(
    "--take-back",
    type=click.IntRange(0, 1000),
    default=0,
    show_default=True,
    help="Take so many revisions back first.",
)
@answer_option
@click.option("--workshop", default="", help="What the paper calls the workshop.")
@report_option
@json_option
def command(
    pattern: Path,
    notes: Path,
    output: Path,
    revisions: Path | None,
    paper: Path | None,
    picture: Path | None,
    piece: str,
    take_back: int,
    answers: tuple[str, ...],
    workshop: str,
    report_path: Path | None,
    as_json: bool,
) -> None:
    """Revise PATTERN by the fit notes in NOTES.toml: by the smallest smooth change that meets them.

    PATTERN is a drawing (DXF or SVG), or the revisions that an earlier run wrote (JSON): then the
    new notes count together with those that it already rests on. Straight lines stay straight,
    cut-outs keep their shape, and far from all notes nothing moves. Notes of several cars are
    weighed by how they scatter; a car that contradicts the others counts little.

    \b
    Examples:
      layflat revise fender.dxf notes.toml -o fender-1.dxf --revisions fender.json
      layflat revise fender.json more.toml -o fender-2.dxf --paper fender.pdf
    """
    from layflat.job import revise_file

    outputs = (output, revisions, paper, picture, report_path)
    require_outputs(*outputs, inputs=(pattern, notes), suffixes=(".dxf", ".svg"))
    made = revise_file(
        pattern,
        notes,
        piece=piece,
        take_back=take_back,
        answers=answers,
        workshop=workshop,
        day=datetime.datetime.now().astimezone().date(),
    )
    texts = {output: made.done.text_for(output)}
    if revisions is not None:
        texts[revisions] = made.done.texts[".json"]
    if picture is not None:
        texts[picture] = made.picture
    hand_out(
        with_defaults(made.done.report, _NAMES),
        lines=[f"{output}: {made.done.sentence}"],
        as_json=as_json,
        report_path=report_path,
        texts=texts,
        files={} if paper is None else {paper: made.pdf},
    )
