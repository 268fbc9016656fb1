"""`layflat frame`: the sheets that go round a template before it is photographed."""

import datetime
from pathlib import Path

import click

from layflat.base import Report
from layflat.cli.console import (
    FILE,
    hand_out,
    json_option,
    report_option,
    require_outputs,
    with_defaults,
)

_PAPERS = {"a4": "a4", "letter": "us-letter"}
_NAMES = {"sheets": "sheets", "paper": "paper", "workshop": "workshop"}


@click.command("frame")
@click.option(
    "--sheets",
    type=click.IntRange(3, 12),
    default=8,
    show_default=True,
    help="How many sheets: eight go round a template of a metre and a half.",
)
@click.option(
    "--paper",
    type=click.Choice(list(_PAPERS)),
    default="a4",
    show_default=True,
    help="What they are printed on.",
)
@click.option("--workshop", default="", help="What the sheets call the workshop.")
@click.option("-o", "--output", type=FILE, required=True, help="The sheets: .pdf.")
@report_option
@json_option
def command(
    sheets: int, paper: str, workshop: str, output: Path, report_path: Path | None, as_json: bool
) -> None:
    """Print the frame for templates by photograph.

    Each page is one sheet: a board of squares that tells the camera where it stands, rules to
    check the print with, and what to do. Print at 100 %, not scaled to fit the page; measure the
    rules of two sheets; tape the sheets flat round the template.

    \b
    Examples:
      layflat frame -o frame.pdf
      layflat frame --sheets 12 --paper letter -o frame.pdf
    """
    from layflat.papers import Head, Paper, frame_document

    require_outputs(output, report_path, inputs=(), suffixes=(".pdf",))
    head = Head(
        workshop=workshop,
        job="Frame",
        number="",
        vehicle="",
        dated=datetime.datetime.now().astimezone().date(),
        paper=Paper(_PAPERS[paper]),
    )
    pdf = frame_document(head, sheets=sheets).pdf()
    report = Report(
        kind="frame", inputs={}, results={"sheets": sheets, "paper": _PAPERS[paper]},
        warnings=("Print at 100 %, not scaled to fit the page, and measure the rules.",),
    )  # fmt: skip
    hand_out(
        with_defaults(report, _NAMES),
        lines=[f"{output}: {sheets} sheets to tape round a template."],
        as_json=as_json,
        report_path=report_path,
        files={output: pdf},
    )
